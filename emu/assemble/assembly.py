"""An assembled program, and how it comes about."""

from collections.abc import Iterable

from attrs import frozen

from emu.assemble.coding import SecondPass
from emu.assemble.forms import InstructionSet
from emu.assemble.layout import Layout
from emu.assemble.lines import Report, split_lines
from emu.assemble.overlaps import check_overlaps
from emu.assemble.placing import FirstPass, OpenInclude
from emu.assemble.statements import Item, Reserved, Row
from emu.assemble.symbols import Symbol, SymbolTable
from emu.assemble.warn import check_program
from emu.errors import Problem
from emu.image import MemoryImage, ProgramImage, Run
from emu.spec import MachineSpec
from emu.where import Source


@frozen(eq=False)
class Assembly:
    """A program as words, and all that a listing shows.

    The image holds *data* words, by store and word of the store; check bits are added by what loads it.
    ``symbols`` are sorted by name, ``warnings`` by place.
    """

    machine: MachineSpec
    image: ProgramImage
    rows: tuple[Row, ...]
    symbols: tuple[Symbol, ...]
    warnings: tuple[Problem, ...]


def assemble(source: Source, machine: MachineSpec, open_include: OpenInclude | None = None) -> Assembly:
    """Assemble a program for a machine.

    ``open_include`` is given the name that an ``.include`` line says and returns that source; it raises
    OSError or ValueError if it cannot. Without it ``.include`` is an error. Raises
    :class:`emu.errors.InputError` with the errors found, at most 20 and a line that counts the rest.
    The same input gives the same result, word for word and line for line.
    """
    report = Report()
    layout, instructions = Layout(machine), InstructionSet(machine)
    table = SymbolTable(machine.word, instructions.register_names, report)
    first = FirstPass(layout, instructions, table, report, open_include)
    first.read(source)
    table.close()
    second = SecondPass(machine, instructions, layout, table, report)
    second.run(first.rows)
    entry = second.entry(first.start)
    check_overlaps(first.rows, layout, report)
    report.raise_if_errors(source.file, len(split_lines(source.text)))
    check_program(first.rows, layout, table, entry, report)
    symbols = table.symbols()
    image = ProgramImage(_segments(first.rows, machine), entry, {s.name: s.value for s in symbols})
    warnings = tuple(sorted(report.warnings, key=lambda problem: problem.place))
    return Assembly(machine, image, tuple(first.rows), symbols, warnings)


def _segments(rows: list[Row], machine: MachineSpec) -> dict[str, MemoryImage]:
    words: dict[int, dict[int, int]] = {}
    runs: dict[int, list[Run]] = {}
    for item in _filled(rows):
        number = 0
        for stretch in item.stretches:
            spot = stretch.spot
            cells = words.setdefault(spot.store, {})
            for offset in range(stretch.count):
                word = item.word(number + offset)
                assert word is not None
                cells[spot.index + offset] = word
            number += stretch.count
            run = Run(spot.index, stretch.count, item.line.place(item.span))
            runs.setdefault(spot.store, []).append(run)
    return {
        machine.stores[store].name: MemoryImage.certain(
            machine.stores[store].data_bits, cells, tuple(sorted(runs[store], key=lambda run: run.first))
        )
        for store, cells in sorted(words.items())
    }


def _filled(rows: list[Row]) -> Iterable[Item]:
    return (row.item for row in rows if row.item and not isinstance(row.item.content, Reserved))
