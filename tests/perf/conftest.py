"""The file of raw figures that a module of benchmarks fills: ``docs/performance/NAME.csv``, one row a figure."""

import csv
import os
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "performance"
HEADS = ("what", "size", "wall_s", "processor_s", "note")


@pytest.fixture(scope="module")
def rows(request):
    """Gather rows (what, size, wall seconds, processor seconds, note); write them as ``FIGURES`` at the end.

    The file is written only if all benchmarks of the module ran, else only shown. ``COREWRIGHT_FIGURES`` names
    another folder for it.
    """
    found: list[tuple[object, ...]] = []
    before = request.session.testsfailed
    yield found
    with request.config.pluginmanager.getplugin("capturemanager").global_and_fixture_disabled():
        sys.stdout.write("\n  ".join(["", *(", ".join(map(str, row)) for row in found), ""]))
    asked = [item for item in request.session.items if item.module is request.module]
    whole = not request.config.option.keyword and all(
        "::" not in argument for argument in request.config.args
    )
    if not asked or not whole or request.session.testsfailed > before:
        return
    folder = Path(os.environ.get("COREWRIGHT_FIGURES", FOLDER))
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / f"{request.module.FIGURES}.csv").open("w", newline="") as stream:
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(HEADS)
        table.writerows(found)
