"""The reference pages of boards and faults: fresh, and true."""

import re
from pathlib import Path

import pytest

from emu.errors import InputError
from emu.load import load_machine
from emu.where import Source
from faults.boards import load_board, parse_board
from faults.catalogue import BEGIN, ROLE_WORDS, board_tables, pages
from faults.kinds import all_kinds
from faults.lower import plan_of
from faults.notation import parse_fault

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "reference"
FULMAR = load_board(load_machine("fulmar"))


def test_pages_of_kinds_are_fresh():
    """Run ``python -m faults.catalogue`` after a change of a kind."""
    found = {p.name: p.read_text(encoding="utf-8") for p in (FOLDER / "faults").iterdir()}
    assert found == pages()


def test_tables_of_the_board_file_are_fresh():
    page = (FOLDER / "board-file.md").read_text(encoding="utf-8")
    assert page.partition(BEGIN)[2] == "\n" + board_tables()


def test_every_role_has_words():
    assert {r for k in all_kinds().values() for r in k.roles} <= set(ROLE_WORDS)


def test_example_of_the_board_file_loads():
    page = (FOLDER / "board-file.md").read_text(encoding="utf-8")
    example = re.search(r"```toml\n(.*?)```", page, re.DOTALL)[1]
    board = parse_board(load_machine("fulmar"), Source("fulmar.board.toml", example))
    assert board.site("rope/wire/2/3/5").labels.text() == "connector J32, pin S3-5"
    assert board.site("bus/address/11").labels.pin == "B4"


def test_sites_of_the_board_page_exist():
    """Every site named there for a way of building is one of a shipped board."""
    page = (FOLDER / "board-file.md").read_text(encoding="utf-8")
    known = {p.split("/", 1)[-1] for name in ("fulmar", "sandpiper", "dunlin")
             for p in load_board(load_machine(name)).tree.prefixes}  # fmt: skip
    rows = re.findall(r"^\| `(?:woven|coincident|chips)` \| (.*) \|$", page, re.MULTILINE)
    assert len(rows) == 3
    named = {n.split("/")[0] for row in rows for n in re.findall(r"`([^`]+)`", row)}
    assert named <= known


def test_examples_of_the_notation_page():
    page = (FOLDER / "fault-notation.md").read_text(encoding="utf-8")
    examples = re.search(r"```text\n(.*?)```", page, re.DOTALL)[1].splitlines()
    assert len(examples) >= 8
    for text in examples:
        plan_of(FULMAR, parse_fault(text, FULMAR)).check()


def test_error_of_the_notation_page():
    page = (FOLDER / "fault-notation.md").read_text(encoding="utf-8")
    with pytest.raises(InputError) as caught:
        parse_fault("rope/address/15:stuck-0", FULMAR)
    assert str(caught.value) in page
