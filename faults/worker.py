"""Runs a chunk of faults on programs and says what was seen of each, without repeating itself.

What is made once per job (the compiled machine, the healthy run and its profile) is kept for every thread. No
result depends on which worker ran what.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from typing import Any, Final, Literal

import numpy as np
import numpy.typing as npt
from attrs import define, evolve, field, frozen

from emu.engine.compiled import CompiledMachine, CompiledRun, compiled_machine, have_numba, variant_for
from emu.engine.lasting import altered_stores, concerned, given
from emu.engine.layout import STOP_KINDS
from emu.engine.profile import NEVER, RunProfile, Snapshot, profile_run
from emu.engine.seen import most_bytes
from emu.errors import declare, fail
from emu.gates import BY_CHANCE
from emu.memory import MemoryPlan
from emu.where import Place
from faults.screen import SETTLED, Reason, Screen, concerned_cells, ran_reason
from faults.workings import workings_digest
from faults.workload import Chunk, Grouping, Job

Ints = npt.NDArray[np.int64]
SNAPSHOTS: Final = 16
MOST_STEPS: Final = 2_000_000  # spent in compiled code between two looks at whether to go on
_RECORDS: Final = 1 << 20  # bytes
_PLANNED: Final[tuple[Literal["tables", "full"], ...]] = ("tables", "full")
LIMITS: Final = ("steps", "time", "outputs", "restarts")
_KEPT: Final = 64  # jobs
_SETTLED_CODES: Final = frozenset(STOP_KINDS.index(kind) for kind in SETTLED)


OTHER_WORKINGS = declare(
    "cluster-version",
    "All computers of a cluster run the same version of Corewright, or results would be mixed.",
    "Install on every worker what is installed here, and start the workers again.",
)


class StoppedError(Exception):
    """The campaign was told to stop; this chunk is not finished."""


@frozen(eq=False)
class Outcome:
    """What was seen of the groups of one chunk on one job.

    ``seen`` (int32[n]): the place of each group's record in ``records``, of which the first is the healthy
    one. ``reasons`` (int8[n]): a :class:`Reason` for those that look healthy.
    """

    seen: npt.NDArray[np.int32]
    reasons: npt.NDArray[np.int8]
    records: tuple[bytes, ...]
    runs: int = 0


def stop_code(record: bytes) -> int:
    """Return the code of the stop in a record."""
    at = shift = count = 0
    while True:
        byte = record[at]
        count |= (byte & 127) << shift
        at, shift = at + 1, shift + 7
        if byte < 128:
            break
    if record[: at + 2 * count].isascii():
        at += 2 * count
    else:
        left = 2 * count
        while left:
            left -= record[at] < 128
            at += 1
    return record[at] >> 1


def _settled(record: bytes) -> bool:
    return stop_code(record) in _SETTLED_CODES


# --- what is made once


@define(eq=False)
class Prepared:
    """A job with its healthy run: shared by all threads and never changed."""

    job: Job
    profile: RunProfile
    screen: Screen
    healthy: bytes
    out_room: int


def prepare(job: Job, *, jit: bool | None = None) -> Prepared:
    """Run a job on a healthy memory and look at what it does."""
    request = job.healthy_request()
    compiled = compiled_machine(job.machine, jit=have_numba() if jit is None else jit)
    run = compiled.start(request)
    run.advance()
    healthy = run.result()
    if healthy.stop.kind in LIMITS and healthy.steps > job.conditions.watched:
        request = evolve(request, max_steps=job.conditions.watched)
        run = compiled.start(request)
        run.advance()
        healthy = run.result()
    most = 2 * healthy.steps + job.conditions.spare
    limits = evolve(
        request,
        max_steps=request.max_steps if healthy.stop.kind == "steps" else min(request.max_steps, most),
        max_outputs=2 * len(healthy.outputs) + 1_000,
        max_restarts=2 * healthy.restarts + 100,
    )
    profile = profile_run(limits, snapshots=SNAPSHOTS, jit=compiled.jit)
    room = 3 * (limits.max_outputs + 2 * compiled.module.SITES + 1)
    record = compiled.zeros(most_bytes(job.machine), np.uint8)
    again = profile.resume(None, 0)  # type: ignore[arg-type]  # no plan: the healthy run
    again.advance()
    return Prepared(job, profile, Screen(profile), _record(compiled, again.st, again.out, record), room)


def _record(compiled: CompiledMachine, st: Any, out: Any, buffer: Any) -> bytes:
    end = compiled.module.record_run(st, out, buffer)
    return bytes(buffer[:end])


_LOCK = threading.Lock()
_PREPARED: "OrderedDict[tuple[str, bool], Prepared]" = OrderedDict()


def prepared(job: Job, *, jit: bool | None = None) -> Prepared:
    """Return a job with its healthy run, made once in every process."""
    key = (job.digest, have_numba() if jit is None else jit)
    with _LOCK:
        found = _PREPARED.get(key)
        if found is None:
            found = _PREPARED[key] = prepare(job, jit=jit)
            while len(_PREPARED) > _KEPT:
                _PREPARED.popitem(last=False)
        return found


Kernel = Literal["cells", "tables", "full"]


def kernels_of(chunk: Chunk) -> frozenset[Kernel]:
    """Return what of a machine's compiled code the runs of a chunk may call."""
    if chunk.cells is not None:
        return frozenset({"cells"})
    found = {variant_for(plan, trace=False) for plan in chunk.plans if not altered_stores(plan)}
    return frozenset(name for name in _PLANNED if name in found)


def kernels_for(grouping: Grouping) -> frozenset[Kernel]:
    """Return what the runs of all faults may call, without making their plans."""
    found: set[Kernel] = {"cells"} if len(grouping.cells) else set()
    if len(grouping.universe) > len(grouping.cells):
        found.update(_PLANNED)
    return frozenset(found)


def compile_kernel(job: Job, kernel: Kernel, *, jit: bool | None = None) -> None:
    """Compile what some runs of faults call, and return when it is done.

    Meant for the main thread, before others need it: Ctrl-C interrupts a compilation there, and only there.
    """
    ready = prepared(job, jit=jit)
    if not ready.profile.jit:
        return
    if kernel != "cells":
        bench_for(ready).resume(ready, None, 0).compile_variant(kernel)
        return
    full = (1 << job.machine.stores[0].bits) - 1
    harmless = np.array([[0, 0, full, 0, full, 0]])
    _run_cells(ready, harmless, np.array([ready.profile.result.steps]), _always)


# --- what every thread has for itself


@define(eq=False)
class Bench:
    """Room for one thread to run faults on one machine."""

    compiled: CompiledMachine
    arrays: tuple[Any, Any] = field(init=False)
    records: Any = field(init=False)
    out: Any = field(init=False)

    def __attrs_post_init__(self) -> None:
        cells = self.compiled.layout.bases[-1]
        self.arrays = self.compiled.zeros(2 * cells), self.compiled.zeros(cells)
        self.records = self.compiled.zeros(max(_RECORDS, 2 * most_bytes(self.compiled.machine)), np.uint8)
        self.out = self.compiled.zeros(1)

    def room(self, job: Prepared, snapshot: Snapshot) -> Any:
        """Return the list of outputs, which begins with those before the snapshot."""
        if len(self.out) < job.out_room:
            self.out = self.compiled.zeros(job.out_room)
        self.out[: len(snapshot.out)] = snapshot.out
        return self.out

    def resume(self, job: Prepared, plan: MemoryPlan | None, step: int) -> CompiledRun:
        """Return a run standing at the last snapshot at or before a step."""
        snapshot = job.profile.snapshot_before(step)
        request = evolve(job.profile.request, plan=plan)
        out = self.room(job, snapshot)
        run = CompiledRun(self.compiled, request, plan, snapshot.st.copy(), snapshot.mem.copy(), out)
        run.apply_request()
        return run


_LOCAL = threading.local()


def bench_for(job: Prepared) -> Bench:
    """Return this thread's bench for the machine of a job."""
    benches: dict[tuple[str, bool], Bench] = vars(_LOCAL).setdefault("benches", {})
    key = job.job.machine.digest, job.profile.jit
    if key not in benches:
        benches.clear()  # one machine at a time
        benches[key] = Bench(CompiledMachine(job.job.machine, job.profile.jit))
    return benches[key]


# --- running


Going = Callable[[], bool]
_NO_RECORD: Final = b""


def _always() -> bool:
    return True


@define
class Interned:
    """Records in the order of their first coming, each once; the first is the healthy one."""

    places: dict[bytes, int]

    def place(self, record: bytes) -> int:
        """Return the place of a record."""
        return self.places.setdefault(record, len(self.places))


def run_chunk(
    chunk: Chunk,
    jobs: Sequence[Job],
    *,
    going: Going = _always,
    jit: bool | None = None,
    workings: str | None = None,
) -> list[Outcome]:
    """Return what was seen of a chunk on every job. Raises ``StoppedError`` if ``going`` says no.

    ``workings``: the digest of the code of whoever asks; InputError if this worker's is another.
    """
    if workings not in (None, workings_digest()):
        fail(OTHER_WORKINGS, "a worker of the cluster has other code than this computer", Place("--cluster"))
    benches = [prepared(job, jit=jit) for job in jobs]
    if chunk.cells is not None:
        return [_cells(job, chunk.cells, going) for job in benches]
    rows = [_plan(plan, benches, going) for plan in chunk.plans]
    return [_outcome(job, [row[i] for row in rows]) for i, job in enumerate(benches)]


def _outcome(job: Prepared, found: Sequence[tuple[bytes, Reason]]) -> Outcome:
    known = Interned({job.healthy: 0})
    seen = np.array([known.place(record or job.healthy) for record, _ in found], np.int32)
    reasons = np.array([reason for _, reason in found], np.int8)
    return Outcome(seen, reasons, tuple(known.places), sum(1 for record, _ in found if record))


def _cells(job: Prepared, rows: Ints, going: Going) -> Outcome:
    starts = job.screen.cells(rows)
    known = Interned({job.healthy: 0})
    seen, reasons = np.zeros(len(rows), np.int32), starts.reasons.copy()
    chosen = np.flatnonzero(starts.first != NEVER)
    records = _run_cells(job, rows[chosen], starts.first[chosen], going)
    doubtful = np.flatnonzero(starts.early[chosen] < starts.first[chosen]).tolist()
    settled = {record: _settled(record) for record in {records[i] for i in doubtful}}
    again = [i for i in doubtful if not settled[records[i]]]
    if again:
        places = chosen[again]
        for i, record in zip(again, _run_cells(job, rows[places], starts.early[places], going), strict=True):
            records[i] = record
    seen[chosen] = np.array([known.place(record) for record in records], np.int32)
    reasons[chosen[seen[chosen] == 0]] = Reason.MASKED
    return Outcome(seen, reasons, tuple(known.places), len(chosen) + len(again))


def _run_cells(job: Prepared, rows: Ints, starts: Ints, going: Going) -> list[bytes]:
    """Return the records of single-cell faults, each run from its start."""
    records = [_NO_RECORD] * len(rows)
    if not len(rows):
        return records
    order = np.argsort(starts, kind="stable")
    places = order.tolist()
    bench, layout = bench_for(job), job.profile.layout
    cells = np.array(layout.bases)[rows[:, 0]] + rows[:, 1]
    table = np.column_stack([cells, rows[:, 2:], starts])[order]
    run = bench.resume(job, None, int(min(table[0, 5], job.profile.result.steps)))
    run.st[run.place("OUTPUT_ROOM")] = len(run.out) // 3
    work, flat = run.st.copy(), bench.compiled.form(np.ascontiguousarray(table).reshape(-1))
    work[run.place("EPOCH")] = 0
    bench.arrays[1][:] = [-1] * len(bench.arrays[1]) if not job.profile.jit else -1
    ends, kernel = bench.compiled.zeros(len(table)), bench.compiled.module.run_recorded
    done = 0
    while done < len(table):
        if not going():
            raise StoppedError
        common = (run.st, work, run.mem, run.out, *run.constants, *bench.arrays, flat)
        next_one = kernel(*common, done, len(table), MOST_STEPS, ends, bench.records, 0)
        written = bytes(bench.records[: ends[next_one - 1]])
        begin = 0
        for place, end in zip(places[done:next_one], ends[done:next_one], strict=True):
            records[place] = written[begin : int(end)]
            begin = int(end)
        done = next_one
    return records


def _plan(plan: MemoryPlan, jobs: Sequence[Prepared], going: Going) -> list[tuple[bytes, Reason]]:
    """Return what was seen of a plan on every job: a record and a reason; no record if it was not run."""
    if not going():
        raise StoppedError
    found: list[tuple[bytes, Reason]] = []
    concerned: Ints | None = None
    for job in jobs:
        here = plan.under(job.job.conditions.names)
        record = _record_of(here, job, going)
        if record == _NO_RECORD:
            concerned = concerned_cells(plan) if concerned is None else concerned
            found.append((_NO_RECORD, job.screen.idle_reason(here, concerned)))
        elif record == job.healthy:
            steady = here.with_open(BY_CHANCE)
            shows = steady is not here and _record_of(steady, job, going) not in (_NO_RECORD, record)
            found.append((record, ran_reason(here, shows_if_open=shows)))
        else:
            found.append((record, Reason.NONE))
    return found


def _record_of(plan: MemoryPlan, job: Prepared, going: Going) -> bytes:
    """Return the record of a plan whose conditions are settled; none if it need not be run."""
    first, early = job.screen.plan(plan)
    if first == NEVER:
        return _NO_RECORD
    record = _run_plan(plan, job, first, going)
    if early < first and not _settled(record):
        record = _run_plan(plan, job, early, going)
    return record


def put_words(mem: Any, cells: Ints, words: Ints) -> None:
    """Put words into flat cells, of an array or of a list."""
    if isinstance(mem, list):
        for cell, word in zip(cells.tolist(), words.tolist(), strict=True):
            mem[cell] = word
    else:
        mem[cells] = words


def _run_plan(plan: MemoryPlan, job: Prepared, start: int, going: Going) -> bytes:
    bench = bench_for(job)
    stores = altered_stores(plan)
    run = bench.resume(job, None if stores else plan, start)
    for store in stores:
        at = concerned(plan, store)
        words = given(plan, store, job.screen.lasting_cells(store), at)
        put_words(run.mem, job.profile.layout.bases[store] + at, words)
    step, stop = run.place("STEPS"), run.place("STOP")
    while not run.st[stop]:
        if not going():
            raise StoppedError
        run.advance(int(run.st[step]) + MOST_STEPS)
    return _record(bench.compiled, run.st, run.out, bench.records)
