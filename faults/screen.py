"""Which faults need not be run on a program, and from which step the others need to be.

Until the first step at which a fault can matter, the faulty run *is* the healthy one. A fault that never
can matter is not run at all: its symptoms are the healthy ones. ``docs/explanation/screening.md`` argues it.
"""

from enum import IntEnum
from typing import Final

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from emu.engine.lasting import altered_stores, concerned, given
from emu.engine.profile import NEVER, RunProfile
from emu.memory import EXTRA_CELLS, MemoryPlan, StoreTable
from emu.rules import Rule

Ints = npt.NDArray[np.int64]
_LOOKED_AT: Final = 48  # of the words first read: most plans that change a word change one of these
SETTLED: Final = ("halt", "alarm-halt")  # stops that no recurring state and no limit brought about
_IN_ORDER: Final = {"keep", "couple", "force", "read-disturb", "hold", "late"}


class Reason(IntEnum):
    """Why a fault shows nothing on a program."""

    NONE = 0  # it shows something
    NEVER_READ = 1  # no word that the fault alters is read
    ONE_VALUE = 2  # words were read, but only with the values that the fault leaves alone
    TEST_SITS = 3  # the words altered are those of the program itself, which it does not test
    MASKED = 4  # words that it can alter were used, and it made no difference
    ORDER = 5  # accesses never came in the order that would bring the fault out and then look
    ABSENT = 6  # under the conditions of the run the fault is not there
    CHANCE = 7  # it comes by chance, and did not come when it would have shown


@frozen(eq=False)
class Starts:
    """Where runs begin (int64[n], steps; ``NEVER``: not run), and why those that are not run show nothing.

    A run from ``early`` is right whatever becomes of it. One from ``first``, which is later or the same, is
    right if the run then comes to a settled stop; if not, it has to be done again from ``early``.
    """

    first: Ints
    early: Ints
    reasons: npt.NDArray[np.int8]


@define(eq=False)
class Screen:
    """The screen of one program, from its healthy run."""

    profile: RunProfile
    settled: bool = field(init=False)
    _read: Ints = field(init=False)
    _own: npt.NDArray[np.bool_] = field(init=False)
    _lasting: dict[int, tuple[Ints, Ints]] = field(factory=dict)

    def __attrs_post_init__(self) -> None:
        self.settled = self.profile.result.stop.kind in SETTLED
        self._read = self.profile.touched("read")
        self._own = self._own_words()

    def _own_words(self) -> npt.NDArray[np.bool_]:
        """Return which flat cells hold the program itself in a store that can be written."""
        machine, bases = self.profile.request.machine, self.profile.layout.bases
        own = np.zeros(bases[-1], bool)
        for number, store in enumerate(machine.stores):
            image = self.profile.request.image.segments.get(store.name)
            if store.writable and image is not None:
                own[bases[number] + np.fromiter(image.cells, np.int64, len(image.cells))] = True
        return own

    # --- faults of single cells

    def cells(self, rows: Ints) -> Starts:
        """Return where runs of single-cell faults begin; ``rows`` as for ``emu.engine.batch``."""
        profile = self.profile
        sizes = np.array([(1 << s.bits) - 1 for s in profile.request.machine.stores])
        stores, masks = rows[:, 0], rows[:, 2:]
        cells = np.array(profile.layout.bases)[stores] + rows[:, 1]
        early = profile.mask_effects(stores, cells, masks)
        first = np.where(_hides(sizes[stores], masks), self._read_effects(stores, cells, masks), early)
        first, early = self._agreed(first, early)
        reasons = np.where(self._read[cells] == NEVER, Reason.NEVER_READ, Reason.ONE_VALUE)
        reasons = np.where(self._own[cells], Reason.TEST_SITS, reasons)
        return Starts(first, early, np.where(first == NEVER, reasons, 0).astype(np.int8))

    def _read_effects(self, stores: Ints | int, cells: Ints, masks: Ints) -> Ints:
        """Return the first step at which something wrong is read, if only what is read counts."""
        sizes = np.array([(1 << s.bits) - 1 for s in self.profile.request.machine.stores])
        reading = masks.copy()
        reading[:, 2], reading[:, 3] = sizes[stores], 0
        return self.profile.mask_effects(stores, cells, reading)

    def _agreed(self, first: Ints, early: Ints) -> tuple[Ints, Ints]:
        if self.settled:
            return first, np.where(first == NEVER, NEVER, early)
        return np.where(first == NEVER, early, first), early

    # --- other faults

    def plan(self, plan: MemoryPlan) -> tuple[int, int]:
        """Return first and early start of a plan whose conditions are settled."""
        stores = altered_stores(plan)
        if stores:
            step = min(self._words_change(plan, store) for store in stores)
            return step, step
        found = self.profile.first_effect(plan)
        if found is None:
            return NEVER, NEVER
        early = np.array([found])
        if not _only_hides(plan, self.profile):
            return found, found
        tables = list(enumerate(plan.modes[0].tables))
        effects = [self._table(store, table) for store, table in tables if not table.healthy]
        first, early = self._agreed(np.array([min(effects)]), early)
        return int(first[0]), int(early[0])

    def _words_change(self, plan: MemoryPlan, store: int) -> int:
        """Return the first step at which a word is read from a lasting store that the plan changes."""
        begin, end = self.profile.layout.bases[store : store + 2]
        when = self._read[begin : end - EXTRA_CELLS]
        if store not in self._lasting:
            addresses = np.flatnonzero(when != NEVER)
            addresses = addresses[np.argsort(when[addresses], kind="stable")]
            self._lasting[store] = self.lasting_cells(store), addresses[:_LOOKED_AT]
        cells, earliest = self._lasting[store]
        changed = given(plan, store, cells, earliest) != cells[earliest]
        if changed.any():
            return int(when[earliest[changed.argmax()]])
        at = concerned(plan, store)
        at = at[when[at] != NEVER]
        if not len(at):
            return NEVER
        at = at[given(plan, store, cells, at) != cells[at]]
        if not len(at):  # other cells that hold the same: an altered word, though nobody can tell
            at = plan.modes[0].tables[store].moved.astype(np.int64)
        return int(when[at].min(initial=NEVER))

    def lasting_cells(self, store: int) -> Ints:
        """Return the cells (int64, the extra ones included) of a store that never changes."""
        first, last = self.profile.layout.bases[store : store + 2]
        return np.asarray(self.profile.snapshots[0].mem[first:last], np.int64)

    def _table(self, store: int, table: StoreTable) -> int:
        masks = np.stack([table.out_and, table.out_or, table.in_and, table.in_or], axis=1)
        cells = self.profile.layout.bases[store] + table.masked.astype(np.int64)
        return int(self._read_effects(store, cells, masks).min())

    def idle_reason(self, plan: MemoryPlan, concerned: Ints) -> Reason:
        """Return why a plan that was not run shows nothing; ``concerned`` from :func:`concerned_cells`."""
        if plan.healthy:
            return Reason.ABSENT
        read = concerned[self._read[concerned] != NEVER]
        if not len(read):
            return Reason.TEST_SITS if len(concerned) and self._own[concerned].all() else Reason.NEVER_READ
        if self._own[read].all():
            return Reason.TEST_SITS
        return Reason.ORDER if depends_on_order(plan) else Reason.ONE_VALUE


def concerned_cells(plan: MemoryPlan) -> Ints:
    """Return the flat cells (as ``emu.engine.layout`` numbers them) whose words a plan can alter."""
    found, base = [np.zeros(0, np.int64)], 0
    for number, shape in enumerate(plan.shapes):
        for mode in plan.modes:
            table = mode.tables[number]
            found.append(base + table.moved.astype(np.int64))
            found.append(base + table.masked[table.masked < shape.words].astype(np.int64))
            mine = (rule for rule in mode.rules if rule.store == number)
            found += [base + _suffering(rule, shape.words) for rule in mine]
        base += shape.words + EXTRA_CELLS
    return np.concatenate(found)


def depends_on_order(plan: MemoryPlan) -> bool:
    """Return whether what a plan does depends on what happened before."""
    return any(r.action in _IN_ORDER or r.last_mask for mode in plan.modes for r in mode.rules)


def ran_reason(plan: MemoryPlan, *, shows_if_open: bool = False) -> Reason:
    """Return why a plan that was run shows nothing.

    ``shows_if_open``: whether it would show something, were all that opens by chance open all the time.
    """
    if shows_if_open:
        return Reason.CHANCE
    return Reason.ORDER if depends_on_order(plan) else Reason.MASKED


def _suffering(rule: Rule, words: int) -> Ints:
    if rule.other >= 0:
        return np.array([rule.other])
    if rule.cell >= 0:
        return np.array([rule.cell])
    addresses = np.arange(words, dtype=np.int64)
    found: Ints = addresses[(addresses & rule.address_mask) == rule.address_value]
    return found


def _hides(full: Ints | int, masks: Ints) -> npt.NDArray[np.bool_]:
    """Return where what the masks do to a word on its way in cannot be told on its way out."""
    cleared = ~masks[:, 2] & full & masks[:, 0]
    hidden: npt.NDArray[np.bool_] = (cleared | (masks[:, 3] & ~masks[:, 1])) == 0
    return hidden


def _only_hides(plan: MemoryPlan, profile: RunProfile) -> bool:
    mode = plan.modes[0]
    if plan.gates or mode.rules or len(mode.bus_moved) or any(len(t.moved) for t in mode.tables):
        return False
    for store, table in zip(profile.request.machine.stores, mode.tables, strict=True):
        masks = np.stack([table.out_and, table.out_or, table.in_and, table.in_or], axis=1)
        if not _hides((1 << store.bits) - 1, masks).all():
            return False
    return True
