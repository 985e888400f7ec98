"""Proves a machine's forms and examples: the text of every example must assemble to its word.

An example says in a second way what an encoding says; here the two are held against each other.
"""

from collections.abc import Iterator
from typing import Literal

from attrs import frozen

from emu.assemble.coding import SecondPass
from emu.assemble.forms import InstructionSet, check_form
from emu.assemble.layout import Layout
from emu.assemble.lines import Report, split_lines
from emu.assemble.placing import FirstPass
from emu.assemble.statements import Coded
from emu.assemble.symbols import SymbolTable
from emu.errors import InputError
from emu.spec import InstructionSpec, MachineSpec
from emu.where import Source


@frozen
class Flaw:
    """What is wrong with an instruction (by number), at which of its keys, and what would be right."""

    number: int
    key: Literal["form", "text", "word"]
    message: str
    hint: str = ""


def flaws(machine: MachineSpec) -> tuple[Flaw, ...]:
    """Return what is wrong with the forms of a machine or, if nothing is, with its examples.

    An example stands at the first address of the first window, in bank 0 if there are banks.
    """
    found = tuple(_forms(machine))
    return found or tuple(_examples(machine))


def _forms(machine: MachineSpec) -> Iterator[Flaw]:
    for number, spec in enumerate(machine.instructions):
        try:
            check_form(spec, machine.name)
        except InputError as error:
            yield Flaw(number, "form", error.problems[0].message)


def _examples(machine: MachineSpec) -> Iterator[Flaw]:
    layout, instructions = Layout(machine), InstructionSet(machine)
    for number, spec in enumerate(machine.instructions):
        report = Report()
        words = _words(spec, machine, layout, instructions, report)
        if report.errors:
            problem = report.errors[0]
            yield Flaw(number, "text", f"an example can be assembled; {problem.message}", problem.hint)
        elif len(words) != 1:
            yield Flaw(number, "text", f"an example is one instruction; got {spec.example_text!r}")
        elif words[0] != spec.example_word:
            tagged = machine.word.tagged
            made, given = tagged(words[0]), tagged(spec.example_word)
            message = (
                f"the text of an example assembles to its word; {spec.example_text!r} is {made}, got {given}"
            )
            yield Flaw(number, "word", message, f"write {made}, or mend the text")


def _words(
    spec: InstructionSpec, machine: MachineSpec, layout: Layout, instructions: InstructionSet, report: Report
) -> list[int]:
    if len(split_lines(spec.example_text)) != 1:
        return []
    bank = ".bank 0\n" if any(window.bank for window in machine.windows) else ""
    text = f"{bank}.at 0o{machine.windows[0].first:o}\n{spec.example_text}\n"
    table = SymbolTable(machine.word, instructions.register_names, report)
    first = FirstPass(layout, instructions, table, report, None)
    first.read(Source("example", text))
    table.close()
    SecondPass(machine, instructions, layout, table, report).run(first.rows)
    items = [row.item for row in first.rows if row.item and isinstance(row.item.content, Coded)]
    return [word for item in items for word in item.words]
