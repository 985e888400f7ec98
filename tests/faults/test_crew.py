"""Who does the work of a campaign: processes forked where that is safe, threads elsewhere, the same answer."""

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from faults.crew import can_fork

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
LINUX = pytest.mark.skipif(sys.platform != "linux", reason="processes are forked on Linux only")
TERN = f"""
import hashlib, importlib.util, os, signal, sys, threading, time
import faults.campaign, faults.workload
spec = importlib.util.spec_from_file_location("campaigns", {str(HERE / "test_campaign.py")!r})
campaigns = importlib.util.module_from_spec(spec)
spec.loader.exec_module(campaigns)
faults.workload.CELLS_PER_CHUNK, faults.workload.PLANS_PER_CHUNK = 32, 16
machine = campaigns.tern()
universe, jobs = campaigns.every_fault(machine), [campaigns.job(machine, campaigns.MARCH)]
"""
SAME = """
from faults.crew import Forked, Threads, own_crew
for count, crew in ((1, Threads), (3, Forked)):
    assert type(own_crew(jobs, count, jit=False)) is crew
    print(campaigns._content(campaigns.run_campaign(universe, jobs, workers=count, jit=False)))
threading.Thread(target=time.sleep, args=(60,), daemon=True).start()
assert type(own_crew(jobs, 3, jit=False)) is Threads
print(campaigns._content(campaigns.run_campaign(universe, jobs, workers=3, jit=False)))
"""
WAITING = """
import faults.crew
from faults.worker import StoppedError
def run(*_, going, **__):
    os.write(1, f"{os.getpid()}\\n".encode())
    while going():
        time.sleep(0.05)
    raise StoppedError
faults.crew.run_chunk = run
print("parent", os.getpid(), flush=True)
try:
    campaigns.run_campaign(universe, jobs, workers=2, jit=False)
except campaigns.CampaignStoppedError:
    print("stopped")
except campaigns.InputError as error:
    print(error)
"""


def _python(text: str) -> "subprocess.Popen[str]":
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, "-c", TERN + text],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=env,
    )


@LINUX
def test_threads_and_processes_give_the_same_bytes() -> None:
    process = _python(SAME)
    out, error = process.communicate(timeout=120)
    assert (process.returncode, error) == (0, "")
    assert len(out.split()) == 3
    assert len(set(out.split())) == 1


def test_with_another_thread_in_it_a_process_is_not_forked() -> None:
    over = threading.Event()
    thread = threading.Thread(target=over.wait)
    thread.start()
    assert not can_fork()
    over.set()
    thread.join()


NO_ROOM = """
plain, left = os.fork, [1]
def fork():
    if not left.pop():
        raise BlockingIOError(11, "Resource temporarily unavailable")
    left.append(0)
    return plain()
os.fork = fork
try:
    campaigns.run_campaign(universe, jobs, workers=2, jit=False)
except campaigns.InputError as error:
    print(error)
"""
NO_THREADS = """
import concurrent.futures.process
def lacking(*_):
    raise RuntimeError("can't start new thread")
concurrent.futures.process._ExecutorManagerThread.start = lacking
try:
    campaigns.run_campaign(universe, jobs, workers=2, jit=False)
except campaigns.InputError as error:
    print(error)
"""
INTERRUPTED = """
plain, left = os.fork, [1]
def fork():
    found = plain()
    if found and left.pop():
        left.append(0)
        os.kill(os.getpid(), signal.SIGINT)
        os.kill(found, signal.SIGINT)
        time.sleep(0.1)
    return found
os.fork = fork
try:
    campaigns.run_campaign(universe, jobs, workers=2, jit=False)
except campaigns.CampaignStoppedError:
    print("stopped")
"""
NO_SEMAPHORES = """
import faults.crew
def lacking(*_, **__):
    raise OSError(38, "Function not implemented")
faults.crew.ProcessPoolExecutor = lacking
print(type(faults.crew.own_crew(jobs, 2, jit=False)).__name__)
"""


@LINUX
@pytest.mark.parametrize(
    ("text", "told"),
    [
        (NO_ROOM, "could not begin: [Errno 11] Resource temporarily unavailable [worker-lost]"),
        (NO_THREADS, "can't start new thread [worker-lost]"),
        (INTERRUPTED, "stopped"),
        (NO_SEMAPHORES, "Threads"),
    ],
)
def test_systems_that_cannot_fork_are_met(text: str, told: str) -> None:
    process = _python(text)
    out, error = process.communicate(timeout=120)
    assert (process.returncode, error) == (0, "")
    assert out.strip().endswith(told)


def _begun() -> tuple["subprocess.Popen[str]", list[int]]:
    """Return a campaign whose two workers are busy for ever, and their process numbers."""
    process = _python(WAITING)
    assert process.stdout is not None
    lines = [process.stdout.readline() for _ in range(3)]
    workers = [int(line) for line in lines if line.strip().isdigit()]
    assert len(set(workers)) == 2
    return process, workers


def _gone(number: int) -> bool:
    try:
        state = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return True
    return state == "Z"  # nobody has asked for its exit code


def _all_gone(numbers: list[int], seconds: float) -> bool:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if all(map(_gone, numbers)):
            return True
        time.sleep(0.1)
    return False


@LINUX
def test_ctrl_c_stops_processes_that_are_busy() -> None:
    process, workers = _begun()
    for number in (process.pid, *workers):  # as a terminal does
        os.kill(number, signal.SIGINT)
    out, error = process.communicate(timeout=60)
    assert (out.split()[-1], error) == ("stopped", "")
    assert all(map(_gone, workers))


@LINUX
def test_workers_end_with_a_campaign_that_is_killed() -> None:
    process, workers = _begun()
    process.kill()
    assert _all_gone(workers, 30)
    process.communicate()


@LINUX
def test_a_worker_that_is_killed_is_told_and_how_to_do_with_fewer() -> None:
    process, workers = _begun()
    os.kill(workers[0], signal.SIGKILL)
    out, error = process.communicate(timeout=60)
    assert "--workers: error: a process that does part of the work was ended [worker-lost]" in out
    assert error == ""
    assert _all_gone(workers, 30)
