"""Those who do the work of a campaign: threads, forked processes, or an executor that was given.

Most of the work on a short run is Python's own, which threads do one at a time. Forked processes do it side
by side, and begin with all that this one has made ready. But a process can be forked safely only while it has
no other threads, and not on every system; elsewhere threads do the work, with the same answer.
"""

import mmap
import multiprocessing
import os
import signal
import sys
import threading
import time
import warnings
from collections.abc import Callable, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import suppress
from typing import Protocol

from attrs import define, field

from faults.worker import Outcome, run_chunk
from faults.workings import workings_digest
from faults.workload import Chunk, Job

Numbers = Sequence[int]  # of jobs


class Crew(Protocol):
    """Takes chunks, and gives their outcomes on some of the campaign's jobs.

    ``here``: whether its members use what this process has compiled. ``forked``: only what it had compiled
    when the first chunk was handed out.
    """

    here: bool
    forked: bool

    def submit(self, chunk: Chunk, numbers: Numbers) -> "Future[list[Outcome]]":
        """Hand out a chunk, to be run on the jobs of these numbers."""

    def stop(self) -> None:
        """Tell all members to stop, chunks unfinished: they raise StoppedError within a second."""

    def close(self) -> None:
        """Let the members go when they have done what they were given."""


def own_crew(jobs: Sequence[Job], count: int, *, jit: bool | None) -> Crew:
    """Return ``count`` workers on this computer."""
    if count > 1 and can_fork():
        with suppress(OSError, ImportError, NotImplementedError):  # a system without shared semaphores
            return Forked(jobs, count, jit)
    return Threads(jobs, count, jit)


def can_fork() -> bool:
    """Return whether this process can be forked without harm: on Linux, while nothing else runs in it."""
    return sys.platform == "linux" and threading.active_count() == 1


@define(eq=False)
class Threads:
    """Threads of this process."""

    jobs: Sequence[Job]
    count: int
    jit: bool | None
    here: bool = True
    forked: bool = False
    _pool: ThreadPoolExecutor = field(init=False)
    _stop: threading.Event = field(factory=threading.Event)

    def __attrs_post_init__(self) -> None:
        self._pool = ThreadPoolExecutor(self.count, "campaign")

    def submit(self, chunk: Chunk, numbers: Numbers) -> "Future[list[Outcome]]":  # noqa: D102
        jobs = [self.jobs[number] for number in numbers]
        return self._pool.submit(run_chunk, chunk, jobs, going=self._going, jit=self.jit)

    def _going(self) -> bool:
        return not self._stop.is_set()

    def stop(self) -> None:  # noqa: D102
        self._stop.set()

    def close(self) -> None:  # noqa: D102
        self._pool.shutdown(wait=True, cancel_futures=True)


@define(eq=False)
class Forked:
    """Processes forked from this one when the first chunk is handed out."""

    jobs: Sequence[Job]
    count: int
    jit: bool | None
    here: bool = True
    forked: bool = True
    _pool: ProcessPoolExecutor = field(init=False)
    _stopped: mmap.mmap = field(init=False)  # one byte that all of them see
    _begun: bool = True  # whether all members did, when they should have

    def __attrs_post_init__(self) -> None:
        self._stopped = mmap.mmap(-1, 1)
        begin = (tuple(self.jobs), self.jit, self._stopped, os.getpid())
        fork = multiprocessing.get_context("fork")
        self._pool = ProcessPoolExecutor(self.count, fork, initializer=_begin, initargs=begin)

    def submit(self, chunk: Chunk, numbers: Numbers) -> "Future[list[Outcome]]":  # noqa: D102
        # a member that met Ctrl-C before it was told to leave that to its parent would die with a traceback
        held = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            with warnings.catch_warnings():  # of threads that libraries have begun and that are asleep
                warnings.simplefilter("ignore", DeprecationWarning)
                return self._pool.submit(_run, chunk, numbers)
        except BrokenExecutor:
            raise
        except (OSError, RuntimeError) as error:  # too many processes, threads or files, or too little memory
            self._begun = False
            for member in multiprocessing.active_children():  # they would wait for work, and we for them
                member.kill()
                member.join()
                member.close()  # gives back a file: there may be no more of them
            raise BrokenExecutor(str(error)) from error
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, held)

    def stop(self) -> None:  # noqa: D102
        self._stopped[0] = 1

    def close(self) -> None:  # noqa: D102
        self._pool.shutdown(wait=self._begun, cancel_futures=True)


@define(eq=False)
class Lent:
    """An executor that was given, whose workers may be anywhere."""

    jobs: Sequence[Job]
    executor: Executor
    jit: bool | None
    here: bool = False
    forked: bool = False

    def submit(self, chunk: Chunk, numbers: Numbers) -> "Future[list[Outcome]]":  # noqa: D102
        jobs = [self.jobs[number] for number in numbers]
        return self.executor.submit(run_chunk, chunk, jobs, jit=self.jit, workings=workings_digest())

    def stop(self) -> None:
        """Do nothing: a question whether to go on cannot be asked from there."""

    def close(self) -> None:
        """Do nothing: whoever lent it closes it."""


# --- in a forked process

_forked: tuple[tuple[Job, ...], bool | None, Callable[[], bool]]


def _begin(jobs: tuple[Job, ...], jit: bool | None, stopped: mmap.mmap, parent: int) -> None:
    """Settle what this process works on. Ctrl-C is for its parent, without which it ends."""
    global _forked  # noqa: PLW0603  # what a process is for is said once, when it begins
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    _forked = jobs, jit, lambda: not stopped[0]
    with suppress(RuntimeError):  # no room for a thread: then only the parent's end is not noticed
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    while os.getppid() == parent:
        time.sleep(0.2)
    os.kill(os.getpid(), signal.SIGTERM)


def _run(chunk: Chunk, numbers: Numbers) -> list[Outcome]:
    jobs, jit, going = _forked
    return run_chunk(chunk, [jobs[number] for number in numbers], going=going, jit=jit)
