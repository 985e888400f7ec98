"""The figures of docs/performance.md are those of the raw files beside it."""

import importlib.util
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "performance.md"


@pytest.fixture(scope="module")
def figures():
    spec = importlib.util.spec_from_file_location("figures", ROOT / "tests" / "perf" / "figures.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_tables_are_those_of_the_files(figures):
    text = PAGE.read_text(encoding="utf-8")
    assert text == figures.with_figures(text, ROOT / "docs" / "performance"), (
        "python tests/perf/figures.py --page"
    )


def test_a_changed_figure_is_found(figures, tmp_path):
    """The tables follow the files: aims with the rows that answer them, and what is not there is not claimed."""
    heads = "what,size,wall_s,processor_s,note\n"
    (tmp_path / "campaign.csv").write_text(heads + '"dictionary look-up",10,0.5,,"median of 3 | worst 1"\n')
    text = f"before\n{figures.BEGIN}\nold\n{figures.END}\nafter\n"
    found = figures.with_figures(text, tmp_path)
    assert found.startswith("before\n")
    assert found.endswith("\nafter\n")
    assert "old" not in found
    assert "| dictionary look-up | 10 | 0.5 |  | median of 3 \\| worst 1 |" in found
    assert "under 5 ms | 0.5 |" in found
    assert "under 60 s | not measured yet |" in found
    assert figures.with_figures(found, tmp_path) == found


def test_every_aim_names_rows_that_the_scripts_write(figures):
    scripts = {
        "engines": "test_engine_speed.py",
        "campaign": "test_campaign_speed.py",
        "match": "test_match_speed.py",
    }
    for _, name, what, noted in figures.AIMS:
        text = (ROOT / "tests" / "perf" / scripts[name]).read_text(encoding="utf-8")
        assert f'"{what}' in text
        assert noted in text
