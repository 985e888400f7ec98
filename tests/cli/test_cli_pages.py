"""Generated reference pages are those of the code; every error code has its section and its example works."""

import re
from pathlib import Path

import pytest

from emu.assemble import assemble
from emu.errors import InputError, declared
from emu.files import FileWord, read_image
from emu.inputs import parse_inputs
from emu.load import load_machine, parse_machine
from emu.shipped import find_program
from emu.tomlfile import parse, read
from emu.where import Source
from faults.boards import load_board, parse_board
from faults.case.check import check_case
from faults.case.load import parse_case
from faults.cli.exits import Exit
from faults.cli.pages import import_declaring_modules, pages
from faults.lower import plan_of
from faults.march.named import find
from faults.notation import parse_fault

REFERENCE = Path(__file__).resolve().parents[2] / "docs" / "reference"
FULMAR = load_board(load_machine("fulmar"))
import_declaring_modules()
CODES = declared()
WITH_EXAMPLE = sorted(slug for slug, code in CODES.items() if code.example)


@pytest.mark.parametrize("name", sorted(pages()))
def test_page_is_fresh(name):
    committed = (REFERENCE / name).read_text(encoding="utf-8")
    assert committed == pages()[name], f"run `python -m faults.cli.pages` and commit docs/reference/{name}"


def test_the_headings_of_the_page_are_the_codes():
    headings = re.findall(r"^## (\S+)$", (REFERENCE / "errors.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert headings == sorted(CODES)


def test_the_page_of_commands_has_every_exit_code():
    rows = re.findall(r"^\| (\d+) \| ", (REFERENCE / "cli.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert [int(row) for row in rows] == [int(code) for code in Exit]


def _missing(name):
    raise FileNotFoundError(name)


def _program(text):
    name = re.match(r"; machine: (\S+)", text)
    return assemble(
        Source("example.asm", text), load_machine(name[1] if name else "dunlin"), _missing
    ).warnings


def _image(text):
    word = None if text.lstrip().startswith(("words", ";", "Dear")) else FileWord(12)
    return read_image("example", text.encode(), word).warnings


def _nothing(result):
    return ()


# How an example is made to emit its code, by kind; each returns warnings or raises.
PROVOKERS = {
    "machine": lambda text: _nothing(parse_machine(Source("machine.toml", text))),
    "machine-name": lambda text: _nothing(load_machine(text)),
    "program": _program,
    "program-name": lambda text: _nothing(find_program("fulmar", text)),
    "image": _image,
    "inputs": lambda text: _nothing(parse_inputs(Source("example.inputs", text), load_machine("fulmar"))),
    "toml": lambda text: _nothing(parse(Source("example.toml", text))),
    "file-name": lambda text: _nothing(read(text)),
    "march": lambda text: _nothing(find(text)),
    "board": lambda text: _nothing(parse_board(load_machine("fulmar"), Source("example.board.toml", text))),
    "fault": lambda text: _nothing(plan_of(FULMAR, parse_fault(text, FULMAR))),
    "case": lambda text: check_case(parse_case(Source("example.case.toml", text)), load_machine("fulmar")),
}


@pytest.mark.parametrize("slug", WITH_EXAMPLE)
def test_the_example_of_a_code_emits_it(slug):
    code = CODES[slug]
    try:
        found = PROVOKERS[code.example_kind](code.example)
    except InputError as error:
        found = error.problems
    assert slug in {problem.code.slug for problem in found}


@pytest.mark.parametrize("slug", sorted(CODES))
def test_a_code_has_a_rule_and_a_cure(slug):
    code = CODES[slug]
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", slug)
    assert code.rule.endswith(".")
    assert code.cure.endswith((".", "`"))
    assert bool(code.example) == bool(code.example_kind)
