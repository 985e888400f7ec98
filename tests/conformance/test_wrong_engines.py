"""The conformance kit finds engines that are wrong in one thing: a field ignored, a rule, gate or table dropped.

Each wrong engine is the readable one that is given a changed request, or a changed part of itself. A kit that lets
one of them pass would let the same mistake pass in a real engine.
"""

from collections.abc import Callable
from functools import cache, partial
from types import ModuleType
from typing import get_args

import numpy as np
import pytest
from attrs import evolve

from emu.behaviour.functions import FUNCTIONS
from emu.behaviour.tree import BinaryOp, UnaryOp
from emu.engine import conformance, evaluate, walker
from emu.engine.conformance import check_engine, numbered_request
from emu.engine.contract import RunRequest, RunResult
from emu.engine.walker import Walker
from emu.gates import Gate
from emu.memory import MemoryPlan, Mode, PlannedMemory, StoreTable, no_table
from emu.rules import Action, Rule
from emu.spec import MachineSpec

Change = Callable[[RunRequest], RunRequest]


# --- what may be wrong with a request

FIELDS: dict[str, object] = {
    "plan": None,
    "inputs": {},
    "conditions": frozenset(),
    "seed": 0,
    "max_steps": 1_000,
    "max_time_ns": 1 << 62,
    "max_outputs": 100_000,
    "max_restarts": 1_000,
    "max_events": 1_000_000,
    "stop_on_loop": False,
    "trace": False,
    "power_up": "zeros",
}


def with_field(name: str, value: object) -> Change:
    def changed(request: RunRequest) -> RunRequest:
        return request if getattr(request, name) == value else evolve(request, **{name: value})

    return changed


def without_entry(request: RunRequest) -> RunRequest:
    return evolve(request, image=evolve(request.image, entry=None))


def without_words(request: RunRequest) -> RunRequest:
    return evolve(request, image=evolve(request.image, segments={}))


# --- what may be wrong with a plan


def of_plan(change: Callable[[MemoryPlan], MemoryPlan]) -> Change:
    def changed(request: RunRequest) -> RunRequest:
        plan = request.plan and change(request.plan)
        same = plan is None or request.plan is None or plan.digest == request.plan.digest
        return request if same else evolve(request, plan=plan)

    return changed


def of_modes(change: Callable[[Mode], Mode]) -> Change:
    return of_plan(lambda plan: evolve(plan, modes=tuple(change(mode) for mode in plan.modes)))


def of_rules(change: Callable[[Rule], Rule | None]) -> Change:
    def changed(mode: Mode) -> Mode:
        rules = (change(rule) for rule in mode.rules)
        return evolve(mode, rules=tuple(sorted(rule for rule in rules if rule is not None)))

    return of_modes(changed)


def of_tables(change: Callable[[StoreTable], StoreTable]) -> Change:
    return of_modes(lambda mode: evolve(mode, tables=tuple(change(table) for table in mode.tables)))


def of_gates(change: Callable[[Gate], Gate | None]) -> Change:
    def changed(plan: MemoryPlan) -> MemoryPlan:
        groups = (tuple(change(gate) for gate in group) for group in plan.gates)
        return evolve(plan, gates=tuple(tuple(g for g in group if g is not None) for group in groups))

    return of_plan(changed)


def without_action(action: Action, rule: Rule) -> Rule | None:
    return None if rule.action == action else rule


def always_open(kind: str, gate: Gate) -> Gate | None:
    return None if gate.kind == kind else gate


def never_open(kind: str, gate: Gate) -> Gate:
    return Gate("window", 0, 0) if gate.kind == kind else gate


RULE_FIELDS: dict[str, object] = {
    "on": "both",
    "address_mask": 0,
    "word_mask": 0,
    "last_mask": 0,
    "edge": "any",
    "effect": "flip",
    "shows": False,
}
_BOTH_FIELDS = {"address_mask": "address_value", "word_mask": "word_value", "last_mask": "last_value"}


def rule_without(name: str, rule: Rule) -> Rule:
    more = {_BOTH_FIELDS[name]: 0} if name in _BOTH_FIELDS else {}
    return evolve(rule, **{name: RULE_FIELDS[name]}, **more)


def other_side(rule: Rule) -> Rule:
    sides = {"sense": "bus", "bus": "sense", "cell": "cell"}
    return rule if rule.action == "redirect" else evolve(rule, side=sides[rule.side])


RULES: dict[str, Callable[[Rule], Rule | None]] = {
    **{f"no {action}": partial(without_action, action) for action in get_args(Action)},
    **{f"no {name} of rules": partial(rule_without, name) for name in RULE_FIELDS},
    "sides exchanged": other_side,
    "cell bits are one": lambda r: evolve(r, cell_bits=r.cell_bits & -r.cell_bits),
    "bits are one": lambda r: evolve(r, bits=r.bits & -r.bits),
    "keep of one cell": lambda r: None if r.action == "keep" and r.cell < 0 else r,
    "redirect keeps all": lambda r: evolve(r, keep_mask=-1) if r.action == "redirect" else r,
    "redirect flips nothing": lambda r: evolve(r, flip_mask=0),
}
TABLES: dict[str, Callable[[StoreTable], StoreTable]] = {
    "no tables": lambda t: no_table(),
    "no moved addresses": lambda t: evolve(no_table(), masked=t.masked, out_and=t.out_and, out_or=t.out_or,
                                           in_and=t.in_and, in_or=t.in_or),
    "writes as reads": lambda t: evolve(t, write_to=t.read_to),
    "reads as writes": lambda t: evolve(t, read_to=t.write_to),
    "one cell opens": lambda t: evolve(t, read_to=np.repeat(t.read_to[:, :1], t.read_to.shape[1], axis=1)),
    "one cell is written": lambda t: evolve(t, write_to=np.repeat(t.write_to[:, :1], t.write_to.shape[1], axis=1)),
    "wired or": lambda t: evolve(t, wired="or"),
    "wired and": lambda t: evolve(t, wired="and"),
    "nothing forced low on the way out": lambda t: evolve(t, out_and=t.out_and | -1),
    "nothing forced high on the way out": lambda t: evolve(t, out_or=t.out_or & 0),
    "nothing forced low on the way in": lambda t: evolve(t, in_and=t.in_and | -1),
    "nothing forced high on the way in": lambda t: evolve(t, in_or=t.in_or & 0),
}  # fmt: skip
GATES: tuple[str, ...] = ("chance", "contact", "window", "after")


def never_destroying(plan: MemoryPlan) -> MemoryPlan:
    return evolve(plan, shapes=tuple(evolve(shape, destructive=False) for shape in plan.shapes))


# --- what may be wrong with a machine


def of_machine(change: Callable[[MachineSpec], MachineSpec]) -> Change:
    def changed(request: RunRequest) -> RunRequest:
        machine = change(request.machine)
        return request if machine == request.machine else evolve(request, machine=machine)

    return changed


def each(part: str, **values: object) -> Callable[[MachineSpec], MachineSpec]:
    """Return a change of every store, window, ... of a machine."""
    return lambda machine: evolve(
        machine, **{part: tuple(evolve(p, **values) for p in getattr(machine, part))}
    )


MACHINES: dict[str, Callable[[MachineSpec], MachineSpec]] = {
    "no watchdog": lambda m: evolve(m, watchdog=None),
    "no timers": lambda m: evolve(m, timers=()),
    "timers always enabled": each("timers", enable=""),
    "no delay of restarts": lambda m: evolve(m, restart=m.restart and evolve(m.restart, delay_ns=0)),
    "restarts clear nothing": lambda m: evolve(m, restart=m.restart and evolve(m.restart, clears=())),
    "restarts go to 0": lambda m: evolve(m, restart=m.restart and evolve(m.restart, address=0)),
    "unknown halts": lambda m: evolve(m, unknown="halt"),
    "no alarm of unmapped addresses": lambda m: evolve(m, unmapped_alarm=""),
    "no alarm of stores": each("stores", alarm=""),
    "no alarm of mended words": each("stores", corrected_alarm=""),
    "all is writable": each("stores", writable=True),
    "access takes no time": each("stores", cycle_ns=0),
    "instructions take no more time": each("instructions", extra_ns=0),
    "no banks": each("windows", bank=""),
    "no units": each("windows", unit=1),
    "no offsets": each("windows", offset=0),
    "steps of one": lambda m: evolve(m, step=1),
    "starts at 0": lambda m: evolve(m, start=0),
    "registers begin as 0": each("registers", reset=0),
    "no hard-wired zero": each("registers", zero=None),
    "alarms only light lamps": each("alarms", action="lamp"),
    "ports are wide": each("ports", bits=62),
}

CHANGES: dict[str, Change] = {
    **{f"{name} ignored": with_field(name, value) for name, value in FIELDS.items()},
    "entry ignored": without_entry,
    "words ignored": without_words,
    **{name: of_rules(change) for name, change in RULES.items()},
    **{name: of_tables(change) for name, change in TABLES.items()},
    "no altered address bus": of_modes(lambda mode: Mode(mode.tables, mode.rules)),
    "reading never destroys": of_plan(never_destroying),
    **{f"{kind} always open": of_gates(partial(always_open, kind)) for kind in GATES},
    **{f"{kind} never open": of_gates(partial(never_open, kind)) for kind in GATES},
    "every condition holds": with_field("conditions", frozenset({"warm"})),
    **{name: of_machine(change) for name, change in MACHINES.items()},
}


# --- what may be wrong with a memory


class RestoreIsAnEdge(PlannedMemory):
    """Takes the clearing of a destructive read for what the cells held before."""

    def _restore(self, store: int, address: int, opened: list[int], sensed: int) -> None:
        written = self._rows(store, address)[1]
        for cell in opened:
            if cell < self.plan.shapes[store].words:
                self.cells[store][cell] = 0
        self._put(store, address, sensed, [self.cells[store][c] for c in written])


class LooksBackOnWhatTheReaderGot(PlannedMemory):
    """Remembers the word that left the store instead of what its cells gave."""

    def read(self, store: int, address: int) -> int:
        word = self.last_read[store] = super().read(store, address)
        return word


class RefusedWritesDoNotPass(PlannedMemory):
    """Forgets that a write to a read-only store passes over the bus too."""

    def write(self, store: int, address: int, word: int) -> None:
        kept = self.last_word
        super().write(store, address, word)
        if not self.plan.shapes[store].writable:
            self.last_word = kept


class ReadsAreNotCounted(PlannedMemory):
    """Counts accesses by twos, so that chance falls elsewhere."""

    def _passed(self, address: int, word: int) -> None:
        super()._passed(address, word)
        self.access += self.access & 1


class GatesAreSettledOnce(PlannedMemory):
    """Never looks at the gates again after power-up."""

    def begin(self, time_ns: int) -> None:
        if self.access == 0:
            super().begin(time_ns)


MEMORIES = (
    RestoreIsAnEdge, LooksBackOnWhatTheReaderGot, RefusedWritesDoNotPass, ReadsAreNotCounted,
    GatesAreSettledOnce,
)  # fmt: skip


# --- the kit at work


class Wrong:
    """The readable engine, given something else than it was asked to run."""

    name = "wrong"

    def __init__(self, change: Change) -> None:
        self.change = change

    def run(self, request: RunRequest) -> RunResult:
        changed = self.change(request)
        return right_result(request) if changed is request else Walker().run(changed)


@cache
def right_result(request: RunRequest) -> RunResult:
    return Walker().run(request)


class Right:
    """The readable engine, which does not run the same request twice."""

    name = "right"

    def run(self, request: RunRequest) -> RunResult:
        return right_result(request)


@pytest.fixture(scope="module")
def drawn_once():
    """Draw every request once for all tests of this file; they are the same each time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(conformance, "numbered_request", cache(numbered_request))
        right_result.cache_clear()
        yield
    right_result.cache_clear()


# one of the first twenty runs shows these
SOON = (
    "plan ignored", "seed ignored", "conditions ignored", "inputs ignored", "power_up ignored",
    "no couple", "no redirect", "no keep", "no tie-and", "no late",
)  # fmt: skip


def caught(change: Change) -> None:
    with pytest.raises(AssertionError, match="wrong differs in"):
        check_engine(Wrong(change), Right(), shrink=False)


@pytest.mark.parametrize("name", SOON)
def test_a_wrong_engine_is_found(drawn_once, name: str) -> None:
    caught(CHANGES[name])


@pytest.mark.slow
@pytest.mark.parametrize("name", sorted(CHANGES.keys() - set(SOON)))
def test_every_wrong_engine_is_found(drawn_once, name: str) -> None:
    caught(CHANGES[name])


def test_every_field_action_and_gate_has_its_wrong_engine() -> None:
    fields = {a.name for a in RunRequest.__attrs_attrs__} - {"machine", "image"}
    assert fields == FIELDS.keys()
    assert {f"no {action}" for action in get_args(Action)} <= CHANGES.keys()
    kinds = get_args(Gate.__annotations__["kind"])
    assert {*GATES, "condition"} == set(kinds)  # conditions: "conditions ignored", "every condition holds"


class Patched:
    """The readable engine, with one of its parts exchanged while it runs."""

    name = "wrong"

    def __init__(self, module: ModuleType, part: str, wrong: object) -> None:
        self.place, self.wrong = (module, part), wrong

    def run(self, request: RunRequest) -> RunResult:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(*self.place, self.wrong)
            return Walker().run(request)


@pytest.mark.slow
@pytest.mark.parametrize("memory", MEMORIES)
def test_a_wrong_memory_is_found(drawn_once, memory: type[PlannedMemory]) -> None:
    with pytest.raises(AssertionError, match="wrong differs in"):
        check_engine(Patched(walker, "PlannedMemory", memory), Right(), shrink=False)


OPERATIONS = (
    *(("evaluate", name) for name in sorted(set(FUNCTIONS) - {"bits"})),
    *(("evaluate_binary", name) for name in get_args(BinaryOp)),
    *(("evaluate_unary", name) for name in get_args(UnaryOp)),
)


@pytest.mark.slow
@pytest.mark.parametrize(("evaluator", "name"), OPERATIONS)
def test_a_wrong_operation_is_found(drawn_once, evaluator: str, name: str) -> None:
    right = getattr(evaluate, evaluator)

    def wrong(op: str, *arguments: object) -> int:
        return right(op, *arguments) ^ (op == name)

    with pytest.raises(AssertionError, match="wrong differs in"):
        check_engine(Patched(evaluate, evaluator, wrong), Right(), shrink=False)


def test_what_is_reported_is_simpler_and_can_be_drawn_again(drawn_once) -> None:
    with pytest.raises(AssertionError) as raised:
        check_engine(Wrong(CHANGES["no couple"]), Right())
    (note,) = raised.value.__notes__
    number = int(note.partition("numbered_request(")[2].partition(")")[0])
    assert note.count("action='couple'") == note.count("Rule(") == 1
    request = numbered_request(number)
    assert Walker().run(CHANGES["no couple"](request)).differences(Walker().run(request))
