"""Runs every benchmark and writes the raw figures beside docs/performance.md.

    python tests/perf/figures.py

``benchmarks.csv``: one row a benchmark, seconds (least, median, most of the rounds). ``printed.txt``: what the
scripts that compare several things in one run print themselves. Run it on a quiet machine; it takes minutes.
"""

import csv
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "docs" / "performance"


def main() -> int:
    """Run, write, and return pytest's exit code."""
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        figures = Path(folder) / "figures.json"
        told = subprocess.run(
            [
                sys.executable, "-m", "pytest", "-m", "perf", "--benchmark-enable", "-q", "--no-header",
                "-p", "no:cacheprovider", "--benchmark-columns=median", f"--benchmark-json={figures}",
                str(ROOT / "tests" / "perf"),
            ],
            cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False,
        )  # fmt: skip
        write_rows(json.loads(figures.read_text())["benchmarks"])
    printed = told.stdout.split("\n\n-------", 1)[0].rstrip() + "\n"
    (FOLDER / "printed.txt").write_text(printed.replace(str(ROOT) + "/", ""))
    sys.stdout.write(told.stdout)
    return told.returncode


def write_rows(benchmarks: list[dict]) -> None:
    """Write one row a benchmark, in order of script and name."""
    with (FOLDER / "benchmarks.csv").open("w", newline="") as stream:
        rows = csv.writer(stream, lineterminator="\n")
        rows.writerow(["script", "benchmark", "rounds", "least_s", "median_s", "most_s"])
        for b in sorted(benchmarks, key=lambda b: b["fullname"]):
            s = b["stats"]
            script = b["fullname"].split("::")[0]
            rows.writerow(
                [script, b["name"], s["rounds"], *(f"{s[k]:.6g}" for k in ("min", "median", "max"))]
            )


if __name__ == "__main__":
    sys.exit(main())
