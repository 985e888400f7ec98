"""Runs every benchmark, writes the raw figures beside docs/performance.md, and the tables of that page from them.

    python tests/perf/figures.py           all of it: minutes, on a quiet machine
    python tests/perf/figures.py --page    only the tables of the page, from the files that are there

``machine.csv``: on what it ran. ``benchmarks.csv``: one row a benchmark, seconds (least, median, most of the
rounds). ``engines.csv``, ``campaign.csv``, ``match.csv``: what compares several things in one run.
"""

import csv
import importlib.metadata
import io
import json
import os
import platform
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "docs" / "performance"
PAGE = ROOT / "docs" / "performance.md"
BEGIN, END = "<!-- figures: made by tests/perf/figures.py -->", "<!-- end of figures -->"
TITLES = {
    "machine": "The machine of these figures",
    "engines": "Engines, against each other and against C",
    "campaign": "Campaigns, and the fault dictionary",
    "match": "Matching",
    "benchmarks": "Everything else",
}
AIMS = (
    ("compiled engine against the walker: 100 times as fast or more", "engines", "compiled", "walker"),
    ("compiled engine against C: 0.5 of its speed or more, better 0.8", "engines", "compiled", "speed of C"),
    ("every fault of fulmar on all its self-tests, two workers: under 15 s, under 1 GiB", "campaign",
     "all faults x all self-tests, 2 ", ""),
    ("against every fault from reset: 10 times or more", "campaign", "from reset, all", ""),
    ("look-up in a dictionary of 10,000,000 rows: under 5 ms", "campaign", "dictionary look-up", ""),
    ("a dump of 24,576 words and five programs, everything kept: under 2 s", "match",
     "dump and 5 programs, ready", "median"),
    ("pairs of structural faults: under 60 s", "match", "pairs of structural faults", ""),
)  # fmt: skip
"""What was aimed at, and the rows (file, beginning of what, part of the note) that say what came of it."""


def main(arguments: list[str]) -> int:
    """Run, write, and return pytest's exit code."""
    code = 0 if "--page" in arguments else run()
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(with_figures(text, FOLDER), encoding="utf-8")
    return code


def run() -> int:
    """Run every benchmark and write the raw figures; return pytest's exit code."""
    FOLDER.mkdir(exist_ok=True)
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    with tempfile.TemporaryDirectory() as folder:
        figures = Path(folder) / "figures.json"
        code = subprocess.run(
            [
                sys.executable, "-m", "pytest", "-m", "perf", "--benchmark-enable", "-q", "--no-header",
                "-p", "no:cacheprovider", "--benchmark-columns=median", f"--benchmark-json={figures}",
                str(ROOT / "tests" / "perf"),
            ],
            cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False,
        ).returncode  # fmt: skip
        write_rows(json.loads(figures.read_text())["benchmarks"])
    write_machine(load)
    return code


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


def write_machine(load: float) -> None:
    """Write on what the figures were measured."""
    packages = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in ("numpy", "numba"))
    found = {
        "day": datetime.now(UTC).date().isoformat(),
        "processors": os.cpu_count(),
        "kind": platform.machine(),
        "system": platform.system(),
        "python": platform.python_version(),
        "packages": packages,
        "load before": f"{load:.1f}",
    }
    with (FOLDER / "machine.csv").open("w", newline="") as stream:
        rows = csv.writer(stream, lineterminator="\n")
        rows.writerows([("what", "is"), *found.items()])


def with_figures(text: str, folder: Path) -> str:
    """Return the page with the tables between its two marks made from the files in a folder."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    tables = [table(title, folder / f"{name}.csv") for name, title in TITLES.items()]
    parts = [aims(folder), *tables]
    return "\n".join([before + BEGIN, *(part for part in parts if part), END + after])


def aims(folder: Path) -> str:
    """Return a section that holds what was aimed at against what was measured."""
    lines = ["\n### Aims, and what came of them\n", "| aim | wall s | note |", "|---|---|---|"]
    for aim, name, what, noted in AIMS:
        rows = read(folder / f"{name}.csv")
        found = [r for r in rows if r["what"].startswith(what) and noted in r["note"]]
        lines += [f"| {aim} | {r['wall_s']} | {r['note']} |" for r in found]
        lines += [] if found else [f"| {aim} | not measured yet | |"]
    return "\n".join([*lines, ""])


def read(path: Path) -> list[dict[str, str]]:
    """Return the rows of a file, none if it is not there."""
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8")))) if path.exists() else []


def table(title: str, path: Path) -> str:
    """Return a section with the rows of a file, or nothing if it is not there."""
    if not path.exists():
        return ""
    heads, *rows = csv.reader(io.StringIO(path.read_text(encoding="utf-8")))
    lines = [f"\n### {title}\n", f"From [{path.name}](performance/{path.name}).\n"]
    lines += ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    lines += ["| " + " | ".join(cell.replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join([*lines, ""])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
