"""The generated functions against the readable engine, over drawn machines, programs and memory plans."""

from random import Random

import pytest
from attrs import evolve

from emu.behaviour.functions import FUNCTIONS
from emu.engine.compiled import CompiledEngine, have_numba
from emu.engine.conformance import assert_same, check_engine, draw_request, numbered_request
from emu.engine.conformance_machines import draw_machine
from emu.engine.conformance_trees import functions_used
from emu.engine.contract import RunRequest, RunResult
from emu.engine.walker import Walker
from emu.load import load_machine
from emu.spec import MachineSpec

needs_numba = pytest.mark.skipif(not have_numba(), reason="numba is not installed")


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path


def test_generated_functions_as_plain_python() -> None:
    check_engine(CompiledEngine(jit=False), examples=15)


@pytest.mark.parametrize("seed", range(300, 307))
def test_generated_functions_with_several_runs_of_a_machine(seed: int) -> None:
    rng, engine = Random(seed), CompiledEngine(jit=False)
    machine = draw_machine(rng)
    for _ in range(5):
        assert_same(engine, draw_request(rng, machine))


@pytest.mark.slow
def test_generated_functions_as_plain_python_longer() -> None:
    check_engine(CompiledEngine(jit=False))


@pytest.mark.parametrize("name", ["fulmar", "dunlin", "sandpiper"])
def test_shipped_machines_as_plain_python(name: str) -> None:
    machine, rng = load_machine(name), Random(7)
    for _ in range(3):
        request = draw_request(rng, _small(machine))
        assert_same(CompiledEngine(jit=False), request)


def _small(machine: MachineSpec) -> MachineSpec:
    """Return the machine with its largest stores cut down, for programs that are drawn word by word."""
    stores = tuple(evolve(s, words=min(s.words, 1024)) for s in machine.stores)
    windows = tuple(evolve(w, last=min(w.last, w.first + 1023)) for w in machine.windows)
    return evolve(machine, stores=stores, windows=windows)


@needs_numba
def test_compiled_code_on_the_smallest_machine(cache) -> None:
    machine, rng = _smallest(), Random(1)
    engine = CompiledEngine(jit=True)
    for _ in range(40):
        request = draw_request(rng, machine)
        assert_same(engine, evolve(request, plan=None, trace=False))
    assert list(cache.rglob("corewright_*.py"))


@needs_numba
@pytest.mark.slow
@pytest.mark.parametrize("seed", [1001])
def test_compiled_code_on_drawn_machines(cache, seed: int) -> None:
    rng, engine = Random(seed), CompiledEngine(jit=True)
    machine = draw_machine(rng)
    for _ in range(200):
        assert_same(engine, draw_request(rng, machine))


def _smallest() -> MachineSpec:
    """Return the drawn machine with the least to compile."""
    drawn = (draw_machine(Random(seed)) for seed in range(40))
    return min(drawn, key=lambda m: len(repr(m)))


@pytest.mark.parametrize(
    ("field", "change"),
    [
        ("steps", lambda r: evolve(r, steps=r.steps + (r.steps > 30))),
        ("time_ns", lambda r: evolve(r, time_ns=r.time_ns + (r.restarts > 1))),
        ("events", lambda r: evolve(r, events=r.events[:-1])),
        ("memory", lambda r: evolve(r, memory=tuple(m ^ (m == 1) for m in r.memory))),
    ],
)
def test_the_kit_finds_an_engine_that_is_wrong(field: str, change) -> None:
    class Wrong:
        name = "wrong"

        def run(self, request: RunRequest) -> RunResult:
            return change(Walker().run(request))

    with pytest.raises(AssertionError, match=f"wrong differs in .*{field}"):
        check_engine(Wrong(), examples=60, shrink=False)


def test_the_kit_draws_every_function_every_plan_action_and_every_stop() -> None:
    functions, actions, gates, stops = set(), set(), set(), set()
    for number in range(60):
        request = numbered_request(number)
        functions |= functions_used(tuple(i.does for i in request.machine.instructions))
        if request.plan is not None:
            actions |= {r.action for m in request.plan.modes for r in m.rules}
            gates |= {g.kind for group in request.plan.gates for g in group}
        stops.add(Walker().run(request).stop.kind)
    assert functions == set(FUNCTIONS) - {"bits"}
    assert len(actions) == 13
    assert gates == {"chance", "contact", "window", "after", "condition"}
    assert stops == {"halt", "alarm-halt", "loop", "steps", "time", "outputs", "restarts"}
