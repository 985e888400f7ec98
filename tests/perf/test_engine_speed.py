"""The engines against each other and against C, in one run of one program; reported, never gated.

The program fills core, sums it and takes products, for ever. The C program (fulmar_run.c beside this file) does
only what a run without events and without a look for loops must do; the engines do both jobs they are asked
for. Every number is checked before it is compared.
"""

import shutil
import subprocess
import sys
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


def report(capsys, *rows: str) -> None:
    with capsys.disabled():
        sys.stdout.write("\n  ".join(["", *rows, ""]))


def timed(action):
    begin = time.perf_counter()
    result = action()
    return result, time.perf_counter() - begin


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


def test_compiled_against_c(endless, tmp_path, capsys):
    engine, rows = CompiledEngine(), []
    _, first = timed(lambda: engine.run(evolve(endless, max_steps=1000)))
    request = evolve(endless, max_steps=100_000_000)
    for _ in range(3):
        result, ours = timed(lambda: engine.run(request))
        told, c = in_c(endless, request.max_steps, tmp_path)
        names = ("pc", "acc", "extra", "index")
        assert told == [
            result.steps, result.time_ns, *(result.registers[n] for n in names), result.reads, result.writes,
            sum(a.count for a in result.alarms), result.restarts,
        ]  # fmt: skip
        speeds = f"compiled {result.steps / ours / 1e6:6.1f} M/s, C -O2 {result.steps / c / 1e6:6.1f} M/s"
        rows.append(f"{speeds}, ratio {c / ours:.2f}")
    report(capsys, f"first call (compiled or from the cache) {first:.2f} s", *rows)


def test_compiled_against_walker(endless, capsys):
    request = evolve(endless, max_steps=100_000)
    CompiledEngine().run(request)
    slow, a = timed(lambda: Walker().run(request))
    plain, b = timed(lambda: CompiledEngine(jit=False).run(request))
    long = evolve(endless, max_steps=100_000_000)
    _, c = timed(lambda: CompiledEngine().run(long))
    assert slow.same(plain)
    assert slow.same(CompiledEngine().run(request))
    report(
        capsys,
        f"walker {1e5 / a / 1e6:.3f} M/s, generated as plain Python {1e5 / b / 1e6:.3f} M/s, compiled {1e8 / c / 1e6:.1f} M/s",
        f"compiled / walker: {1000 * a / c:.0f}",
    )


def test_every_cell_of_core_on_every_self_test(capsys):
    machine, rows, total = load_machine("fulmar"), [], 0.0
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
        profile, a = timed(lambda request=request: profile_run(request))
        outcomes, b = timed(lambda profile=profile: run_cell_faults(profile, faults))
        total += a + b
        rows.append(
            f"{path.stem:32} {profile.result.steps:10,} steps; profile {a:5.2f} s; {len(faults):,} faults {b:6.2f} s, "
            f"{int(outcomes.active.sum()):,} active, {int((outcomes.seen != outcomes.healthy).sum()):,} seen"
        )
    report(capsys, *rows, f"all: {total:.1f} s")


def _self_test(machine, path: Path) -> RunRequest:
    def opened(name: str) -> Source:
        return Source(name, (path.parent / name).read_text())

    image = assemble(Source(path.name, path.read_text()), machine, opened).image
    return RunRequest(machine, image, max_steps=20_000_000)
