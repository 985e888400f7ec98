"""Looks for the simplest request that still shows a difference between two engines."""

from collections.abc import Callable, Iterator
from functools import partial
from typing import Final

from attrs import evolve

from emu.engine.contract import RunRequest
from emu.memory import MemoryPlan, Mode, no_table
from emu.rules import Rule

_MOST_TRIALS: Final = 400


def simplest(request: RunRequest, differs: Callable[[RunRequest], bool]) -> RunRequest:
    """Return a request that differs still, with as little in it as some hundred trials can find."""
    trials = 0
    found = True
    while found:
        found = False
        for candidate in _simpler(request):
            trials += 1
            if trials > _MOST_TRIALS:
                return request
            if differs(candidate):
                request, found = candidate, True
                break
    return request


def _simpler(request: RunRequest) -> Iterator[RunRequest]:
    """Yield requests with one thing less."""
    if request.max_steps > 0:
        yield evolve(request, max_steps=request.max_steps // 2)
        yield evolve(request, max_steps=request.max_steps - 1)
    if request.plan is not None:
        yield evolve(request, plan=None)
        yield from (evolve(request, plan=plan) for plan in _simpler_plans(request.plan))
    plain = RunRequest(request.machine, request.image)
    for name in (
        "inputs", "conditions", "seed", "trace", "power_up", "stop_on_loop", "max_time_ns", "max_outputs",
        "max_restarts", "max_events",
    ):  # fmt: skip
        if getattr(request, name) != getattr(plain, name):
            yield evolve(request, **{name: getattr(plain, name)})


def _simpler_plans(plan: MemoryPlan) -> Iterator[MemoryPlan]:
    for number in range(len(plan.gates)):  # the group that is always open
        modes = tuple(mode for i, mode in enumerate(plan.modes) if i >> number & 1)
        yield evolve(plan, modes=modes, gates=plan.gates[:number] + plan.gates[number + 1 :])
    for rule in sorted({rule for mode in plan.modes for rule in mode.rules}):
        yield _changed(plan, partial(_without_rule, rule))
    if any(len(mode.bus_moved) for mode in plan.modes):
        yield _changed(plan, lambda m: Mode(m.tables, m.rules))
    for store in range(len(plan.shapes)):
        if any(not mode.tables[store].healthy for mode in plan.modes):
            yield _changed(plan, partial(_without_table, store))


def _changed(plan: MemoryPlan, change: Callable[[Mode], Mode]) -> MemoryPlan:
    return evolve(plan, modes=tuple(change(mode) for mode in plan.modes))


def _without_rule(rule: Rule, mode: Mode) -> Mode:
    return evolve(mode, rules=tuple(other for other in mode.rules if other != rule))


def _without_table(store: int, mode: Mode) -> Mode:
    return evolve(mode, tables=(*mode.tables[:store], no_table(), *mode.tables[store + 1 :]))
