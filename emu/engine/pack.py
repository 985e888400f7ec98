"""Requests, plans and results in the int arrays of a compiled machine, and back."""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from emu.engine.contract import AlarmTally, RunRequest, RunResult, Stop
from emu.engine.decoding import decoding_tree
from emu.engine.kernel import direct_bits
from emu.engine.lasting import region
from emu.engine.layout import (
    ALARM_FIELDS,
    EVENT_FIELDS,
    EVENT_KINDS,
    GATES_PER_GROUP,
    RESTART_TIMES_KEPT,
    STOP_KINDS,
    Layout,
)
from emu.engine.powerup import power_up
from emu.gates import Gate, dwell_table
from emu.memory import MemoryPlan, StoreTable
from emu.record import Event
from emu.rules import Rule, looks_back
from emu.spec import MachineSpec

Ints = npt.NDArray[np.int64]
FOREVER: Final = 1 << 62
_SIDES: Final = ("sense", "bus", "cell")
_ACTIONS: Final = (
    "set", "clear", "flip", "tie-or", "tie-and", "swap", "hold", "late", "redirect", "keep", "couple",
    "force", "read-disturb",
)  # fmt: skip
_EDGES: Final = ("rise", "fall", "any")
_EFFECTS: Final = ("clear", "set", "flip")
_WAYS: Final = {"read": 1, "write": 2, "both": 3}
_GATE_KINDS: Final = ("chance", "contact", "window", "after")


def signed64(value: int) -> int:
    """Return the value modulo 2**64 as a signed number."""
    value &= (1 << 64) - 1
    return value - (1 << 64) if value >> 63 else value


def of_the_plan(request: RunRequest, plan: MemoryPlan | None) -> dict[str, int]:
    """Return what of the state depends on the plan and the seed, not on the past."""
    rules = [r for mode in plan.modes for r in mode.rules] if plan is not None else []
    return {
        "SEED": signed64(request.seed), "LOOKS_BACK": int(any(looks_back(r) for r in rules)),
        "WATCH": int(request.stop_on_loop and not (plan is not None and plan.gates)),
    }  # fmt: skip


def first_state(layout: Layout, request: RunRequest, plan: MemoryPlan | None) -> Ints:
    """Return the state array at power-up."""
    machine, st = layout.machine, np.zeros(layout.size, np.int64)
    at = layout.at
    values = {
        "FRESH": 1, "LOW": FOREVER, "HIGH": -1, "MAX_EVENTS": request.max_events,
        "MAX_STEPS": request.max_steps, "MAX_TIME": request.max_time_ns, "MAX_OUTPUTS": request.max_outputs,
        "MAX_RESTARTS": request.max_restarts, "SLICE": FOREVER,
    }  # fmt: skip
    for name, value in values.items():
        st[at[name]] = min(value, FOREVER)
    for name, value in of_the_plan(request, plan).items():
        st[at[name]] = value
    for number, timer in enumerate(machine.timers):
        st[at["TIMERS"] + number] = timer.period_ns
    for number, register in enumerate(layout.singles):
        st[at["REGISTERS"] + number] = register.reset
    for file in layout.files:
        start = at["FILES"] + layout.file_at(file.name)
        st[start : start + file.count] = file.reset
        if file.zero is not None:
            st[start + file.zero] = 0
    entry = request.image.entry
    counter = [r.name for r in layout.singles].index(machine.counter)
    st[at["REGISTERS"] + counter] = machine.start if entry is None else entry
    st[at["CLOCKS"] + 1 : at["LAST_READ"] : 2] = -1
    return st


def first_cells(layout: Layout, request: RunRequest) -> Ints:
    """Return the flat cells of all stores at power-up, extra cells included."""
    cells = power_up(request)
    for store, words in zip(layout.machine.stores, cells, strict=True):
        words[store.words :] = [0, (1 << store.bits) - 1, 0]
    return np.concatenate(cells)


def offered_inputs(layout: Layout, request: RunRequest) -> Ints:
    """Return (offset, count) of every input port, and behind them the words."""
    head: list[int] = []
    words: list[int] = []
    for port in layout.inputs:
        given = [w & ((1 << port.bits) - 1) for w in request.inputs.get(port.number, ())]
        head += [2 * len(layout.inputs) + len(words), len(given)]
        words += given
    return np.array([*head, *words, 0], np.int64)


def decoding(machine: MachineSpec) -> npt.NDArray[np.int16] | npt.NDArray[np.int32]:
    """Return the table from (the low bits of) an instruction word to the number of its instruction."""
    bits = direct_bits(machine)
    if not bits:
        return np.array(decoding_tree(machine), np.int32)
    words = np.arange(1 << bits)
    table = np.full(1 << bits, -1, np.int16)
    for number in reversed(range(len(machine.instructions))):
        instruction = machine.instructions[number]
        table[(words & instruction.mask) == instruction.match] = number
    return table


def shapes_array(layout: Layout) -> Ints:
    """Return base, words, full mask, destructive, writable of every store."""
    rows = [
        (base, s.words, (1 << s.bits) - 1, int(s.destructive), int(s.writable))
        for base, s in zip(layout.bases, layout.machine.stores, strict=False)
    ]
    return np.array(rows, np.int64).reshape(-1)


@frozen(eq=False)
class PackedPlan:
    """A plan as arrays; ``ri``, ``mi`` and ``fl`` are those of the :class:`PlanArrays` that made it."""

    ri: npt.NDArray[np.int32]
    mi: npt.NDArray[np.int32]
    fl: npt.NDArray[np.int8]
    rows: Ints
    masks: Ints
    wired: Ints
    modes: Ints
    rules: Ints
    gates: Ints
    dwell: Ints
    bus: Ints


@define(eq=False)
class PlanArrays:
    """Arrays that say "healthy" everywhere, patched for one plan at a time.

    Their size is that of the machine; a plan touches few places of them, which are put back before the
    next one is loaded.
    """

    layout: Layout
    most_modes: int
    ri: npt.NDArray[np.int32] = field(init=False)
    mi: npt.NDArray[np.int32] = field(init=False)
    fl: npt.NDArray[np.int8] = field(init=False)
    _moved: list[npt.NDArray[np.int64]] = field(factory=list)
    _masked: list[npt.NDArray[np.int64]] = field(factory=list)
    _ruled: list[npt.NDArray[np.int64]] = field(factory=list)

    def __attrs_post_init__(self) -> None:
        cells = self.layout.bases[-1]
        self.ri = np.full(self.most_modes * cells, -1, np.int32)
        self.mi = np.full(self.most_modes * cells, -1, np.int32)
        self.fl = np.zeros(cells, np.int8)

    def load(self, plan: MemoryPlan) -> PackedPlan:
        """Return the plan in the arrays; the plan loaded before is gone."""
        self._put_back()
        rows: list[Ints] = [np.zeros((0, 10), np.int64)]
        masks: list[Ints] = [np.zeros((0, 4), np.int64)]
        modes: list[tuple[int, int, int, int]] = []
        rules: list[tuple[int, ...]] = []
        buses: list[Ints] = [np.zeros((0, 2), np.int64)]
        for number, mode in enumerate(plan.modes):
            first, bus = len(rules), sum(len(b) for b in buses)
            rules += [_rule_row(rule, self.layout) for rule in mode.rules]
            self._ruled += [_flagged(rule, self.layout) for rule in mode.rules]
            modes.append((first, len(rules), bus, bus + len(mode.bus_moved)))
            buses.append(np.stack([mode.bus_moved, mode.bus_to], axis=1).astype(np.int64))
            for store, table in enumerate(mode.tables):
                if not table.healthy:
                    self._table(number, store, table, rows, masks)
        for at in self._ruled:
            self.fl[at] = 1
        gates, dwell = _gate_rows(plan.gates)
        return PackedPlan(
            self.ri, self.mi, self.fl, _flat(rows), _flat(masks),
            np.array([int(t.wired == "or") for m in plan.modes for t in m.tables], np.int64),
            np.array(modes, np.int64).reshape(-1), np.array(rules, np.int64).reshape(-1), gates, dwell,
            _flat(buses),
        )  # fmt: skip

    def _table(self, mode: int, store: int, table: StoreTable, rows: list[Ints], masks: list[Ints]) -> None:
        base = self.layout.bases[store]
        start = mode * self.layout.bases[-1] + base
        if len(table.moved):
            at = start + table.moved.astype(np.int64)
            offset = sum(len(r) for r in rows)
            self.ri[at] = 10 * (offset + np.arange(len(at)))
            rows.append(np.hstack([_row_half(table.read_to, base), _row_half(table.write_to, base)]))
            self._moved.append(at)
        if len(table.masked):
            at = start + table.masked.astype(np.int64)
            offset = sum(len(m) for m in masks)
            self.mi[at] = 4 * (offset + np.arange(len(at)))
            masks.append(np.stack([table.out_and, table.out_or, table.in_and, table.in_or], axis=1))
            self._masked.append(at)
        self.fl[base + table.moved] = 1
        self.fl[base + table.masked] = 1

    def _put_back(self) -> None:
        cells = self.layout.bases[-1]
        for places, array in ((self._moved, self.ri), (self._masked, self.mi)):
            for at in places:
                array[at] = -1
                self.fl[at % cells] = 0
            places.clear()
        for at in self._ruled:
            self.fl[at] = 0
        self._ruled.clear()


def _flat(parts: Sequence[Ints]) -> Ints:
    return np.ascontiguousarray(np.concatenate(parts)).reshape(-1)


def _row_half(cells: npt.NDArray[np.int32], base: int) -> Ints:
    """Return int64[n, 5]: how many distinct cells a row has, and the cells (flat)."""
    half = np.zeros((len(cells), 5), np.int64)
    half[:, 0] = 1 + np.count_nonzero(np.diff(cells, axis=1), axis=1)
    half[:, 1 : 1 + cells.shape[1]] = cells + np.int64(base)
    return half


def _flagged(rule: Rule, layout: Layout) -> Ints:
    """Return the flat cells at whose accesses a rule may act."""
    base, words = layout.bases[rule.store], layout.machine.stores[rule.store].words
    if rule.action in {"keep", "couple", "read-disturb"} and rule.cell >= 0:
        return np.array([base + rule.cell])
    if rule.action in {"keep", "force"}:  # a state coupling acts again after whatever was written
        return base + region(words, 0, 0)
    return base + region(words, rule.address_mask, rule.address_value)


def _rule_row(rule: Rule, layout: Layout) -> tuple[int, ...]:
    base = layout.bases[rule.store]
    return (
        _SIDES.index(rule.side), rule.store, _ACTIONS.index(rule.action), rule.bits, _WAYS[rule.on],
        rule.address_mask, rule.address_value, rule.word_mask, rule.word_value, rule.last_mask,
        rule.last_value, rule.cell + base if rule.cell >= 0 else -1, rule.cell_bits, rule.other + base,
        _EDGES.index(rule.edge), _EFFECTS.index(rule.effect), rule.keep_mask, rule.flip_mask,
        int(rule.shows), 0,
    )  # fmt: skip


def _gate_rows(groups: tuple[tuple[Gate, ...], ...]) -> tuple[Ints, Ints]:
    rows: list[tuple[int, ...]] = []
    dwell: list[int] = []
    for number, group in enumerate(groups):
        for place, gate in enumerate(group):
            stream, tables = GATES_PER_GROUP * number + place, (0, 0)
            if gate.kind == "contact":
                tables = (len(dwell), len(dwell) + 256)
                dwell += [*dwell_table(gate.low), *dwell_table(gate.high)]
            kind = _GATE_KINDS.index(gate.kind)
            rows.append((number, kind, gate.low, gate.high, stream, stream, *tables))
    return np.array(rows, np.int64).reshape(-1), np.array(dwell, np.int64)


def result_of(layout: Layout, state: Ints | list[int], mem: Any, out: Any, ev: Any) -> RunResult:
    """Return the result of a run that has stopped, from its arrays."""
    st = state if isinstance(state, list) else state.tolist()
    at, machine = layout.at, layout.machine
    registers: dict[str, int | tuple[int, ...]] = {
        r.name: st[at["REGISTERS"] + i] for i, r in enumerate(layout.singles)
    }
    lamps = {lamp.name: _lamp(layout, st, lamp.shows) for lamp in machine.lamps}
    for file in layout.files:
        start = at["FILES"] + layout.file_at(file.name)
        registers[file.name] = tuple(st[start : start + file.count])
    cells = np.array(mem, np.int64)
    memory = tuple(
        cells[base : base + s.words].copy() for base, s in zip(layout.bases, machine.stores, strict=False)
    )
    sent = np.array(out[: 3 * st[at["OUTPUTS"]]], np.int64).reshape(-1, 3)
    kept = min(st[at["RESTARTS"]], RESTART_TIMES_KEPT)
    return RunResult(
        _stop(layout, st), st[at["STEPS"]], st[at["TIME"]], st[at["STEPS"]], st[at["READS"]],
        st[at["WRITES"]], _alarms(layout, st), st[at["RESTARTS"]],
        tuple(st[at["RESTART_TIMES"] : at["RESTART_TIMES"] + kept]),
        tuple((a, b, c) for a, b, c in sent.tolist()), registers, lamps, memory, _events(layout, st, ev),
    )  # fmt: skip


def _stop(layout: Layout, st: list[int]) -> Stop:
    at = layout.at
    kind = STOP_KINDS[st[at["STOP"]]]
    assert kind, "the run goes on"
    loop = [st[at["LOOP_FROM"] + i] for i in range(6)] if kind == "loop" else []
    return Stop(kind, st[at["STOP_PC"]], *loop)  # type: ignore[arg-type]  # the table holds the kinds


def _lamp(layout: Layout, st: list[int], shows: str) -> int:
    what, _, name = shows.partition(":")
    if what == "alarm":
        return int(st[layout.alarm_at(name)] > 0)
    if what == "restarts":
        return st[layout.at["RESTARTS"]]
    return st[layout.at["REGISTERS"] + [r.name for r in layout.singles].index(what)]


def _alarms(layout: Layout, st: list[int]) -> tuple[AlarmTally, ...]:
    found = []
    for alarm in sorted(layout.machine.alarms, key=lambda a: a.name):
        at = layout.alarm_at(alarm.name)
        if st[at]:
            found.append(AlarmTally(alarm.name, *st[at : at + ALARM_FIELDS]))
    return tuple(found)


def _events(layout: Layout, st: list[int], ev: Any) -> tuple[Event, ...]:
    rows = np.array(ev[: EVENT_FIELDS * st[layout.at["EVENTS"]]], np.int64).reshape(-1, EVENT_FIELDS)
    names = {"alarm": [a.name for a in layout.machine.alarms], "stop": list(STOP_KINDS)}
    events = []
    for kind, step, access, time, pc, store, address, word, detail in rows.tolist():
        name = EVENT_KINDS[kind]
        text = names[name][detail] if name in names else ""
        events.append(Event(name, step, access, time, pc, store, address, word, text))  # type: ignore[arg-type]
    return tuple(events)
