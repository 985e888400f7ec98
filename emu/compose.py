"""Composes alterations into a memory plan, in physical order, whatever order they were given in.

An alteration is a small description of one thing that happens at one place between the processor and the
cells. Places are passed in the order address bus, address lines of a store, selection of cells, cells and
their sense and write paths, data bus; within a stage in order of ``position``, a text that sorts as the
signal passes: two digits of stage, then the path of the site (:func:`position`).
"""

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt
from attrs import evolve, frozen

from emu.gates import Gate
from emu.memory import (
    EXTRA_CELLS,
    MAX_GATES,
    MAX_SELECTED,
    NOWHERE,
    ZEROS,
    Cells,
    MemoryPlan,
    Mode,
    StoreShape,
    StoreTable,
    no_table,
)
from emu.rules import Rule

IntArray = npt.NDArray[np.int64]
Way = Literal["read", "write", "both"]
NO_CELL = -1


def position(stage: int, path: str) -> str:
    """Return the sorting text of a place; ``stage`` 0 is the processor's address bus, 99 its data bus."""
    return f"{stage:02d} {path}"


class PlanTooWideError(Exception):
    """The alterations would open more cells at once, or need more gates, than a plan can hold."""


@frozen(eq=False)
class BusAddresses:
    """The processor's address bus: machine address i arrives as ``arrives[i]`` (all addresses)."""

    position: str
    arrives: IntArray


@frozen(eq=False)
class StoreAddresses:
    """A store's address lines: i on them goes on as ``arrives[i]``, for all that they can carry.

    Addresses that end beyond the words of the store, or NO_CELL, reach no cell.
    """

    position: str
    store: int
    arrives: IntArray


@frozen(eq=False)
class Selection:
    """A change of the cells that are opened.

    ``change`` takes int64[addresses, k] (the cells opened so far, NO_CELL in unused places) and returns
    the same with any k. ``way``: for the read half cycle, the write half cycle, or both.
    """

    position: str
    store: int
    change: Callable[[IntArray], IntArray]
    way: Way = "both"


@frozen(eq=False)
class Masks:
    """Bits forced on the way out of or into cells.

    ``cells``: int64[n], or None for every cell and also for a read that opens no cell (a line that is
    stuck whatever is selected).
    """

    position: str
    store: int
    way: Way
    set_bits: int = 0
    clear_bits: int = 0
    cells: IntArray | None = None


@frozen
class Altered:
    """A rule, at its place."""

    position: str
    rule: Rule


@frozen(eq=False)
class Wired:
    """How a store combines several open cells (OR unless said)."""

    position: str
    store: int
    wired: Literal["or", "and"]


Alteration = BusAddresses | StoreAddresses | Selection | Masks | Altered | Wired


@frozen(eq=False)
class Lowered:
    """One fault in the form the memory knows: alterations that come and go together.

    ``gates``: all of them must be open; none means always there.
    """

    alterations: tuple[Alteration, ...]
    gates: tuple[Gate, ...] = ()


def compose(shapes: Sequence[StoreShape], parts: Iterable[Lowered]) -> MemoryPlan:
    """Return the plan of several faults at once; the order of ``parts`` does not matter.

    Raises ``PlanTooWideError`` when an address would open more than ``MAX_SELECTED`` cells or more than
    ``MAX_GATES`` parts are gated.
    """
    parts = sorted(parts, key=_order)
    steady = [p for p in parts if not p.gates]
    gated = [p for p in parts if p.gates]
    if len(gated) > MAX_GATES:
        raise PlanTooWideError(f"at most {MAX_GATES} faults that come and go at once, got {len(gated)}")
    modes = []
    for number in range(1 << len(gated)):
        present = steady + [p for i, p in enumerate(gated) if number >> i & 1]
        modes.append(_mode(tuple(shapes), present))
    return MemoryPlan(tuple(shapes), tuple(modes), tuple(p.gates for p in gated))


def _order(part: Lowered) -> tuple[list[str], str]:
    return sorted(f"{type(a).__name__} {a.position}" for a in part.alterations), repr(part.gates)


def _mode(shapes: tuple[StoreShape, ...], parts: list[Lowered]) -> Mode:
    alterations = sorted(
        (a for p in parts for a in p.alterations), key=lambda a: (a.position, type(a).__name__)
    )
    tables = tuple(_table(shape, i, alterations) for i, shape in enumerate(shapes))
    rules = tuple(sorted({a.rule for a in alterations if isinstance(a, Altered)}))
    moved, arrives = _bus([a for a in alterations if isinstance(a, BusAddresses)])
    return Mode(tables, rules, moved, arrives)


def _bus(alterations: list[BusAddresses]) -> tuple[Cells, Cells]:
    none = np.zeros(0, np.int32)
    if not alterations:
        return none, none
    arrives = np.arange(len(alterations[0].arrives))
    for a in alterations:
        arrives = a.arrives[arrives]
    moved = np.flatnonzero(arrives != np.arange(len(arrives)))
    return moved.astype(np.int32), arrives[moved].astype(np.int32)


def _table(shape: StoreShape, store: int, alterations: list[Alteration]) -> StoreTable:
    mine = [a for a in alterations if getattr(a, "store", -1) == store]
    if not mine:
        return no_table()
    masks = [a for a in mine if isinstance(a, Masks)]
    table = no_table()
    if any(isinstance(a, StoreAddresses | Selection) for a in mine):
        table = _addressed(shape, mine)
    if masks:
        table = _masked(shape, table, masks)
    for a in mine:
        if isinstance(a, Wired):
            table = evolve(table, wired=a.wired)
    return table


def _addressed(shape: StoreShape, alterations: list[Alteration]) -> StoreTable:
    arrives = np.arange(shape.words)
    for a in alterations:
        if isinstance(a, StoreAddresses):
            arrives = np.where(arrives == NO_CELL, NO_CELL, a.arrives[arrives])
    arrives = np.where(arrives < shape.words, arrives, NO_CELL)
    read = write = arrives[:, None]
    for a in alterations:
        if isinstance(a, Selection):
            read = a.change(read) if a.way != "write" else read
            write = a.change(write) if a.way != "read" else write
    moved = np.flatnonzero(_elsewhere(read) if read is write else _elsewhere(read) | _elsewhere(write))
    rows_read = rows_write = _rows(read[moved], shape.words + ZEROS)
    if read is not write or (read[moved] == NO_CELL).any():
        rows_write = _rows(write[moved], shape.words + NOWHERE)
    width = max(rows_read.shape[1], rows_write.shape[1])
    return evolve(
        no_table(width),
        moved=moved.astype(np.int32),
        read_to=_widened(rows_read, width).astype(np.int32),
        write_to=_widened(rows_write, width).astype(np.int32),
    )


def _elsewhere(cells: IntArray) -> npt.NDArray[np.bool_]:
    """Return at which addresses other cells than the one meant are opened, or none."""
    own, other = np.arange(len(cells)), np.zeros(len(cells), bool)
    opened = np.zeros(len(cells), bool)
    for column in cells.T:  # columns are few, and numpy is slow along short rows
        mine = column == own
        opened |= mine
        other |= ~mine & (column != NO_CELL)
    return other | ~opened


def _rows(cells: IntArray, nothing: int) -> IntArray:
    """Return canonical rows: distinct cells ascending, the last repeated; ``nothing`` where none."""
    if cells.shape[1] == 1:
        return np.where(cells == NO_CELL, nothing, cells)
    big = np.iinfo(np.int64).max
    rows = np.sort(np.where(cells == NO_CELL, big, cells), axis=1)
    repeated = np.zeros(rows.shape, bool)
    repeated[:, 1:] = rows[:, 1:] == rows[:, :-1]
    rows = np.sort(np.where(repeated, big, rows), axis=1)
    rows[rows[:, 0] == big, 0] = nothing
    counts = np.sum(rows != big, axis=1)
    widest = int(counts.max(initial=1))
    if widest > MAX_SELECTED:
        raise PlanTooWideError(f"at most {MAX_SELECTED} cells may open at one address, got {widest}")
    rows = rows[:, : max(widest, 1)]
    for left, right in pairwise(range(rows.shape[1])):
        rows[:, right] = np.where(rows[:, right] == big, rows[:, left], rows[:, right])
    return rows


def _widened(rows: IntArray, width: int) -> IntArray:
    wanted = 2 if width <= 2 else MAX_SELECTED
    extra = wanted - rows.shape[1]
    return np.concatenate([rows, np.repeat(rows[:, -1:], extra, axis=1)], axis=1) if extra else rows


def _masked(shape: StoreShape, table: StoreTable, masks: list[Masks]) -> StoreTable:
    cells, full = shape.words + EXTRA_CELLS, (1 << shape.bits) - 1
    out_and, in_and = np.full(cells, full, np.int64), np.full(cells, full, np.int64)
    out_or, in_or = np.zeros(cells, np.int64), np.zeros(cells, np.int64)
    for mask in masks:
        where = slice(None) if mask.cells is None else mask.cells
        for way, ands, ors in (("read", out_and, out_or), ("write", in_and, in_or)):
            if mask.way in (way, "both"):
                keep = full & ~mask.clear_bits
                ands[where] = (ands[where] & keep) | mask.set_bits
                ors[where] = (ors[where] & keep) | mask.set_bits
    changed = np.flatnonzero((out_and != full) | (out_or != 0) | (in_and != full) | (in_or != 0))
    return evolve(
        table,
        masked=changed.astype(np.int32),
        out_and=out_and[changed],
        out_or=out_or[changed],
        in_and=in_and[changed],
        in_or=in_or[changed],
    )
