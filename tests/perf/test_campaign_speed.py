"""Campaigns: every fault of fulmar on all its self-tests, against running from reset, and how time grows.

Single runs, told as such. Raw figures go to ``docs/performance/campaign.csv`` with the processor time beside the
wall time, since the machine may be busy. Reported, never gated.
"""

import contextlib
import os
import random
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from attrs import evolve

from emu.assemble import assemble
from emu.engine.compiled import CompiledEngine, have_numba
from emu.load import load_machine
from emu.shipped import find_program, program_names
from emu.where import Source
from faults.boards import load_board
from faults.campaign import run_campaign
from faults.cli.reading import read_program
from faults.crew import can_fork
from faults.dictionary import COLUMNS, META, Dictionary, digest_of
from faults.lower import plan_of
from faults.universe import universe_of
from faults.worker import prepared
from faults.workload import Conditions, Job, Program

pytestmark = [pytest.mark.perf, pytest.mark.skipif(not have_numba(), reason="numba is not installed")]
FIGURES = "campaign"
ROOT = Path(__file__).resolve().parents[2]
SAMPLED = 300
ENDLESS = """
        .at 6000
again:  rearm
        load 100
        add step
        store 100
        store-indexed 200
        jump again
step:   .word 12345
"""


@pytest.fixture(scope="module")
def board():
    return load_board(load_machine("fulmar"))


@pytest.fixture(scope="module")
def jobs(board):
    names = [n for n in program_names("fulmar") if n.startswith("selftest")]
    images = [read_program(board.machine, str(find_program("fulmar", n))) for n in names]
    made = [Job(board.machine, Program(n, image)) for n, image in zip(names, images, strict=True)]
    run_campaign(universe_of(board, False, stores=["core"]), made[:3], workers=2)  # compiles
    return made


def used() -> float:
    """Return the processor seconds of this process and of those it has waited for."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def timed(call):
    wall, processor = time.perf_counter(), used()
    result = call()
    return result, round(time.perf_counter() - wall, 3), round(used() - processor, 3)


WATCH = """
import sys, time
def tree(number):
    try:
        children = open(f"/proc/{number}/task/{number}/children").read().split()
    except OSError:
        children = []
    return [number, *(other for child in children for other in tree(child))]
most = 0
while True:
    size = 0
    for number in tree(sys.argv[1]):
        try:
            lines = open(f"/proc/{number}/smaps_rollup").read().splitlines()
        except OSError:
            continue
        size += sum(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
    most = max(most, size)
    print(most // 1024, flush=True)
    time.sleep(0.1)
"""


@contextlib.contextmanager
def most_memory():
    """Yield a list that ends as [most MiB] of this process and its own, what they share counted once.

    Watched ten times a second from another process: with a second thread this one could not be forked.
    Linux only; elsewhere the list stays empty.
    """
    found: list[int] = []
    if not Path("/proc/self/smaps_rollup").exists():
        yield found
        return
    watch = subprocess.Popen(
        [sys.executable, "-c", WATCH, str(os.getpid())], stdout=subprocess.PIPE, text=True
    )
    try:
        yield found
    finally:
        watch.kill()
        out, _ = watch.communicate()
        found.append(int(out.split()[-1]))


GET_READY = """
from emu.load import load_machine
from emu.shipped import find_program
from faults.campaign import get_ready
from faults.cli.reading import read_program
from faults.worker import compile_kernel
from faults.workload import Job, Program
machine = load_machine("fulmar")
image = read_program(machine, str(find_program("fulmar", "selftest-parity")))
job = Job(machine, Program("parity", image))
get_ready([job])
for kernel in ("cells", "tables", "full"):
    compile_kernel(job, kernel)
"""


@pytest.mark.parametrize("what", ["nothing compiled before", "compiled before"])
def test_getting_ready(rows, tmp_path_factory, what: str) -> None:
    """A process of its own, from its start to when the first fault could be run."""
    folder = tmp_path_factory.getbasetemp() / "cache"
    env = {**os.environ, "XDG_CACHE_HOME": str(folder), "PYTHONPATH": str(ROOT)}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-c", GET_READY], env=env, check=True)
    wall, after = time.perf_counter() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    rows.append((f"getting ready, {what}", 1, round(wall, 2), round(spent, 2), "fulmar, all kernels"))


@pytest.mark.parametrize("workers", [1, 2])
def test_every_fault_on_every_self_test(board, jobs, rows, workers: int) -> None:
    sort = "processes" if can_fork() else "threads"
    names = ("all faults x all self-tests, 1 thread", f"all faults x all self-tests, 2 {sort}")
    with most_memory() as most:
        campaign, wall, processor = timed(lambda: run_campaign(universe_of(board), jobs, workers=workers))
    size = len(campaign.universe) * len(jobs)
    note = f"{campaign.runs} runs, {most[0] if most else '?'} MiB"
    rows.append((names[workers - 1], size, wall, processor, note))
    if workers > 1:
        _from_reset(board, jobs, rows, processor, size)


def _from_reset(board, jobs, rows, processor: float, size: int) -> None:
    """Run a sample of faults from power-up with the same engine, and scale it up."""
    draw, faults, engine = random.Random(1), universe_of(board).faults, CompiledEngine()
    pairs = [(faults[draw.randrange(len(faults))], draw.choice(jobs)) for _ in range(SAMPLED)]
    requests = [evolve(prepared(job).profile.request, plan=plan_of(board, fault)) for fault, job in pairs]
    engine.run(requests[0])
    _, wall, spent = timed(lambda: [engine.run(request) for request in requests])
    whole = spent / SAMPLED * size
    rows.append(
        (f"from reset, sample of {SAMPLED} drawn pairs", SAMPLED, wall, spent, "plans made beforehand")
    )
    rows.append(
        ("from reset, all (scaled up)", size, "", round(whole, 1), f"{whole / processor:.1f} times as long")
    )


@pytest.mark.parametrize("cells", [256, 512, 1024, 2048])
def test_growth_with_the_universe(board, jobs, rows, cells: int) -> None:
    universe = universe_of(board, kinds=["stuck"], stores=["core"], region=(0, cells - 1))
    chosen = [job for job in jobs if job.program.name == "selftest-core-march"]
    _, wall, processor = timed(lambda: run_campaign(universe, chosen, workers=2))
    rows.append((f"stuck, core, {cells} cells, one march", len(universe), wall, processor, ""))


@pytest.mark.parametrize("words", [256, 512, 1024, 2048])
def test_growth_with_the_program(board, rows, words: int) -> None:
    text = find_program("fulmar", "selftest-core-march").read_text()
    folder = find_program("fulmar", "selftest-core-march").parent
    text = text.replace("last:           .word 3777", f"last:           .word {words - 1:o}")
    text = text.replace("after_last:     .word 4000", f"after_last:     .word {words:o}")

    def include(name: str) -> Source:
        return Source(name, (folder / name).read_text())

    job = Job(
        board.machine, Program(f"march {words}", assemble(Source("m", text), board.machine, include).image)
    )
    steps = prepared(job).profile.result.steps
    universe = universe_of(board, False)
    _, wall, processor = timed(lambda: run_campaign(universe, [job], workers=2))
    rows.append((f"structural faults, march over {words} words", steps, wall, processor, "size: steps"))


@pytest.mark.parametrize("steps", [25_000, 50_000, 100_000, 200_000])
def test_growth_with_the_length_of_runs_that_never_end(board, rows, steps: int) -> None:
    """A program that goes on for ever shows what it finds at once, and is watched to the end all the same."""
    image = assemble(Source("endless.asm", ENDLESS), board.machine).image
    conditions = Conditions(longest=steps, watched=steps)
    job = Job(board.machine, Program("endless", image), conditions)
    assert prepared(job).profile.result.stop.kind == "steps"
    universe = universe_of(board, False, stores=["core"])
    campaign, wall, processor = timed(lambda: run_campaign(universe, [job], workers=2))
    note = f"size: steps; {campaign.runs} runs"
    rows.append((f"structural faults of core, watched for {steps} steps", steps, wall, processor, note))


def test_look_up_in_ten_million_rows(tmp_path, rows) -> None:
    """A made-up dictionary of 10 programs x 1,000,000 groups; every look-up touches other pages."""
    draw, programs, groups, records = np.random.default_rng(1), 10, 1_000_000, 200_000
    seen = draw.integers(0, records, (programs, groups), np.int32)
    texts = [b"\x00" + i.to_bytes(8, "little") for i in range(records)]
    digests = np.array([digest_of(t) for t in texts], np.uint64)
    columns = {
        "kind": np.zeros(groups, np.int32), "site": np.zeros(groups, np.int32),
        "group": np.arange(groups, dtype=np.int32), "first": np.arange(groups, dtype=np.int32), "seen": seen,
        "reason": np.zeros((programs, groups), np.int8),
        "order": np.stack([np.argsort(row, kind="stable") for row in seen]).astype(np.int32),
        "starts": np.arange(groups + 1), "record": np.frombuffer(b"".join(texts), np.uint8),
        "record_end": np.arange(1, records + 1) * 9, "digest": np.sort(digests),
        "digest_record": np.argsort(digests).astype(np.int32),
    }  # fmt: skip
    assert set(columns) == set(COLUMNS)
    for name, column in columns.items():
        np.save(tmp_path / f"{name}.npy", column)
    (tmp_path / META).write_text("{}")
    found, times = Dictionary(tmp_path, {}), []
    for number in draw.integers(0, records, 200).tolist():
        program = number % programs
        begun = time.perf_counter()
        groups_found = found.groups_showing(texts[number], program)
        times.append(time.perf_counter() - begun)
        assert (seen[program, groups_found] == number).all()
        assert len(groups_found) == np.count_nonzero(seen[program] == number)
    note = f"median of 200; worst {max(times):.6f}"
    rows.append(("dictionary look-up", programs * groups, round(sorted(times)[100], 6), "", note))
