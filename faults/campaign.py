"""Runs a universe of faults on programs: in parallel, resumably, with the same answer however it is cut up.

What is done: faults with equal plans are one group; a group is run on every job from where it first matters,
if it ever does (``faults.screen``); what was seen is kept once for all groups that show it.
"""

import hashlib
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Executor, Future, wait
from contextlib import contextmanager
from itertools import chain
from pathlib import Path
from types import FrameType
from typing import Final

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from emu.errors import declare, fail
from emu.where import Place
from faults.crew import Crew, Lent, own_crew
from faults.results import ResultsFile, index_of
from faults.screen import Reason
from faults.universe import Universe
from faults.worker import Kernel, Outcome, compile_kernel, kernels_for, kernels_of, prepared
from faults.workload import Chunk, Grouping, Job

Ints = npt.NDArray[np.int32]
PER_WORKER: Final = 3  # chunks handed out ahead of time

WORKER_LOST = declare(
    "worker-lost",
    "Processes share out the work; one was ended from outside, or could not begin: memory ran out, say.",
    "Do with fewer of them, as in --workers 1; what --results keeps is not lost.",
)


@frozen
class Progress:
    """How far a campaign is: group-and-program pairs done of all, those found in kept results, seconds."""

    done: int
    total: int
    kept: int
    seconds: float

    @property
    def rate(self) -> float:
        """Pairs a second that were worked out, not found."""
        return (self.done - self.kept) / self.seconds if self.seconds > 0 else 0.0

    @property
    def seconds_left(self) -> float | None:
        """Seconds that the rest will take at this rate, or None before there is a rate."""
        return (self.total - self.done) / self.rate if self.rate > 0 else None


Watcher = Callable[[Progress], None]


@define(eq=False)
class Campaign:
    """What came of a campaign.

    ``seen`` (int32[jobs, groups]): the number of each group's record among ``records``; records are numbered
    in the order of jobs, then groups, with the healthy record of each job before its others. ``reasons``
    (int8[jobs, groups]): a :class:`faults.screen.Reason` where a group looks healthy.
    ``runs``: how many runs were made, beside the healthy ones.
    """

    universe: Universe
    grouping: Grouping
    jobs: tuple[Job, ...]
    seen: Ints
    reasons: npt.NDArray[np.int8]
    records: tuple[bytes, ...]
    healthy: tuple[int, ...]
    runs: int

    def shows(self) -> npt.NDArray[np.bool_]:
        """Return which groups look different from a healthy machine, clock in hand (bool[jobs, groups])."""
        shown: npt.NDArray[np.bool_] = self.seen != np.array(self.healthy, np.int32)[:, None]
        return shown


class CampaignStoppedError(Exception):
    """The campaign was told to stop. ``kept`` is where finished parts are, or None."""

    def __init__(self, kept: Path | None) -> None:
        super().__init__("the campaign was stopped")
        self.kept = kept


def kept_pairs(grouping: Grouping, jobs: Sequence[Job], results: Path | None) -> npt.NDArray[np.int64]:
    """Return how many groups are kept in a results file for each job (int64[jobs]); changes nothing.

    Raises InputError if the file holds something else than results.
    """
    known = index_of(results).known if results is not None else {}
    found = np.zeros(len(jobs), np.int64)
    for chunk in chain(grouping.cell_chunks(), grouping.other_chunks()) if known else ():
        found += [len(chunk) * (result_id(job, chunk) in known) for job in jobs]
    return found


def result_id(job: Job, chunk: Chunk) -> bytes:
    """Return the strong id of the outcome of a chunk on a job (SHA-256)."""
    return hashlib.sha256(f"{job.digest} {chunk.digest}".encode()).digest()


def run_campaign(
    universe: Universe,
    jobs: Sequence[Job],
    *,
    only: npt.NDArray[np.bool_] | None = None,
    grouping: Grouping | None = None,
    executor: Executor | None = None,
    workers: int = 0,
    results: Path | None = None,
    watcher: Watcher | None = None,
    warn: Callable[[str], None] | None = None,
    jit: bool | None = None,
) -> Campaign:
    """Run every fault of a universe on every job.

    ``only`` (bool[groups] of ``grouping``, which a campaign made before): run these groups, take the others
    for healthy. ``executor``: any; without one, ``workers`` of this computer (0: one a
    processor). ``results``: the file in which finished parts are kept and from which they are taken again.
    ``watcher`` is told how far it
    is, several times a second; ``warn``, in a sentence, that kept results are damaged. ``jit``: compile or
    not; None: if numba is there. On KeyboardInterrupt work stops within a second and
    ``CampaignStoppedError`` is raised.
    """
    count = workers or os.cpu_count() or 1
    kept = ResultsFile(results) if results is not None else None
    if kept is not None and kept.damage and warn is not None:
        warn(kept.damage)
    try:
        get_ready(jobs, jit=jit)
        grouping = grouping or Grouping(universe)
        work = _Work(grouping, only, tuple(jobs), kept, watcher, jit, PER_WORKER * count)
        crew = own_crew(jobs, count, jit=jit) if executor is None else Lent(jobs, executor, jit)
        try:
            work.run(crew)
        finally:
            crew.close()
        return work.outcome()
    except KeyboardInterrupt:
        raise CampaignStoppedError(results) from None
    except BrokenExecutor as error:
        unborn = isinstance(error.__cause__, (OSError, RuntimeError))
        what = f"could not begin: {error}" if unborn else "was ended"
        fail(WORKER_LOST, f"a process that does part of the work {what}", Place("--workers"))
    finally:
        if kept is not None:
            kept.close()


def get_ready(jobs: Sequence[Job], *, jit: bool | None = None) -> None:
    """Run healthy machines, which takes some time if this version never did it here and has to compile.

    Raises InputError if an image does not fit.
    """
    with _no_interrupt_lost():
        for job in jobs:
            prepared(job, jit=jit)


@contextmanager
def _no_interrupt_lost() -> Iterator[None]:
    """Raise KeyboardInterrupt at the end if one was lost on the way, as in functions that C calls back."""
    main = threading.current_thread() is threading.main_thread()
    if not main or signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
        yield
        return
    came = threading.Event()

    def heed(_number: int, _frame: FrameType | None) -> None:
        came.set()
        raise KeyboardInterrupt

    signal.signal(signal.SIGINT, heed)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    if came.is_set():
        raise KeyboardInterrupt


@define(eq=False)
class _Work:
    grouping: Grouping
    only: npt.NDArray[np.bool_] | None
    jobs: tuple[Job, ...]
    kept: ResultsFile | None
    watcher: Watcher | None
    jit: bool | None
    ahead: int
    begun: float = field(factory=time.monotonic)
    outcomes: list[tuple[int, Chunk, Outcome]] = field(factory=list)
    compiled: set[Kernel] = field(factory=set)
    done: int = 0
    found: int = 0

    def run(self, crew: Crew) -> None:
        """Hand out chunks, single cells first, and gather what comes back."""
        pending: dict[Future[list[Outcome]], tuple[Chunk, tuple[int, ...]]] = {}
        try:
            for chunk in chain(self.grouping.cell_chunks(self.only), self.grouping.other_chunks(self.only)):
                todo = tuple(self._missing(chunk))
                if todo:
                    if crew.here:
                        self._compile(kernels_for(self.grouping) if crew.forked else kernels_of(chunk))
                    pending[crew.submit(chunk, todo)] = (chunk, todo)
                while len(pending) >= self.ahead and chunk.cells is None:
                    self._gather(pending)
            while pending:
                self._gather(pending)
        except BaseException:
            crew.stop()
            for future in pending:
                future.cancel()
            raise

    def _compile(self, kernels: frozenset[Kernel]) -> None:
        """Compile in this thread, which Ctrl-C interrupts, what the others will need."""
        for kernel in sorted(kernels - self.compiled):
            with _no_interrupt_lost():
                compile_kernel(self.jobs[0], kernel, jit=self.jit)
            self.compiled.add(kernel)

    def _missing(self, chunk: Chunk) -> Iterator[int]:
        """Yield the jobs of which no outcome is kept; take over those that are."""
        for number, job in enumerate(self.jobs):
            outcome = self.kept.get(result_id(job, chunk)) if self.kept is not None else None
            if outcome is None:
                yield number
            else:
                self.found += len(chunk)
                self._take(number, chunk, outcome)

    def _take(self, number: int, chunk: Chunk, outcome: Outcome) -> None:
        self.outcomes.append((number, chunk, outcome))
        self.done += len(chunk)

    def _gather(self, pending: dict[Future[list[Outcome]], tuple[Chunk, tuple[int, ...]]]) -> None:
        finished, _ = wait(pending, timeout=0.25, return_when=FIRST_COMPLETED)
        for future in finished:
            chunk, todo = pending.pop(future)
            for number, outcome in zip(todo, future.result(), strict=True):
                if self.kept is not None:
                    self.kept.put(result_id(self.jobs[number], chunk), outcome)
                self._take(number, chunk, outcome)
        if self.watcher is not None:
            self.watcher(Progress(self.done, self._total(), self.found, time.monotonic() - self.begun))

    def _total(self) -> int:
        groups = self.grouping.at_most if self.only is None else int(self.only.sum())
        return groups * len(self.jobs)

    def outcome(self) -> Campaign:
        """Return the whole campaign, numbered in an order that no worker can change."""
        self.grouping.complete()
        table = _Table(self.jobs, len(self.grouping), self.jit)
        for number, chunk, outcome in self.outcomes:
            table.add(number, self.grouping.groups_of(chunk), outcome)
        self.outcomes.clear()
        seen, records, healthy = table.numbered()
        return Campaign(
            self.grouping.universe,
            self.grouping,
            self.jobs,
            seen,
            table.reasons,
            records,
            healthy,
            table.runs,
        )


@define(eq=False)
class _Table:
    """What was seen, numbered as it came in."""

    jobs: tuple[Job, ...]
    groups: int
    jit: bool | None
    numbers: dict[bytes, int] = field(factory=dict)
    seen: Ints = field(init=False)
    reasons: npt.NDArray[np.int8] = field(init=False)
    runs: int = 0

    def __attrs_post_init__(self) -> None:
        self.seen = np.full((len(self.jobs), self.groups), -1, np.int32)
        self.reasons = np.zeros((len(self.jobs), self.groups), np.int8)

    def add(self, job: int, groups: npt.NDArray[np.int64], outcome: Outcome) -> None:
        """Take in the outcome of some groups on a job."""
        numbers = self.numbers
        own = np.array([numbers.setdefault(r, len(numbers)) for r in outcome.records], np.int32)
        self.seen[job, groups] = own[outcome.seen]
        self.reasons[job, groups] = outcome.reasons
        self.runs += outcome.runs

    def numbered(self) -> tuple[Ints, tuple[bytes, ...], tuple[int, ...]]:
        """Return ``seen``, records and healthy numbers in canonical order."""
        records = list(self.numbers)
        healthy = [prepared(job, jit=self.jit).healthy for job in self.jobs]
        for record in healthy:
            if record not in self.numbers:
                self.numbers[record] = len(records)
                records.append(record)
        firsts = [self.numbers[record] for record in healthy]
        self.seen = np.where(self.seen < 0, np.array(firsts, np.int32)[:, None], self.seen)  # not asked for
        rows = [np.concatenate([[h], row]) for h, row in zip(firsts, self.seen, strict=True)]
        order = _by_first_coming(np.concatenate(rows)) if rows else np.zeros(0, np.int64)
        place = np.full(len(records), -1, np.int32)
        place[order] = np.arange(len(order))
        return place[self.seen], tuple(records[i] for i in order), tuple(int(place[i]) for i in firsts)


def _by_first_coming(numbers: Ints) -> npt.NDArray[np.int64]:
    values, first = np.unique(numbers, return_index=True)
    found: npt.NDArray[np.int64] = values[np.argsort(first, kind="stable")].astype(np.int64)
    return found


def reason_of(campaign: Campaign, job: int, group: int) -> Reason:
    """Return why a group shows nothing on a job."""
    return Reason(int(campaign.reasons[job, group]))
