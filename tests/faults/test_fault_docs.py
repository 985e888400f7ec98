"""The reference pages of boards and faults: fresh, and true."""

import re
from pathlib import Path

import pytest

from emu.engine.choose import choose_engine
from emu.engine.contract import RunRequest
from emu.errors import InputError
from emu.load import load_machine
from emu.where import Source
from faults.account import predict
from faults.boards import load_board, parse_board
from faults.catalogue import BEGIN, ROLE_WORDS, board_tables, pages
from faults.cli.reading import read_inputs, read_program
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


@pytest.mark.slow
@pytest.mark.parametrize("name", [n for n, k in all_kinds().items() if k.shown_by])
def test_the_program_named_for_an_example_shows_it(name):
    """The command on the page of the kind leads to an account in which something is seen."""
    kind = all_kinds()[name]
    machine, _, example = kind.example.rpartition(" ")
    spec = load_machine(machine or "fulmar")
    board = load_board(spec)
    plan = plan_of(board, parse_fault(example, board))
    inputs = read_inputs(spec, kind.shown_by, None, ())
    request = RunRequest(spec, read_program(spec, kind.shown_by), plan, inputs, max_steps=600_000)
    account = predict(request, fault=example, engine=choose_engine(request, "auto").engine, runs=1)
    assert account.differs


def test_every_kind_shows_its_example():
    assert all(k.shown_by for k in all_kinds().values())
