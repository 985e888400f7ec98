"""Words that a program gives twice."""

from typing import Final

from emu.assemble.layout import Layout, digits
from emu.assemble.lines import LineError, Report
from emu.assemble.statements import Item, Row
from emu.errors import Note, declare

OVERLAP: Final = declare(
    "asm-overlap",
    "A word of a store is given once.",
    "Move one of the two; a label behind the last word of each part shows its length.",
    "; machine: dunlin\n.at 0o100\n.word 1, 2\n.at 0o101\n.word 3\n",
    "program",
)


def check_overlaps(rows: list[Row], layout: Layout, report: Report) -> None:
    """Report every part of the program that goes where an earlier line has put something."""
    placed: dict[int, list[tuple[int, int, int, Item]]] = {}
    for order, row in enumerate(rows):
        for stretch in row.item.stretches if row.item else ():
            assert row.item is not None
            entry = (stretch.spot.index, order, stretch.count, row.item)
            placed.setdefault(stretch.spot.store, []).append(entry)
    for store, parts in placed.items():
        _sweep(sorted(parts, key=lambda part: part[:2]), layout, store, report)


def _sweep(parts: list[tuple[int, int, int, Item]], layout: Layout, store: int, report: Report) -> None:
    """Go through the parts of one store by rising word; each is compared with that which reaches furthest."""
    end, owner, owner_order = 0, None, 0
    for first, order, count, item in parts:
        if owner is not None and first < end:
            early, late = (owner, item) if owner_order < order else (item, owner)
            report.error(late.line, _twice(layout, store, first, early), late.span)
        if first + count > end:
            end, owner, owner_order = first + count, item, order


def _twice(layout: Layout, store: int, index: int, early: Item) -> LineError:
    name, word = layout.machine.stores[store].name, digits(index, layout.base)
    note = Note("first given here", early.line.place(early.span))
    return LineError(OVERLAP, f"a word is given once, got word {word} of {name} again", notes=(note,))
