"""Runs derived from a healthy one equal runs from power-up; what is said never to matter does not matter."""

from random import Random

import numpy as np
import pytest
from attrs import evolve

from emu.engine.batch import run_cell_faults
from emu.engine.compiled import CompiledEngine, have_numba
from emu.engine.conformance import draw_request
from emu.engine.conformance_machines import draw_machine
from emu.engine.conformance_plans import draw_plan
from emu.engine.contract import RunRequest, RunResult
from emu.engine.layout import STOP_KINDS
from emu.engine.profile import NEVER, RunProfile, profile_run
from emu.engine.walker import Walker
from emu.memory import MemoryPlan, Mode, no_table, shapes_of

PLAIN = CompiledEngine(jit=False)


def drawn(seed: int) -> tuple[Random, RunRequest]:
    rng = Random(seed)
    request = draw_request(rng, draw_machine(rng))
    return rng, evolve(request, plan=None, trace=False, max_steps=rng.choice([60, 300]))


def visible(result: RunResult) -> tuple[object, ...]:
    """Return what a person can see of a run, by the rules of the symptoms."""
    stop, endless = result.stop, result.stop.loop_restarts > 0
    alarms = tuple(
        (a.name, -1 if endless else a.count, a.first_ns, a.first_store, a.first_address)
        for a in result.alarms
    )
    outputs = tuple((port, word) for _, port, word in result.outputs)
    restarts = -1 if endless else result.restarts
    if stop.kind == "loop":
        return stop.loop_low, stop.loop_high, stop.loop_ns, stop.loop_restarts, alarms, outputs, restarts
    return stop.kind, stop.pc, result.time_ns, alarms, outputs, restarts, tuple(result.lamps.values())


@pytest.mark.parametrize("seed", range(25))
def test_a_run_resumed_under_a_plan_is_the_run_from_power_up(seed: int) -> None:
    rng, request = drawn(seed)
    profile = profile_run(request, snapshots=8, jit=False)
    for _ in range(4):
        plan = draw_plan(rng, request.machine).under(request.conditions)
        derived, whole = profile.run_plan(plan), PLAIN.run(evolve(request, plan=plan))
        if derived is None:
            assert visible(whole) == visible(profile.result)
        else:
            assert not derived.differences(whole)


def one_cell(request: RunRequest, row: np.ndarray) -> MemoryPlan:
    store, cell, *masks = (int(v) for v in row)
    tables = [no_table() for _ in request.machine.stores]
    columns = [np.array([m], np.int64) for m in masks]
    tables[store] = evolve(
        tables[store], masked=np.array([cell], np.int32),
        out_and=columns[0], out_or=columns[1], in_and=columns[2], in_or=columns[3],
    )  # fmt: skip
    return MemoryPlan(shapes_of(request.machine.stores), (Mode(tuple(tables)),))


def cell_faults(rng: Random, profile: RunProfile, count: int) -> np.ndarray:
    """Draw stuck cells, and cells that only sense or only write wrong; most of them cells that were used."""
    rows, request = [], profile.request
    used = np.flatnonzero(profile.touched("both") != NEVER).tolist()
    places = [
        (n, c - b)
        for c in used
        for n, b in enumerate(profile.layout.bases[:-1])
        if b <= c < profile.layout.bases[n + 1]
    ]
    for _ in range(count):
        number = rng.randrange(len(request.machine.stores))
        cell = rng.randrange(request.machine.stores[number].words)
        if places and rng.random() < 0.8:
            number, cell = rng.choice(places)
        store = request.machine.stores[number]
        bit, full = 1 << rng.randrange(store.bits), (1 << store.bits) - 1
        pair = rng.choice([(full & ~bit, 0), (full, bit)])
        masks = rng.choice([pair + pair, (*pair, full, 0), (full, 0, *pair)])
        rows.append((number, cell, *masks))
    return np.array(rows)


@pytest.mark.parametrize("seed", range(40))
def test_a_batch_of_cell_faults_sees_what_single_runs_see(seed: int) -> None:
    rng, request = drawn(100 + seed)
    profile = profile_run(request, snapshots=5, jit=False)
    faults = cell_faults(rng, profile, 30)
    outcomes = run_cell_faults(profile, faults)
    shown: dict[int, object] = {outcomes.healthy: visible(profile.result)}
    for row, seen, stop, steps in zip(faults, outcomes.seen, outcomes.stops, outcomes.steps, strict=True):
        whole = PLAIN.run(evolve(request, plan=one_cell(request, row)))
        assert shown.setdefault(int(seen), visible(whole)) == visible(whole)
        assert (whole.steps, whole.stop.kind) == (steps, STOP_KINDS[stop])
    assert len({*shown.values()}) == len(shown), "different hashes for equal sights"


def test_batches_are_really_tested_on_active_faults_and_on_loops() -> None:
    active = loops = 0
    for seed in range(40):
        rng, request = drawn(100 + seed)
        profile = profile_run(request, snapshots=5, jit=False)
        outcomes = run_cell_faults(profile, cell_faults(rng, profile, 30))
        active += int(outcomes.active.sum())
        loops += int((outcomes.stops[outcomes.active] == 3).sum())
    assert active > 200
    assert loops > 30


@pytest.mark.parametrize("seed", range(10))
def test_first_steps_are_those_of_the_trace(seed: int) -> None:
    _, request = drawn(200 + seed)
    profile = profile_run(request, jit=False)
    events = Walker().run(evolve(request, trace=True, max_events=1 << 30)).events
    first: dict[tuple[int, int], int] = {}
    for event in events:
        if event.kind in {"fetch", "read", "write"}:
            first.setdefault((event.store, event.address), event.step)
    touched = profile.touched("both")
    for number, store in enumerate(request.machine.stores):
        base = profile.layout.bases[number]
        for address in range(store.words):
            assert touched[base + address] == first.get((number, address), NEVER)


@pytest.mark.skipif(not have_numba(), reason="numba is not installed")
@pytest.mark.slow
def test_compiled_batches(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    rng, request = drawn(102)
    profiles = [profile_run(request, jit=jit) for jit in (False, True)]
    faults = cell_faults(rng, profiles[0], 400)
    plain, compiled = (run_cell_faults(profile, faults) for profile in profiles)
    assert np.array_equal(plain.stops, compiled.stops)
    assert np.array_equal(plain.steps, compiled.steps)
    pairs = set(zip(plain.seen.tolist(), compiled.seen.tolist(), strict=True))
    assert len(pairs) == len(set(plain.seen.tolist())) == len(set(compiled.seen.tolist()))
