"""The conformance kit: any engine must give, field for field, what the readable engine gives.

``check_engine(MyEngine())`` runs drawn machines, programs, inputs and memory plans through both and compares
whole results, event for event. Every request has a number and is drawn from that number alone, so
``numbered_request(17)`` is the same request wherever and whenever it is asked for.
"""

from random import Random
from typing import Final

from attrs import evolve

from emu.engine.conformance_machines import draw_inputs, draw_machine, draw_program
from emu.engine.conformance_plans import draw_plan, uses_of
from emu.engine.conformance_simpler import simplest
from emu.engine.contract import Engine, RunRequest, RunResult
from emu.engine.walker import Walker
from emu.spec import MachineSpec

DEFAULT_EXAMPLES: Final = 200
_PROGRAMS: Final = 6  # that are tried for one that runs on
_LONG: Final = 40  # instructions; a run of so many is taken at once
_PLANS: Final = 5  # that are tried for one that changes the run
_STRUCK: Final = 150  # instructions of the healthy run among which a plan strikes
_STEPS: Final = 400


def draw_request(rng: Random, machine: MachineSpec) -> RunRequest:
    """Return a run of a machine: program, inputs, limits, and mostly a memory plan that strikes in it."""
    request, healthy = _long_run(rng, machine)
    request = evolve(
        _limited(rng, request, healthy),
        max_events=rng.choice([1_000_000, 1_000_000, rng.randint(0, 60)]),
        stop_on_loop=rng.random() < 0.8,
        trace=rng.random() < 0.5,
    )
    return _planned(rng, request, healthy) if rng.random() < 0.85 else request


def _long_run(rng: Random, machine: MachineSpec) -> tuple[RunRequest, RunResult]:
    """Return the longest run of a few that were drawn, and what came of it, traced."""
    runs: list[tuple[RunRequest, RunResult]] = []
    while len(runs) < _PROGRAMS and (not runs or runs[-1][1].steps < _LONG):
        request = RunRequest(
            machine,
            draw_program(rng, machine),
            inputs=draw_inputs(rng, machine),
            conditions=rng.choice([frozenset(), frozenset({"warm"})]),
            seed=rng.choice([0, 1, -5, rng.getrandbits(70), rng.getrandbits(20)]),
            max_steps=_STEPS,
            power_up=rng.choice(["zeros", "seeded"]),
        )
        runs.append((request, Walker().run(evolve(request, trace=True, max_steps=_STRUCK))))
    return max(runs, key=lambda run: run[1].steps)


def _limited(rng: Random, request: RunRequest, healthy: RunResult) -> RunRequest:
    """Return the request, now and then with one limit, mostly one that the healthy run reaches on its way."""
    least = 0 if rng.random() < 0.1 else 1
    steps, time_ns, outputs, restarts = (
        rng.randint(least, max(1, reached))
        for reached in (healthy.steps, healthy.time_ns, len(healthy.outputs), healthy.restarts)
    )
    match rng.randrange(12):
        case 0:
            return evolve(request, max_steps=steps)
        case 1:
            return evolve(request, max_time_ns=time_ns)
        case 2:
            return evolve(request, max_outputs=outputs)
        case 3:
            return evolve(request, max_restarts=restarts)
        case _:
            return request


def _planned(rng: Random, request: RunRequest, healthy: RunResult) -> RunRequest:
    """Return the request with a plan, drawn a few times over if it makes no difference."""
    uses = uses_of(request, healthy)
    start = evolve(request, max_steps=min(request.max_steps, _STRUCK))
    plain = Walker().run(start)
    for _ in range(_PLANS):
        plan = draw_plan(rng, request.machine, uses)
        if Walker().run(evolve(start, plan=plan)).differences(plain):
            break
    return evolve(request, plan=plan)


def numbered_request(number: int, machine: MachineSpec | None = None) -> RunRequest:
    """Return the request of that number, of a given machine or of one that is drawn with it."""
    rng = Random(number)  # noqa: S311 - nothing secret is drawn
    return draw_request(rng, machine if machine is not None else draw_machine(rng))


def assert_same(engine: Engine, request: RunRequest, reference: Engine | None = None) -> None:
    """Run a request on both engines; AssertionError says which fields differ."""
    wanted = (reference or Walker()).run(request)
    got = engine.run(request)
    wrong = got.differences(wanted)
    assert not wrong, f"{engine.name} differs in {', '.join(wrong)}: " + "; ".join(
        f"{name}: {getattr(got, name)!r} instead of {getattr(wanted, name)!r}"[:400]
        for name in wrong
        if name not in {"memory", "events"}
    )


def check_engine(
    engine: Engine,
    reference: Engine | None = None,
    *,
    examples: int = DEFAULT_EXAMPLES,
    machine: MachineSpec | None = None,
    shrink: bool = True,
) -> None:
    """Compare an engine with the readable one over drawn requests; AssertionError if they ever differ.

    The requests are those numbered 0 to ``examples`` - 1, of ``machine`` or of a new drawn machine each.
    ``shrink``: look for a simpler request that shows a difference, and say what is left of it. Whatever is
    raised carries a note with the number of the request.
    """
    for number in range(examples):
        request = numbered_request(number, machine)
        try:
            assert_same(engine, request, reference)
        except Exception as error:
            if shrink:
                request = simplest(request, lambda r: _fails(engine, r, reference))
            error.add_note(f"in numbered_request({number}), of which this is needed: {described(request)}")
            raise


def _fails(engine: Engine, request: RunRequest, reference: Engine | None) -> bool:
    try:
        assert_same(engine, request, reference)
    except Exception:  # noqa: BLE001 - an engine that is wrong may raise anything
        return True
    return False


def described(request: RunRequest) -> str:
    """Return of a request what a person can read."""
    machine, plan = request.machine, request.plan
    limits = {
        name: getattr(request, name)
        for name in ("inputs", "conditions", "seed", "max_time_ns", "max_outputs", "max_restarts",
                     "max_events", "stop_on_loop", "trace", "power_up")
    }  # fmt: skip
    rules = sorted({rule for mode in plan.modes for rule in mode.rules}) if plan is not None else []
    gates = plan.gates if plan is not None else ()
    tables = plan is not None and any(not t.healthy for mode in plan.modes for t in mode.tables)
    return (
        f"{machine.word.bits} bits {machine.word.arithmetic}, {len(machine.instructions)} instructions, "
        f"stores {[(s.words, s.protection) for s in machine.stores]}, {request.max_steps} steps, "
        f"plan {plan is not None} with rules {rules}, gates {gates}, altered tables {tables}; {limits}"
    )
