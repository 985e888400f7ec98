"""Small patterns for the panel: a few words deposited, a few examined, and what two faults make of them.

Every pattern is carried out on both memories by the readable definition of a plan; nothing is concluded from
theory.
"""

from collections.abc import Iterator, Sequence
from itertools import islice, product
from typing import Final

import numpy as np
from attrs import define, field, frozen

from emu.codes import encode
from emu.memory import EXTRA_CELLS, MemoryPlan, PlannedMemory, Words
from emu.spec import MachineSpec, StoreSpec

MOST_ADDRESSES: Final = 24
MOST_PATTERNS: Final = 4000


@frozen
class Deed:
    """One thing done at the panel: deposit ``word`` (data) at a store's address, or examine it (None)."""

    store: int
    address: int
    word: int | None = None


@frozen
class Pattern:
    """Deeds in order. ``words``: how many words are keyed in."""

    deeds: tuple[Deed, ...]

    @property
    def words(self) -> int:
        """How many words are deposited."""
        return sum(1 for deed in self.deeds if deed.word is not None)

    @property
    def looks(self) -> tuple[Deed, ...]:
        """The examinations."""
        return tuple(deed for deed in self.deeds if deed.word is None)


@define(eq=False)
class Panel:
    """A panel in front of a memory under a plan, which before each pattern holds the same contents."""

    machine: MachineSpec
    memory: PlannedMemory
    _before: list[list[int]] = field(init=False)

    @classmethod
    def of(cls, machine: MachineSpec, plan: MemoryPlan, contents: Sequence[Words]) -> "Panel":
        """Return the panel. ``contents``: int64[words] of each store, before anything is done."""
        cells = [[*words.tolist(), *([0] * EXTRA_CELLS)] for words in contents]
        return cls(machine, PlannedMemory(plan, cells))

    def __attrs_post_init__(self) -> None:
        self._before = [list(cells) for cells in self.memory.cells]

    def shows(self, pattern: Pattern) -> tuple[int, ...]:
        """Carry a pattern out and return the stored words that its examinations show."""
        memory = self.memory
        for store in {deed.store for deed in pattern.deeds}:
            memory.cells[store][:] = self._before[store]
        memory.access = memory.last_word = memory.last_address = 0
        memory.last_read = [0] * len(memory.cells)
        shown = []
        for deed in pattern.deeds:
            memory.begin(memory.access * 1000)
            if deed.word is None:
                shown.append(memory.read(deed.store, deed.address))
            else:
                spec = self.machine.stores[deed.store]
                memory.write(deed.store, deed.address, encode(spec.protection, spec.data_bits, deed.word))
        return tuple(shown)


def patterns(machine: MachineSpec, plans: Sequence[MemoryPlan]) -> Iterator[Pattern]:
    """Yield patterns, those of fewest words first: examine; write and examine; write two and examine one."""
    spots = [(store, a) for store in range(len(machine.stores)) for a in _addresses(machine, store, plans)]
    yield from islice(_of_length(machine, spots), MOST_PATTERNS)


def _of_length(machine: MachineSpec, spots: list[tuple[int, int]]) -> Iterator[Pattern]:
    for store, a in spots:
        if not machine.stores[store].writable:  # what a writable store holds before nobody knows
            yield Pattern((Deed(store, a), Deed(store, a)))
    writable = [(s, a) for s, a in spots if machine.stores[s].writable]
    for store, a in writable:
        for value in _values(machine.stores[store]):
            yield Pattern((Deed(store, a, value), Deed(store, a), Deed(store, a)))
    for (store, a), (other, b) in product(writable, writable):
        if store == other and a != b:
            for value in _values(machine.stores[store])[:4]:
                full = (1 << machine.stores[store].data_bits) - 1
                yield Pattern(
                    (Deed(store, a, value), Deed(store, b, value ^ full), Deed(store, a), Deed(store, b))
                )


def _values(spec: StoreSpec) -> list[int]:
    full = (1 << spec.data_bits) - 1
    checker = int("01" * 32, 2) & full
    singles = [1 << n for n in range(spec.data_bits)]
    return [0, full, checker, checker ^ full, *singles]


def _addresses(machine: MachineSpec, store: int, plans: Sequence[MemoryPlan]) -> list[int]:
    """Return addresses at which either plan does something, and where it leads; a few of each."""
    words = machine.stores[store].words
    found: dict[int, None] = {}
    lines = [1 << n for n in range((words - 1).bit_length())]
    for plan in plans:
        for mode in plan.modes:
            table = mode.tables[store]
            moved = set(table.moved.tolist())
            touched = [*_few(table.moved), *_few(table.masked), *_few(table.read_to.reshape(-1))]
            for rule in (r for r in mode.rules if r.store == store):
                touched += [rule.address_value, rule.address_value | (~rule.address_mask & (words - 1))]
                touched += [c for c in (rule.cell, rule.other) if c >= 0]
            found.update(dict.fromkeys(a for a in touched if 0 <= a < words))
            found.update(dict.fromkeys(a for a in (0, *lines) if a < words and a in moved))
    partners = [a ^ line for a in list(found)[:2] for line in lines if a ^ line < words]
    found.update(dict.fromkeys(partners))
    return list(found)[: MOST_ADDRESSES * 2]


def _few(cells: np.ndarray[tuple[int], np.dtype[np.int32]]) -> list[int]:
    plain = np.unique(cells)
    chosen = (
        plain[np.linspace(0, len(plain) - 1, min(6, len(plain))).astype(np.int64)] if len(plain) else plain
    )
    return [int(c) for c in chosen]
