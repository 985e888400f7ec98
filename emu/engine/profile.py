"""What a healthy run did with every cell, and places to resume it: a reference for many other runs.

Until the first step at which a plan can matter, a run under the plan *is* the healthy run. So a faulty run
may begin from the last snapshot before that step; and a plan that can never matter need not run at all. "Can
matter" is decided on the safe side: a step is named too early rather than too late.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import define, evolve, field, frozen

from emu.engine.compiled import CompiledMachine, CompiledRun, compiled_machine, have_numba
from emu.engine.contract import RunRequest, RunResult
from emu.engine.lasting import region
from emu.engine.layout import Layout
from emu.engine.pack import FOREVER
from emu.memory import MemoryPlan, StoreTable
from emu.rules import Rule, looks_back

SNAPSHOTS: Final = 64
NEVER: Final = np.iinfo(np.int64).max
READ_0, READ_1, WRITTEN_0, WRITTEN_1, RISES, FALLS = range(6)
_MOST_NEAR: Final = 1024
_MOST_BUS: Final = 1 << 20  # machine addresses whose first use is noted
Ints = npt.NDArray[np.int64]


@frozen(eq=False)
class Snapshot:
    """The whole state at an instruction boundary: ``step`` instructions and ``access`` accesses were done."""

    step: int
    access: int
    st: Any
    mem: Any
    out: Any


@define(eq=False)
class RunProfile:
    """A healthy run: its result, snapshots of it, and the first step at which each bit was seen so or so.

    ``firsts`` (int32[6, cells, bits], cells flat over all stores): first step, counted from 1 (0: never),
    at which the bit was read as 0, read as 1, written as 0, written as 1, rose, fell. What a destructive
    read writes back counts as written. ``buses`` (int32): the same for the use of machine addresses, empty
    where the address space is too large. ``pasts``: memory at every step at which the search for loops
    took a state to compare with. ``near``: steps at which all but memory was as in that state; only the
    first of them if ``near_overflows``.
    """

    request: RunRequest
    result: RunResult
    jit: bool
    snapshots: tuple[Snapshot, ...]
    pasts: Mapping[int, Any]
    near: Ints
    near_overflows: bool
    firsts: npt.NDArray[np.int32]
    buses: npt.NDArray[np.int32]
    _touched: dict[str, Ints] = field(factory=dict)

    @property
    def compiled(self) -> CompiledMachine:
        """The generated functions of the machine."""
        return compiled_machine(self.request.machine, jit=self.jit)

    @property
    def layout(self) -> Layout:
        """Where things lie in arrays."""
        return self.compiled.layout

    def steps_of(self, kind: int, cells: Any, bits: Any) -> Ints:
        """Return first steps (NEVER where never) for one of the six kinds."""
        found = self.firsts[kind][cells, bits].astype(np.int64)
        return np.where(found == 0, NEVER, found - 1)

    def touched(self, way: str) -> Ints:
        """Return the first step at which each flat cell was read (``read``), written (``write``) or both."""
        if not self._touched:
            cells = np.arange(self.layout.bases[-1])
            for name, (zero, one) in {"read": (READ_0, READ_1), "write": (WRITTEN_0, WRITTEN_1)}.items():
                lowest = self.steps_of(zero, cells, 0), self.steps_of(one, cells, 0)
                self._touched[name] = np.minimum(*lowest)
            self._touched["both"] = np.minimum(self._touched["read"], self._touched["write"])
        return self._touched[way]

    def snapshot_before(self, step: int) -> Snapshot:
        """Return the last snapshot at or before a step."""
        return self.snapshots[max(bisect_right(self.snapshots, step, key=lambda s: s.step) - 1, 0)]

    # --- when a plan can matter

    def first_effect(self, plan: MemoryPlan) -> int | None:
        """Return a step at or before the first at which a plan can matter; None if it never can.

        Exact in this sense: run from the snapshot before that step, the result is that of a run from
        power-up; and without a step, the symptoms are those of the healthy run (contents that nothing
        reads, or that only the plan's own masks hide, may differ).
        """
        first = NEVER
        for mode in plan.modes:
            for store, table in enumerate(mode.tables):
                first = min(first, self._table(store, table))
            for rule in mode.rules:
                first = min(first, self._rule(rule))
            if len(mode.bus_moved):
                first = min(first, self._bus(mode.bus_moved))
        if self.result.stop.kind == "loop" and (plan.gates or _any_looks_back(plan)):
            first = min(first, self.result.steps)  # such a run does not stop at the same loop
        return None if first == NEVER else int(first)

    def _bus(self, moved: npt.NDArray[np.int32]) -> int:
        if not len(self.buses):
            return 0
        found = self.buses[moved].astype(np.int64)
        return int(np.where(found == 0, NEVER, found - 1).min())

    def _table(self, store: int, table: StoreTable) -> int:
        base, first = self.layout.bases[store], NEVER
        if len(table.moved):
            first = int(self.touched("both")[base + table.moved].min())
        if len(table.masked):
            cells = base + table.masked.astype(np.int64)
            masks = np.stack([table.out_and, table.out_or, table.in_and, table.in_or], axis=1)
            first = min(first, int(self.mask_effects(store, cells, masks).min()))
        return first

    def mask_effects(self, store: int | Ints, cells: Ints, masks: Ints) -> Ints:
        """Return the first step at which the masks (int64[n, 4]: out and, or, in and, or) of cells matter."""
        sizes = np.array([(1 << s.bits) - 1 for s in self.request.machine.stores])
        full = sizes[store]
        ways = (
            (READ_1, full & ~masks[:, 0]), (READ_0, masks[:, 1]),
            (WRITTEN_1, full & ~masks[:, 2]), (WRITTEN_0, masks[:, 3]),
        )  # fmt: skip
        first = np.full(len(cells), NEVER)
        for kind, bits in ways:
            present = int(np.bitwise_or.reduce(bits)) if len(bits) else 0
            for bit in range(present.bit_length()):
                if present >> bit & 1:
                    chosen = np.flatnonzero(bits >> bit & 1)
                    first[chosen] = np.minimum(first[chosen], self.steps_of(kind, cells[chosen], bit))
        return first

    def _rule(self, rule: Rule) -> int:
        """Return when a rule can first matter."""
        base = self.layout.bases[rule.store]
        if rule.action == "force":
            return 0
        if rule.action == "keep":
            return self._edges(rule, base)
        if rule.action == "couple":
            return self._coupled(rule, base)
        if rule.action == "read-disturb":
            return int(self.touched("read")[base + rule.cell])
        return self._word_rule(rule, base)

    def _edges(self, rule: Rule, base: int) -> int:
        words = self.request.machine.stores[rule.store].words
        cells = np.arange(base, base + words) if rule.cell < 0 else np.array([base + rule.cell])
        bits = [b for b in range(rule.bits.bit_length()) if rule.bits >> b & 1]
        return min(
            (int(self.steps_of(k, cells, b).min()) for k in _edge_kinds(rule) for b in bits), default=NEVER
        )

    def _coupled(self, rule: Rule, base: int) -> int:
        cell = base + rule.cell
        if not rule.cell_bits:
            return int(self.touched("both")[cell])
        bits = [b for b in range(rule.cell_bits.bit_length()) if rule.cell_bits >> b & 1]
        return max(min(int(self.steps_of(k, cell, b)) for k in _edge_kinds(rule)) for b in bits)

    def _word_rule(self, rule: Rule, base: int) -> int:
        chosen = region(self.request.machine.stores[rule.store].words, rule.address_mask, rule.address_value)
        if rule.action == "redirect":
            chosen = chosen[((chosen & rule.keep_mask) ^ rule.flip_mask) != chosen]
        if not len(chosen):
            return NEVER
        reading, writing = (READ_0, READ_1), (WRITTEN_0, WRITTEN_1)
        ways = {"read": (reading,), "write": (writing,), "both": (reading, writing)}[rule.on]
        return min(self._word_altered(rule, base + chosen, *way) for way in ways)

    def _word_altered(self, rule: Rule, cells: Ints, zero: int, one: int) -> int:
        """Return the first step at which a word passed that a word rule would alter, or could."""
        bits = [b for b in range(rule.bits.bit_length()) if rule.bits >> b & 1]
        if rule.action in {"tie-or", "tie-and", "swap"} and len(bits) == 2:
            zeros, ones = (([self.steps_of(k, cells, b) for b in bits]) for k in (zero, one))
            apart = np.minimum(np.maximum(zeros[0], ones[1]), np.maximum(ones[0], zeros[1]))
            return int(apart.min())
        kinds = {"set": (zero,), "clear": (one,)}.get(rule.action, (zero, one))
        return min((int(self.steps_of(k, cells, b).min()) for k in kinds for b in bits), default=NEVER)

    # --- runs derived from this one

    def resume(self, plan: MemoryPlan, step: int, *, seed: int | None = None) -> CompiledRun:
        """Return a run under a plan, standing at the last snapshot at or before ``step``.

        ``plan`` has its conditions settled (``plan.under``). ``seed`` replaces that of the request, which
        is right only where power-up does not depend on it.
        """
        snapshot = self.snapshot_before(step)
        request = evolve(self.request, plan=plan, seed=self.request.seed if seed is None else seed)
        room = max(len(snapshot.out), 3 * self.compiled.module.SITES) + 3 * 1024
        out = self.compiled.zeros(room)
        out[: len(snapshot.out)] = snapshot.out
        run = CompiledRun(self.compiled, request, plan, snapshot.st.copy(), snapshot.mem.copy(), out)
        run.apply_request()
        return run

    def reference(self, step: int) -> CompiledRun:
        """Return the healthy run, standing at the last snapshot at or before ``step``."""
        snapshot = self.snapshot_before(step)
        state = snapshot.st.copy(), snapshot.mem.copy()
        return CompiledRun(self.compiled, self.request, None, *state, self.compiled.zeros(3))

    def run_plan(self, plan: MemoryPlan, *, seed: int | None = None) -> RunResult | None:
        """Return the result under a plan, or None if it never matters (then see :attr:`result`)."""
        step = self.first_effect(plan)
        if step is None:
            return None
        run = self.resume(plan, step, seed=seed)
        run.advance()
        return run.result()


def _any_looks_back(plan: MemoryPlan) -> bool:
    return any(looks_back(rule) for mode in plan.modes for rule in mode.rules)


def _edge_kinds(rule: Rule) -> tuple[int, ...]:
    return {"rise": (RISES,), "fall": (FALLS,), "any": (RISES, FALLS)}[rule.edge]


def profile_run(request: RunRequest, *, snapshots: int = SNAPSHOTS, jit: bool | None = None) -> RunProfile:
    """Run a request on a healthy memory twice: to learn its length, then noting and taking snapshots.

    The plan of the request is left out; limits, inputs and power-up are kept, and hold for every run that
    is derived. At most 2**31 steps.
    """
    jit = have_numba() if jit is None else jit
    request = evolve(request, plan=None, trace=False)
    assert request.max_steps < 1 << 31, "first steps are kept in 32 bits"
    compiled = compiled_machine(request.machine, jit=jit)
    run = compiled.start(request)
    run.advance()
    result = run.result()
    boundaries = sorted({result.steps * i // snapshots for i in range(snapshots)})
    return _noted(compiled, request, result, boundaries)


def _noted(
    compiled: CompiledMachine, request: RunRequest, result: RunResult, boundaries: Iterable[int]
) -> RunProfile:
    stores, cells = request.machine.stores, compiled.layout.bases[-1]
    wide = max(store.bits for store in stores)
    space = 1 << request.machine.address_bits
    arrays = (
        compiled.zeros(6 * cells), compiled.zeros(6 * cells * wide, np.int32),
        compiled.zeros(space if space <= _MOST_BUS else 0, np.int32), compiled.zeros(_MOST_NEAR + 1),
    )  # fmt: skip
    run = compiled.start(request)
    run.note_into(arrays)
    run.st[run.place("SHOW_PAST")] = 1
    taken = []
    pasts: dict[int, Any] = {}
    for boundary in boundaries:
        _advance(run, boundary, pasts)
        taken.append(_snapshot(run))
    _advance(run, FOREVER, pasts)
    firsts = np.asarray(arrays[1], np.int32).reshape(6, cells, wide)
    firsts = np.ascontiguousarray(firsts.swapaxes(1, 2)).swapaxes(1, 2)  # asked for bit by bit from now on
    for store, base in zip(stores, compiled.layout.bases, strict=False):
        if store.destructive:
            _restores_are_writes(firsts[:, base : base + store.words])
    near = np.asarray(arrays[3], np.int64)
    return RunProfile(
        request, result, compiled.jit, tuple(taken), pasts, near[1 : 1 + near[0]], int(near[0]) > _MOST_NEAR,
        firsts, np.asarray(arrays[2], np.int32),
    )  # fmt: skip


def _advance(run: CompiledRun, boundary: int, pasts: dict[int, Any]) -> None:
    """Run to a boundary, keeping memory as it was whenever a past state was taken."""
    done = run.st[run.place("STEPS")] >= boundary
    while not done:
        done = run.advance_slice(boundary)
        step = int(run.st[run.place("STEPS")])
        if run.st[run.place("PAST")] and run.st[run.place("PAST_STEPS")] == step and step not in pasts:
            pasts[step] = run.mem.copy()


def _snapshot(run: CompiledRun) -> Snapshot:
    sent = 3 * int(run.st[run.place("OUTPUTS")])
    places = int(run.st[run.place("STEPS")]), int(run.st[run.place("ACCESS")])
    st = run.st.copy()
    st[run.place("SHOW_PAST")] = 0
    return Snapshot(*places, st, run.mem.copy(), run.out[:sent].copy())


def _restores_are_writes(firsts: npt.NDArray[np.int32]) -> None:
    for read, written in ((READ_0, WRITTEN_0), (READ_1, WRITTEN_1)):
        a, b = firsts[read], firsts[written]
        firsts[written] = np.where(a == 0, b, np.where(b == 0, a, np.minimum(a, b)))
