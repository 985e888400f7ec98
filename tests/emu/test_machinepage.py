"""The page of a machine holds everything that its file says, with the numbers of the file."""

from itertools import pairwise
from pathlib import Path

import pytest

from emu.load import load_machine
from emu.machinepage import duration, machine_page
from emu.shipped import machine_names

TESTS = Path(__file__).resolve().parents[1]
MACHINES = [
    *machine_names(),
    *(str(p) for p in (TESTS / "machines").glob("*.toml")),
    str(TESTS / "assemble" / "tern.toml"),
]


@pytest.mark.parametrize("name", MACHINES)
def test_everything_with_a_name_is_on_the_page(name):
    machine = load_machine(name)
    page = machine_page(machine)
    assert machine.word.numbering_sentence() in page
    named = [*machine.registers, *machine.stores, *machine.alarms, *machine.ports, *machine.lamps]
    for thing in named:
        assert f"`{thing.name}`" in page
    for instruction in machine.instructions:
        assert f"\n### {instruction.name}\n" in page
        assert instruction.bits in page
        for line in instruction.does_text:
            assert line in page
        assert f"{instruction.example_text}  =  {machine.word.tagged(instruction.example_word)}" in page
    assert page.count("\n### ") == len(machine.instructions)


@pytest.mark.parametrize("name", MACHINES)
def test_tables_are_whole(name):
    rows = [line for line in machine_page(load_machine(name)).splitlines() if line.startswith("|")]
    for before, row in pairwise(rows):
        if set(row) == set("|-"):
            assert before.replace("\\|", "").count("|") == row.count("|")


@pytest.mark.parametrize(
    ("nanoseconds", "text"),
    [
        (0, "0 ns"),
        (900, "900 ns"),
        (10_000, "10 µs"),
        (1_500_000, "1.5 ms"),
        (2 * 10**9, "2 s"),
        (134_620_000, "134.62 ms"),
    ],
)
def test_durations(nanoseconds, text):
    assert duration(nanoseconds) == text
