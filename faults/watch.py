"""Follows a faulty run access by access, with the right contents of memory kept beside it.

Every word that the processor writes also goes, unharmed, into a second memory. So a word that is read can be
called wrong even long after the run has left the path of a healthy machine.
"""

from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from attrs import define, evolve, field, frozen

from emu.codes import encode, verify
from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.engine.walker import WalkingRun, memory_for
from emu.memory import MemoryPlan
from emu.record import EventKind
from emu.rules import Rule
from emu.spec import StoreSpec
from faults.dump import read_out

Flags = npt.NDArray[np.bool_]
Noticed = Literal["error", "corrected", "ok"]
KEPT: Final = 400
FOREVER: Final = 1 << 62
NONE: Final = -1


@frozen
class WrongRead:
    """A word that the processor got and that is not what was last written there.

    ``store``/``address``: the word meant, ``arrived``: store and address after the processor's address bus
    (NONE: outside every window), ``opened``: the cells that answered. ``expected`` and ``got`` are stored
    words, ``spoilt``: its own cell held something wrong before. ``noticed`` is what the check of the store
    made of it; ``data``: what the processor used.
    """

    access: int
    step: int
    time_ns: int
    pc: int
    fetched: bool
    store: int
    address: int
    arrived: tuple[int, int]
    opened: tuple[int, ...]
    expected: int
    got: int
    noticed: Noticed
    data: int
    spoilt: bool = False


@frozen
class Watched:
    """What was noted: counts over the whole run watched, and the first wrong readings.

    ``touched``: accesses at words that the plan can alter. ``wrong``: wrong readings by what the check made
    of them. ``latent``: words by store that are wrong in their cells at the end and would be read wrong.
    ``finished``: whether the run was followed to its stop.
    """

    accesses: int
    touched: int
    wrong: dict[str, int]
    first: tuple[WrongRead, ...]
    latent: tuple[int, ...]
    finished: bool
    steps: int

    @property
    def wrong_reads(self) -> int:
        """Wrong readings of all sorts."""
        return sum(self.wrong.values())


@define(eq=False)
class WatchedRun(WalkingRun):
    """A run of the readable engine with the right memory beside it."""

    right: list[list[int]] = field(factory=list)
    reach: tuple[Flags, ...] = ()
    touched: int = 0
    wrong: dict[str, int] = field(factory=dict)
    first: list[WrongRead] = field(factory=list)
    _arrived: tuple[int, int] = (NONE, 0)

    def _found(self, address: int) -> tuple[int, StoreSpec, int] | None:
        found = super()._found(address)
        self._arrived = (NONE, 0) if found is None else (found[0], found[2])
        return found

    def _meant(self, address: int) -> tuple[int, StoreSpec, int] | None:
        """Return where a machine address leads when the address bus is right."""
        address &= (1 << self.machine.address_bits) - 1
        for window, number, store in self._windows:
            if window.first <= address <= window.last:
                return number, store, self._within(window, address) % store.words
        return None

    def store(self, address: int, value: int) -> None:
        """Write a word through the windows, and where it should go."""
        meant = self._meant(address)
        super().store(address, value)
        if meant is None:
            return
        number, store, at = meant
        self._touch(number, at)
        if store.writable:
            self.right[number][at] = encode(store.protection, store.data_bits, value)

    def _access(self, address: int, kind: EventKind) -> int:
        meant, time_ns, access = self._meant(address), self.time_ns, self.memory.access
        held = 0 if meant is None else self.memory.cells[meant[0]][meant[2]]
        data = super()._access(address, kind)
        if meant is None:
            return data
        number, _store, at = meant
        self._touch(number, at)
        got = self.memory.last_word if self.memory.access > access else 0
        expected = self.right[number][at]
        if got != expected or self._arrived[0] != number:
            wrong = WrongRead(
                access, self.steps, time_ns, self.pc, kind == "fetch", number, at, self._arrived, (),
                expected, got, "ok", data, held != expected,
            )  # fmt: skip
            self._note(wrong)
        return data

    def _touch(self, store: int, address: int) -> None:
        self.touched += bool(self.reach[store][address]) or self._arrived != (store, address)

    def _note(self, wrong: WrongRead) -> None:
        number, at = wrong.arrived
        if number != NONE:
            spec = self.machine.stores[number]
            noticed = verify(spec.protection, spec.data_bits, wrong.got).status
            wrong = evolve(wrong, noticed=noticed, opened=self.memory.opened(number, at))
        self.wrong[wrong.noticed] = self.wrong.get(wrong.noticed, 0) + 1
        if len(self.first) < KEPT:
            self.first.append(wrong)

    def _latent(self, store: int) -> int:
        """Count the words of which the cell holds something wrong and that would also be read wrong."""
        words = len(self.right[store])
        held, right = (np.array(c[:words], np.int64) for c in (self.memory.cells[store], self.right[store]))
        spoilt = held != right
        if not spoilt.any():
            return 0
        plan = self.memory.plan
        settled = MemoryPlan(plan.shapes, plan.modes[:1])  # while what comes and goes is away
        read = read_out(self.machine, store, settled, held).first
        return int(np.count_nonzero(spoilt & (read != right)))

    def watched(self) -> Watched:
        """Return what was noted so far."""
        latent = tuple(self._latent(number) for number in range(len(self.right)))
        return Watched(
            self.memory.access, self.touched, dict(self.wrong), tuple(self.first), latent,
            self.stop is not None, self.steps,
        )  # fmt: skip


def watched_run(request: RunRequest) -> WatchedRun:
    """Return a run to be stepped. Raises InputError for a bad image."""
    memory = memory_for(request)
    plan, stores = memory.plan, request.machine.stores
    forced = any(rule.action == "force" for mode in plan.modes for rule in mode.rules)  # at power-up already
    held = [c.tolist() for c in power_up(request)] if forced else memory.cells
    right = [cells[: store.words] for cells, store in zip(held, stores, strict=True)]
    return WatchedRun(request, memory, right=right, reach=reach_of(plan))


def watch(
    request: RunRequest, *, most_steps: int, enough: int = FOREVER, steps_after: int = FOREVER
) -> Watched:
    """Follow a run for at most so many instructions.

    Ends sooner when ``enough`` wrong readings were seen, or ``steps_after`` instructions after the first.
    """
    run, last = watched_run(request), most_steps
    while run.stop is None and run.steps < last and len(run.first) < enough:
        run.step()
        if run.first and last == most_steps:
            last = min(most_steps, run.steps + steps_after)
    return run.watched()


def reach_of(plan: MemoryPlan) -> tuple[Flags, ...]:
    """Return for every store at which addresses an access can go wrong under a plan (bool[words] each)."""
    found = tuple(np.zeros(shape.words, np.bool_) for shape in plan.shapes)
    for mode in plan.modes:
        for number, table in enumerate(mode.tables):
            flags, words = found[number], len(found[number])
            flags[table.moved] = True
            for rows in (table.read_to, table.write_to):  # what others open, reading and writing may spoil
                flags[rows[rows < words]] = True
            flags[table.masked[table.masked < words]] = True
        for rule in mode.rules:
            found[rule.store][_reached(rule, len(found[rule.store]))] = True
    return found


def _reached(rule: Rule, words: int) -> npt.NDArray[np.int64]:
    if rule.action in ("couple", "force", "read-disturb"):
        return np.array([c for c in (rule.cell, rule.other) if 0 <= c < words], np.int64)
    if rule.action == "keep" and rule.cell >= 0:
        return np.array([rule.cell], np.int64)
    addresses = np.arange(words, dtype=np.int64)
    chosen: npt.NDArray[np.int64] = addresses[(addresses & rule.address_mask) == rule.address_value]
    if rule.action != "redirect":
        return chosen
    return np.union1d(chosen, np.bitwise_xor(chosen & rule.keep_mask, rule.flip_mask))
