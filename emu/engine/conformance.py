"""The conformance kit: any engine must give, field for field, what the readable engine gives.

``check_engine(MyEngine())`` runs drawn machines, programs, inputs and memory plans through both and compares
whole results, event for event. It needs hypothesis, which is imported only here and only when used.
"""

from random import Random
from typing import Any

from attrs import frozen

from emu.engine.conformance_machines import draw_inputs, draw_machine, draw_plan, draw_program
from emu.engine.contract import Engine, RunRequest
from emu.engine.walker import Walker
from emu.spec import MachineSpec


def draw_request(rng: Random, machine: MachineSpec) -> RunRequest:
    """Return a run of a machine: program, inputs, limits, and often a memory plan."""
    return RunRequest(
        machine,
        draw_program(rng, machine),
        draw_plan(rng, machine) if rng.random() < 0.7 else None,
        draw_inputs(rng, machine),
        rng.choice([frozenset(), frozenset({"warm"})]),
        rng.choice([0, 1, -5, rng.getrandbits(70)]),
        max_steps=rng.choice([0, 1, 20, 150, 400, 400, 400]),
        max_time_ns=rng.choice([1 << 62, rng.randint(0, 5000)]),
        max_outputs=rng.choice([100_000, rng.randint(0, 9)]),
        max_restarts=rng.choice([1000, rng.randint(0, 9)]),
        max_events=rng.choice([1_000_000, rng.randint(0, 60)]),
        stop_on_loop=rng.random() < 0.8,
        trace=rng.random() < 0.5,
        power_up=rng.choice(["zeros", "seeded"]),
    )


@frozen(repr=False)
class Case:
    """A request that says of itself no more than a person can read."""

    request: RunRequest

    def __repr__(self) -> str:
        request, machine = self.request, self.request.machine
        plan = request.plan
        rules = [r.action for mode in plan.modes for r in mode.rules] if plan is not None else []
        return (
            f"<{machine.word.bits} bits {machine.word.arithmetic}, {len(machine.instructions)} instructions, "
            f"stores {[(s.words, s.protection) for s in machine.stores]}, "
            f"plan {plan is not None} with rules {rules}, {request.max_steps} steps>"
        )


def _randoms() -> Any:
    """Return a strategy for sources of chance: some drawn call by call, which shrink, and some plain ones.

    Those that shrink lean towards small values, and so to machines that soon stop; the others do not.
    """
    from hypothesis import strategies as st  # noqa: PLC0415 - only when the kit is used

    shrinking = st.randoms(use_true_random=False, note_method_calls=False)
    return st.one_of(st.randoms(use_true_random=True, note_method_calls=False), shrinking)


def machines() -> Any:
    """Return a hypothesis strategy for machines."""
    return _randoms().map(draw_machine)


def requests(machine: MachineSpec | None = None) -> Any:
    """Return a hypothesis strategy for runs, of a given machine or of drawn ones."""

    def drawn(rng: Random) -> RunRequest:
        return draw_request(rng, machine if machine is not None else draw_machine(rng))

    return _randoms().map(drawn)


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
    examples: int = 200,
    machine: MachineSpec | None = None,
    shrink: bool = True,
) -> None:
    """Compare an engine with the readable one over drawn requests; AssertionError if they ever differ.

    ``examples`` requests, of ``machine`` or of a new drawn machine each. ``shrink``: look for the simplest
    request that shows a difference, which may take minutes.
    """
    from hypothesis import HealthCheck, Phase, given, settings  # noqa: PLC0415

    @settings(
        max_examples=examples,
        deadline=None,
        database=None,
        derandomize=True,  # the same requests every time: what fails once fails again
        suppress_health_check=list(HealthCheck),
        phases=[Phase.generate, *([Phase.shrink] * shrink)],
    )
    @given(requests(machine).map(Case))
    def compare(case: Case) -> None:
        assert_same(engine, case.request, reference)

    compare()
