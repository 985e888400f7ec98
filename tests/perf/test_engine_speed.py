"""The engines against each other and against C, in one run of one program; reported, never gated.

The program fills core, sums it and takes products, for ever. The C program (fulmar_run.c beside this file) does
only what a run without events and without a look for loops must do; the engines do both jobs they are asked
for. Every number is checked before it is compared.
"""

import shutil
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

from emu.assemble import assemble
from emu.engine.batch import run_cell_faults
from emu.engine.compiled import CompiledEngine, compiled_machine, have_numba
from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.engine.profile import profile_run
from emu.engine.walker import Walker
from emu.load import load_machine
from emu.shipped import programs_folder
from emu.where import Source
from faults.boards import load_board
from faults.lower import plan_of
from faults.notation import parse_fault

FIGURES = "engines"
LONG = 100_000_000  # instructions
pytestmark = [pytest.mark.perf, pytest.mark.skipif(not have_numba(), reason="numba is not installed")]

PROGRAM = """
        .at 6000
again:  rearm
        set 3000
        acc-to-index
        set 0
fill:   add one
        store-indexed 100
        loop fill
        set 3000
        acc-to-index
        set 0
sum:    store 20
        load-indexed 100
        acc-to-extra
        load 20
        gather
        extra-to-acc
        skip-if-less limit
        flip
        loop sum
        jump again
one:    .word 1
limit:  .word 37777
"""


@pytest.fixture(scope="module")
def endless():
    machine = load_machine("fulmar")
    image = assemble(Source("endless.asm", PROGRAM), machine).image
    return RunRequest(machine, image, stop_on_loop=False)


def timed(action):
    """Return the result of an action, its wall time and its processor time."""
    wall, processor = time.perf_counter(), time.process_time()
    result = action()
    return result, time.perf_counter() - wall, time.process_time() - processor


def row(what: str, steps: int, wall: float, processor: float | str, note: str = "") -> tuple[object, ...]:
    rounded = round(processor, 4) if isinstance(processor, float) else processor
    return what, steps, round(wall, 4), rounded, f"{steps / wall / 1e6:.3g} M/s{note and '; '}{note}"


def in_c(request: RunRequest, steps: int, folder: Path) -> tuple[list[int], float]:
    compiler = shutil.which("cc")
    if compiler is None:
        pytest.skip("no C compiler")
    core, rope = (cells[:-3].astype("<u4") for cells in power_up(request))
    (folder / "core").write_bytes(core.tobytes())
    (folder / "rope").write_bytes(rope.tobytes())
    source = Path(__file__).with_name("fulmar_run.c")
    subprocess.run([compiler, "-O2", "-o", folder / "run", source], check=True)
    told = subprocess.run(
        [folder / "run", folder / "core", folder / "rope", str(steps)],
        check=True,
        capture_output=True,
        text=True,
    ).stdout.split()
    return [int(word) for word in told[:-1]], float(told[-1])


def test_compiled_against_c(endless, tmp_path, rows):
    engine = CompiledEngine()
    _, first, spent = timed(lambda: engine.run(evolve(endless, max_steps=1000)))
    rows.append(row("first call: compiled, or from the cache", 1000, first, spent))
    request = evolve(endless, max_steps=LONG)
    for _ in range(3):
        result, ours, spent = timed(lambda: engine.run(request))
        told, c = in_c(endless, request.max_steps, tmp_path)
        names = ("pc", "acc", "extra", "index")
        assert told == [
            result.steps, result.time_ns, *(result.registers[n] for n in names), result.reads, result.writes,
            sum(a.count for a in result.alarms), result.restarts,
        ]  # fmt: skip
        rows.append(row("C, -O2", result.steps, c, ""))
        rows.append(row("compiled", result.steps, ours, spent, f"{c / ours:.2f} of the speed of C"))


def test_compiled_against_walker(endless, rows):
    request = evolve(endless, max_steps=LONG // 1000)
    CompiledEngine().run(request)
    slow, *walked = timed(lambda: Walker().run(request))
    plain, *generated = timed(lambda: CompiledEngine(jit=False).run(request))
    _, *compiled = timed(lambda: CompiledEngine().run(evolve(endless, max_steps=LONG)))
    assert slow.same(plain)
    assert slow.same(CompiledEngine().run(request))
    rows.append(row("walker", LONG // 1000, *walked))
    faster = f"{walked[0] / generated[0]:.1f} times as fast as the walker"
    rows.append(row("generated functions as plain Python", LONG // 1000, *generated, faster))
    faster = f"{1000 * walked[0] / compiled[0]:.0f} times as fast as the walker"
    rows.append(row("compiled", LONG, *compiled, faster))


PLANS = {
    "tables, never met": ("core/cell/0o50/1:stuck-1", False),
    "rules and gates, never met": ("core/cell/0o50/1:stuck-1@5%", False),
    "rules, at every access": ("core/data/15+16:shorted-or", False),
    "rules and gates, never met, every event kept": ("core/cell/0o50/1:stuck-1@5%", True),
}


@pytest.mark.parametrize("name", PLANS)
def test_what_a_plan_costs(endless, rows, name):
    """The same program under a fault; who keeps every event pays for it."""
    board, engine, (fault, trace) = load_board(endless.machine), CompiledEngine(), PLANS[name]
    plan, steps = plan_of(board, parse_fault(fault, board)), LONG // (500 if trace else 2)
    request = evolve(endless, plan=plan, max_steps=steps, trace=trace)
    engine.run(evolve(request, max_steps=1000))
    result, *taken = timed(lambda: engine.run(request))
    rows.append(row(f"compiled, {name}", result.steps, *taken))


def test_every_cell_of_core_on_every_self_test(rows):
    machine, total = load_machine("fulmar"), 0.0
    full = (1 << 17) - 1
    faults = np.array(
        [
            (0, cell, *masks, *masks)
            for cell in range(2048)
            for bit in range(17)
            for masks in ((full & ~(1 << bit), 0), (full, 1 << bit))
        ]
    )
    folder = programs_folder() / "fulmar"
    for path in sorted(folder.glob("selftest-*.asm")):
        request = _self_test(machine, path)
        compiled_machine(machine, jit=True)
        profile, a, _ = timed(lambda request=request: profile_run(request))
        outcomes, b, spent = timed(lambda profile=profile: run_cell_faults(profile, faults))
        total += a + b
        told = (
            f"{int(outcomes.active.sum()):,} active, {int((outcomes.seen != outcomes.healthy).sum()):,} seen"
        )
        steps = profile.result.steps
        rows.append((f"{path.stem}: {len(faults):,} cells", steps, round(b, 3), round(spent, 3), told))
    rows.append(("all of them, with their profiles", "", round(total, 2), "", ""))


def _self_test(machine, path: Path) -> RunRequest:
    def opened(name: str) -> Source:
        return Source(name, (path.parent / name).read_text())

    image = assemble(Source(path.name, path.read_text()), machine, opened).image
    return RunRequest(machine, image, max_steps=20_000_000)
