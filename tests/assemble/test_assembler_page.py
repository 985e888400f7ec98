"""The reference page: its programs assemble, its table is the table of the directives, its codes exist."""

import re
from pathlib import Path

import pytest

from emu.assemble import assemble
from emu.assemble.directives import DIRECTIVES
from emu.errors import declared
from emu.load import load_machine
from emu.where import Source

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "assembler.md").read_text(encoding="utf-8")
PROGRAMS = re.findall(r"```asm\n(.*?)```", PAGE, re.DOTALL)


def test_there_are_programs():
    assert len(PROGRAMS) >= 2


@pytest.mark.parametrize("text", PROGRAMS)
def test_programs_assemble_without_a_warning(text):
    machine = load_machine(text.split("\n")[0].removeprefix("; machine: "))
    assembly = assemble(Source("page.asm", text), machine)
    assert assembly.image.segments
    assert assembly.warnings == ()


def test_table_of_directives_is_complete():
    assert set(re.findall(r"^\| `(\.[a-z]+)", PAGE, re.MULTILINE)) == set(DIRECTIVES)


def test_usages_shown_in_hints_are_those_of_the_page():
    for word, directive in DIRECTIVES.items():
        assert directive.usage.startswith(word)
        assert f"`{directive.usage.split(' or ')[0]}`" in PAGE


def test_codes_on_the_page_exist():
    assert set(re.findall(r"asm-[a-z-]+", PAGE)) <= set(declared())
