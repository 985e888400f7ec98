"""Files and functions that DEVELOPERS.md and the map of the tests name are there."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGES = [ROOT / "DEVELOPERS.md", ROOT / "tests" / "README.md"]
BESIDE = ("", "faults", "emu", "faults/boards", "faults/report", "emu/engine", "tests")
"""Folders from which a page may count a name: `lower.py` stands behind `faults/notation.py`."""
FILE = re.compile(r"`([A-Za-z.][\w./-]*(?:\.(?:py|toml|md)|/))`")
FUNCTION = re.compile(r"`(\w+)(?:\(\))?`(?:\s+and\s+`(\w+)`)?\s+(?:of|in)\s+`([\w./]+\.py)`")


def prose(page):
    text = page.read_text(encoding="utf-8")
    return re.sub(r"^(`{3,})[^\n]*\n.*?^\1$", "", text, flags=re.MULTILINE | re.DOTALL)


def found(name):
    return next((path for b in BESIDE if (path := ROOT / b / name).exists()), None)


def missing(text):
    files = [n for n in dict.fromkeys(FILE.findall(text)) if "NAME" not in n and "MACHINE" not in n]
    wrong = [name for name in files if found(name) is None]
    for first, second, file in FUNCTION.findall(text):
        module = found(file)
        defined = names(module) if module else set()
        wrong += [f"{n} of {file}" for n in (first, second) if n and n not in defined]
    return wrong


def names(module):
    made = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            made.add(node.name)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            made.add(node.id)
    return made


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_what_a_page_names_is_there(page):
    text = prose(page)
    assert len(FILE.findall(text)) > 10
    assert not missing(text)


def test_a_stale_name_is_found():
    text = (
        "`faults/gone.py`, `technologies()` of `faults/boards/known.py`, `gone` of `faults/boards/known.py`"
    )
    assert missing(text) == ["faults/gone.py", "gone of faults/boards/known.py"]


def test_the_map_of_the_tests_has_every_folder():
    folders = {p.name for p in (ROOT / "tests").iterdir() if p.is_dir() and any(p.rglob("*.py"))}
    assert folders <= {n.strip("/") for n in FILE.findall(prose(ROOT / "tests" / "README.md"))}
