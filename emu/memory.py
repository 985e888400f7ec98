"""The memory plan: how an address chooses cells and how a word is altered on its way in and out.

The plan is declared data with a page of its own, ``docs/reference/memory-plan.md``. A healthy memory is
the plan with no entries. Plans are made by ``emu.compose``; both engines execute them alike;
:class:`PlannedMemory` is the readable definition of what a plan means.
"""

import hashlib
from collections.abc import Collection, Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from emu.gates import Gate, GateClock, is_open
from emu.rules import Rule, act_on_cells_after_read, act_on_cells_after_write, act_on_word, force_states, kept
from emu.spec import StoreSpec

Cells = npt.NDArray[np.int32]
Words = npt.NDArray[np.int64]

PLAN_FORMAT = 1
ZEROS, ONES, NOWHERE = 0, 1, 2  # the three cells behind the last word of every store
EXTRA_CELLS = 3
MAX_SELECTED = 4  # cells one address may open at once
MAX_GATES = 3


@frozen
class StoreShape:
    """What a plan must know of a store: words, bits of a stored word, and whether reading destroys."""

    name: str
    words: int
    bits: int
    destructive: bool
    writable: bool


@frozen(eq=False)
class StoreTable:
    """The fixed alterations of one store, given only where they differ from a healthy one.

    ``moved`` (int32[n], ascending addresses) open ``read_to`` (int32[n, k]) when read and ``write_to``
    when written; a row lists its cells in ascending order, the last one repeated to fill it.
    ``masked`` (int32[m], ascending cells): what leaves the cell is ``(x & out_and) | out_or``, what
    enters it ``(x & in_and) | in_or`` (int64[m] each). ``wired``: how several open cells combine.
    """

    moved: Cells
    read_to: Cells
    write_to: Cells
    masked: Cells
    out_and: Words
    out_or: Words
    in_and: Words
    in_or: Words
    wired: Literal["or", "and"] = "or"

    @property
    def healthy(self) -> bool:
        """Whether the table changes nothing."""
        return not len(self.moved) and not len(self.masked)

    def content(self) -> bytes:
        """Return the canonical bytes of the table, for the digest."""
        multiple = bool(len(self.read_to)) and bool(np.any(self.read_to[:, 0] != self.read_to[:, -1]))
        head = f"{len(self.moved)},{len(self.masked)},{self.wired if multiple else '-'};".encode()
        cells = (self.moved, _unpadded(self.read_to), _unpadded(self.write_to), self.masked)
        masks = (self.out_and, self.out_or, self.in_and, self.in_or)
        return head + b"".join(a.tobytes() for a in cells) + b"".join(a.tobytes() for a in masks)


@frozen(eq=False)
class Mode:
    """What holds while a given set of gates is open: one table a store, rules, and the address bus.

    ``bus_moved``/``bus_to`` (int32[n]): machine addresses that arrive as other addresses, before any
    window is chosen.
    """

    tables: tuple[StoreTable, ...]
    rules: tuple[Rule, ...] = ()
    bus_moved: Cells = field(factory=lambda: np.zeros(0, np.int32))
    bus_to: Cells = field(factory=lambda: np.zeros(0, np.int32))

    @property
    def healthy(self) -> bool:
        """Whether the mode changes nothing."""
        return not self.rules and not len(self.bus_moved) and all(t.healthy for t in self.tables)

    def content(self) -> bytes:
        """Return the canonical bytes of the mode, for the digest."""
        rules = repr(self.rules).encode()
        return b"|".join(
            (*(t.content() for t in self.tables), rules, self.bus_moved.tobytes(), self.bus_to.tobytes())
        )


@frozen(eq=False)
class MemoryPlan:
    """A plan: store shapes, gate groups, and one mode for every set of open groups.

    ``gates[i]`` is a group; bit i of the mode number says that every gate of the group is open at this
    access. Without gates there is one mode. ``digest`` is equal only for plans that behave alike.
    """

    shapes: tuple[StoreShape, ...]
    modes: tuple[Mode, ...]
    gates: tuple[tuple[Gate, ...], ...] = ()
    digest: str = field(init=False)

    def __attrs_post_init__(self) -> None:
        object.__setattr__(self, "digest", self._digest())

    def _digest(self) -> str:
        head = f"plan/{PLAN_FORMAT} {self.shapes!r} {self.gates!r}".encode()
        body = b"\n".join(mode.content() for mode in self.modes)
        return hashlib.blake2b(head + body, digest_size=16).hexdigest()

    @property
    def healthy(self) -> bool:
        """Whether the plan is the identity in every mode."""
        return all(mode.healthy for mode in self.modes)

    def under(self, conditions: frozenset[str]) -> "MemoryPlan":
        """Return the plan with its condition gates settled by what holds in this run."""
        plan = self
        for number in reversed(range(len(self.gates))):
            group = self.gates[number]
            rest = tuple(g for g in group if g.kind != "condition")
            holds = all(g.name in conditions for g in group if g.kind == "condition")
            if len(rest) == len(group):
                continue
            plan = plan._settled(number, rest, holds=holds)
        return plan

    def with_open(self, kinds: Collection[str]) -> "MemoryPlan":
        """Return the plan with all gates of some kinds open all the time."""
        plan = self
        for number in reversed(range(len(self.gates))):
            rest = tuple(g for g in self.gates[number] if g.kind not in kinds)
            if len(rest) < len(self.gates[number]):
                plan = plan._settled(number, rest, holds=True)
        return plan

    def _settled(self, number: int, rest: tuple[Gate, ...], *, holds: bool) -> "MemoryPlan":
        bit = 1 << number
        if holds and rest:
            gates = (*self.gates[:number], rest, *self.gates[number + 1 :])
            return MemoryPlan(self.shapes, self.modes, gates)
        wanted = [m for i, m in enumerate(self.modes) if bool(i & bit) == holds]
        gates = self.gates[:number] + self.gates[number + 1 :]
        return MemoryPlan(self.shapes, tuple(wanted), gates)

    def check(self) -> None:
        """Assert every invariant of the form (AssertionError names the first that fails)."""
        assert len(self.modes) == 1 << len(self.gates), "one mode for every set of gates"
        assert len(self.gates) <= MAX_GATES, "few gates"
        for mode in self.modes:
            assert len(mode.tables) == len(self.shapes), "one table a store"
            assert np.all(np.diff(mode.bus_moved) > 0), "bus addresses ascend"
            assert not np.any(mode.bus_moved == mode.bus_to), "no idle bus entry"
            assert tuple(sorted(mode.rules)) == mode.rules, "rules in canonical order"
            for rule in mode.rules:
                destructive = self.shapes[rule.store].destructive
                assert rule.action != "redirect" or not destructive, "redirect needs a lasting read"
            for shape, table in zip(self.shapes, mode.tables, strict=True):
                _check_table(shape, table)


def _unpadded(rows: Cells) -> Cells:  # equal selections must give equal bytes, however wide the table
    wide = np.full((len(rows), MAX_SELECTED), -1, np.int32)
    if len(rows):
        wide[:, : rows.shape[1]] = rows
        wide[:, rows.shape[1] :] = rows[:, -1:]
    return wide


def _check_table(shape: StoreShape, table: StoreTable) -> None:
    limit, cells = shape.words, shape.words + EXTRA_CELLS
    assert np.all(np.diff(table.moved) > 0), "addresses ascend"
    assert not len(table.moved) or (table.moved[0] >= 0 and table.moved[-1] < limit), "addresses exist"
    assert table.read_to.shape == table.write_to.shape, "as many cells read as written"
    assert table.read_to.shape[1] <= MAX_SELECTED, "few cells at once"
    for rows in (table.read_to, table.write_to):
        assert not np.any((rows < 0) | (rows >= cells)), "cells exist"
        assert np.all(np.diff(rows, axis=1) >= 0), "cells of a row ascend"
    idle = np.all((table.read_to == table.moved[:, None]) & (table.write_to == table.moved[:, None]), axis=1)
    assert not np.any(idle), "no idle address entry"
    assert np.all(np.diff(table.masked) > 0), "masked cells ascend"
    full = (1 << shape.bits) - 1
    for ones, zeros in ((table.out_and, table.out_or), (table.in_and, table.in_or)):
        assert not np.any(zeros & ~ones), "a bit set by 'or' is kept by 'and'"
        assert not np.any((ones | zeros) & ~full), "masks within the word"


def no_table(k: int = 2) -> StoreTable:
    """Return the table of a healthy store."""
    none, rows, words = np.zeros(0, np.int32), np.zeros((0, k), np.int32), np.zeros(0, np.int64)
    return StoreTable(none, rows, rows, none, words, words, words, words)


def identity_plan(shapes: Sequence[StoreShape]) -> MemoryPlan:
    """Return the plan of a healthy memory."""
    return MemoryPlan(tuple(shapes), (Mode(tuple(no_table() for _ in shapes)),))


def shapes_of(stores: Sequence[StoreSpec]) -> tuple[StoreShape, ...]:
    """Return the shapes of a machine's stores, in order."""
    return tuple(StoreShape(s.name, s.words, s.bits, s.destructive, s.writable) for s in stores)


@define
class _Ready:
    """One mode with its sparse tables turned into look-ups."""

    rows: list[dict[int, tuple[list[int], list[int]]]]
    masks: list[dict[int, tuple[int, int, int, int]]]
    bus: dict[int, int]
    mode: Mode


def _ready(mode: Mode) -> _Ready:
    rows = [
        {
            int(a): (list(dict.fromkeys(r)), list(dict.fromkeys(w)))  # a row is filled up with its last cell
            for a, r, w in zip(t.moved, t.read_to.tolist(), t.write_to.tolist(), strict=True)
        }
        for t in mode.tables
    ]
    masks = [
        {
            int(c): (int(p), int(q), int(r), int(s))
            for c, p, q, r, s in zip(t.masked, t.out_and, t.out_or, t.in_and, t.in_or, strict=True)
        }
        for t in mode.tables
    ]
    bus = dict(zip(mode.bus_moved.tolist(), mode.bus_to.tolist(), strict=True))
    return _Ready(rows, masks, bus, mode)


@define(eq=False)
class PlannedMemory:
    """The stores of a machine under a plan: the readable meaning of every plan.

    ``cells[s]`` holds the stored words of store s and its three extra cells. ``access`` counts reads and
    writes from 0 and is what chance depends on. Call :meth:`begin` before :meth:`bus` and one of
    :meth:`read` or :meth:`write` for every access.
    """

    plan: MemoryPlan
    cells: list[list[int]]
    seed: int = 0
    access: int = 0
    last_word: int = 0
    last_address: int = 0
    last_read: list[int] = field(factory=list)
    _clocks: list[list[GateClock]] = field(factory=list)
    _modes: list[_Ready] = field(factory=list)
    _now: _Ready = field(init=False)

    def __attrs_post_init__(self) -> None:
        self._modes = [_ready(m) for m in self.plan.modes]
        self._now = self._modes[0]
        self._clocks = [[GateClock() for _ in group] for group in self.plan.gates]
        self.last_read = [0] * len(self.plan.shapes)
        for shape, cells in zip(self.plan.shapes, self.cells, strict=True):
            cells[shape.words :] = [0, (1 << shape.bits) - 1, 0]
        self.begin(0)
        for store in range(len(self.cells)):
            force_states(self._now.mode.rules, store, self.cells[store])

    def begin(self, time_ns: int) -> None:
        """Settle which gates are open for the access that comes now."""
        number = 0
        for i, group in enumerate(self.plan.gates):
            clocks = self._clocks[i]
            states = [
                is_open(g, clocks[j], self.seed, 8 * i + j, self.access, time_ns, self.last_address)
                for j, g in enumerate(group)
            ]
            number |= int(all(states)) << i
        self._now = self._modes[number]

    def bus(self, address: int) -> int:
        """Return the machine address that arrives at the windows."""
        return self._now.bus.get(address, address)

    def opened(self, store: int, address: int) -> tuple[int, ...]:
        """Return the cells that answer a reading of an address, each once, under the gates as settled."""
        return tuple(dict.fromkeys(self._rows(store, address)[0]))

    def read(self, store: int, address: int) -> int:
        """Read a stored word: sense, restore where reading destroys, then the way to the processor."""
        shape, cells, rules = self.plan.shapes[store], self.cells[store], self._now.mode.rules
        opened = self._rows(store, address)[0]
        sensed = self._sense(store, opened)
        cells_gave = sensed = self._redirected(store, address, sensed)
        sensed = act_on_word(rules, "sense", "read", store, address, sensed, self)
        sensed = act_on_cells_after_read(rules, store, opened, sensed, cells)
        if shape.destructive:
            self._restore(store, address, opened, sensed)
        word = act_on_word(rules, "bus", "read", store, address, sensed, self)
        self._passed(address, word)
        self.last_read[store] = cells_gave
        return word

    def write(self, store: int, address: int, word: int) -> None:
        """Write a stored word: the way from the processor, then the cells."""
        rules = self._now.mode.rules
        word = act_on_word(rules, "bus", "write", store, address, word, self)
        self._passed(address, word)
        if self.plan.shapes[store].writable:
            before = [self.cells[store][c] for c in self._rows(store, address)[1]]
            self._put(store, address, word, before)

    def _passed(self, address: int, word: int) -> None:
        self.last_word, self.last_address = word, address
        self.access += 1

    def _rows(self, store: int, address: int) -> tuple[list[int], list[int]]:
        return self._now.rows[store].get(address) or ([address], [address])

    def _sense(self, store: int, opened: list[int]) -> int:
        masks, cells = self._now.masks[store], self.cells[store]
        wired_or = self._now.mode.tables[store].wired == "or"
        total: int | None = None
        for cell in opened:
            word = cells[cell]
            if cell in masks:
                word = (word & masks[cell][0]) | masks[cell][1]
            total = word if total is None else (total | word if wired_or else total & word)
        assert total is not None, "a row has at least one cell"
        return total

    def _redirected(self, store: int, address: int, sensed: int) -> int:
        for rule in self._now.mode.rules:
            if rule.action == "redirect" and rule.concerns(store, address):
                other = self._sense(store, self._rows(store, rule.redirected(address))[0])
                sensed = (sensed & ~rule.bits) | (other & rule.bits)
        return sensed

    def _restore(self, store: int, address: int, opened: list[int], sensed: int) -> None:
        # a read and its restore count as one write of the old content: couplings see no edge if it holds
        cells, words = self.cells[store], self.plan.shapes[store].words
        written = self._rows(store, address)[1]
        before = [cells[c] for c in written]
        for cell in opened:
            if cell < words:
                cells[cell] = 0
        self._put(store, address, sensed, before)

    def _put(self, store: int, address: int, word: int, before: list[int]) -> None:
        """Send a word through the write path into the cells; ``before``: what they held."""
        cells, rules, masks = self.cells[store], self._now.mode.rules, self._now.masks[store]
        words = self.plan.shapes[store].words
        word = act_on_word(rules, "sense", "write", store, address, word, self)
        elsewhere = 0
        for rule in rules:
            if rule.action == "redirect" and rule.concerns(store, address):
                elsewhere |= rule.bits
                self._put_bits(store, rule.redirected(address), word, rule.bits)
        for cell, old in zip(self._rows(store, address)[1], before, strict=True):
            if cell >= words:
                continue
            new = word
            if cell in masks:
                new = (new & masks[cell][2]) | masks[cell][3]
            new = (new & ~elsewhere) | (cells[cell] & elsewhere)
            new = kept(rules, store, cell, old, new)
            cells[cell] = new
            act_on_cells_after_write(rules, store, cell, old, new, cells)
        force_states(rules, store, cells)

    def _put_bits(self, store: int, address: int, word: int, bits: int) -> None:
        cells, words = self.cells[store], self.plan.shapes[store].words
        for cell in self._rows(store, address)[1]:
            if cell < words:
                cells[cell] = (cells[cell] & ~bits) | (word & bits)
