"""Make docs/report.png, the picture of README.md, anew: ``python tests/docs/make_picture.py CHROMIUM``.

Needs the extra ``browser`` and a Chromium; the picture is of the report of ``corewright demo``.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
ENTRY = "from faults.cli import main; main()"
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


def make(chromium: str) -> None:
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        page_file = Path(folder) / "demo.html"
        subprocess.run([sys.executable, "-c", ENTRY, "demo", "-q", "-o", page_file], check=True, cwd=ROOT)
        browser = play.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page(viewport={"width": 1000, "height": 930}, color_scheme="light")
        page.goto(page_file.as_uri())
        page.screenshot(path=ROOT / "docs" / "report.png")
        browser.close()


if __name__ == "__main__":
    make(sys.argv[1])
