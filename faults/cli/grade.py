"""``corewright grade``."""

import re
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Final, Literal

import click
from attrs import frozen

from emu.engine.compiled import have_numba
from emu.errors import declare, fail
from emu.machinepage import duration
from emu.shipped import find_program
from emu.where import Place
from faults.boards import Board
from faults.campaign import Campaign, CampaignStoppedError, Progress, get_ready, kept_pairs, run_campaign
from faults.cli.exits import Exit
from faults.cli.faulted import board_option, the_board, when_option
from faults.cli.gradetext import SCHEMA, grade_json, write_grade
from faults.cli.options import color_option, json_option, print_json, quiet_option, seed_option, use_colour
from faults.cli.parameters import complete_program, machine_argument, store_option
from faults.cli.reading import program_path, read_inputs, read_program, the_store
from faults.cli.selftests import self_tests
from faults.cli.universe import check_kinds
from faults.cli.writer import Writer, notice
from faults.dictionary import refuse_other_content, save
from faults.grade import EXAMPLES, REPORT, Grader, catching
from faults.universe import Universe, universe_of
from faults.worker import prepared
from faults.workload import Conditions, Grouping, Job, Program

PATTERN = declare(
    "report-pattern",
    "The report of a self-test is told by a regular expression that stands in what it prints.",
    "Give for instance --report '^FAIL'.",
)
_SLOW: Final = "without numba this takes some hundred times longer: pip install corewright[fast]"
_LONG_S: Final = 3.0  # seconds of silence


@frozen
class _Asked:
    """What the command line asks for."""

    board: Board
    universe: Universe
    jobs: tuple[Job, ...]
    files: frozenset[Path]  # in which the programs are
    report: re.Pattern[str]


@click.command(epilog="Example: corewright grade fulmar selftest-core-march selftest-rope-banks")
@machine_argument
@click.argument("programs", nargs=-1, required=True, metavar="PROGRAM...", shell_complete=complete_program)
@board_option
@store_option
@click.option("--kind", "kinds", multiple=True, metavar="KIND",
              help="Only faults of this kind, or kind and form; repeatable.")  # fmt: skip
@click.option("--no-cells", is_flag=True, help="Leave out single cells, single cores and insides of chips.")
@when_option
@seed_option
@click.option("--power-up", type=click.Choice(["zeros", "seeded"]), default="zeros", show_default=True,
              help="What memory holds at the beginning where the program says nothing.")  # fmt: skip
@click.option("--max-steps", type=click.IntRange(1, 1 << 30), default=20_000_000, show_default=True,
              help="Give a program no more instructions than this to come to its end.")  # fmt: skip
@click.option("--report", default=REPORT, show_default=True, metavar="REGEX",
              help="What a program prints when it reports a failure.")  # fmt: skip
@click.option("--no-others", is_flag=True, help="Do not look which other self-tests find what escapes.")
@click.option("--all-escapes", is_flag=True, help="Name every fault that escapes, not only the first few.")
@click.option("--workers", type=click.IntRange(0), default=0, show_default=True,
              help="How many work at once; 0 means one a processor.")  # fmt: skip
@click.option("--cluster", metavar="ADDRESS",
              help="Scheduler of a dask cluster whose workers do the work.")  # fmt: skip
@click.option("--results", metavar="PATH", help="Keep finished parts in this file, and take them from it.")
@click.option("--save", "dictionary", metavar="FOLDER", help="Write the fault dictionary there.")
@click.option("--force", is_flag=True, help="Overwrite the dictionary.")
@click.option("--plan", is_flag=True, help="Say what there is to do, and do nothing.")
@json_option
@quiet_option
@color_option
def command(
    machine: str,
    programs: tuple[str, ...],
    board: str | None,
    store: str | None,
    kinds: tuple[str, ...],
    no_cells: bool,
    conditions: tuple[str, ...],
    seed: int,
    power_up: Literal["zeros", "seeded"],
    max_steps: int,
    report: str,
    no_others: bool,
    all_escapes: bool,
    workers: int,
    cluster: str | None,
    results: str | None,
    dictionary: str | None,
    force: bool,
    plan: bool,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """Say what a self-test finds and what escapes it.

    Every fault that the memory of MACHINE can have is tried on every PROGRAM (shipped names or paths).

    Exit code 1 if a fault escapes all programs.
    """
    settings = Conditions(seed, power_up, frozenset(conditions), max_steps)
    asked = _asked(machine, programs, board, store, kinds, settings, report, cells=not no_cells)
    if plan and as_json:
        raise click.UsageError("a plan of the work is text; leave out --json")
    _refuse_to_overwrite(dictionary, force=force)
    if not have_numba():
        notice(_SLOW, quiet=quiet)
    writer = Writer(use_colour(color))
    if plan:
        return _tell_plan(asked, results, writer, 0 if no_others else len(_other_jobs(asked)))
    watcher = None if quiet or not sys.stderr.isatty() else _Shown()
    try:
        kept = Path(results) if results else None
        run = partial(run_campaign, workers=workers, watcher=watcher, results=kept, warn=notice)
        with _executor(cluster) as executor:
            with _told_to_wait(quiet=quiet):
                get_ready(asked.jobs)
            run = partial(run, executor=executor)
            campaign = run(asked.universe, asked.jobs)
            grader = Grader(campaign, asked.report, None if all_escapes else EXAMPLES)
            others = () if no_others else tuple(_others(asked, campaign, grader, run))
    except (CampaignStoppedError, KeyboardInterrupt):
        _tell_stop(results)
        return Exit.INTERRUPTED
    finally:
        if watcher is not None:
            watcher.end()
    if dictionary is not None:
        save(campaign, Path(dictionary), force=force)
    return _answer(asked, campaign, grader, others, None if as_json else writer)


def _refuse_to_overwrite(dictionary: str | None, *, force: bool) -> None:
    """Refuse a folder that must not be replaced: now, not after the work."""
    if dictionary is None:
        return
    if Path(dictionary).exists() and not force:
        raise click.UsageError(f"{dictionary} exists; --force overwrites it")
    refuse_other_content(Path(dictionary))


def _answer(
    asked: _Asked,
    campaign: Campaign,
    grader: Grader,
    others: Sequence[tuple[str, int]],
    writer: Writer | None,
) -> int:
    """Print the grade, as JSON without a writer; return the exit code."""
    grade = grader.grade()
    if writer is None:
        print_json(SCHEMA.name, grade_json(asked.board, campaign, grade, others))
    else:
        write_grade(asked.board, campaign, grade, others, writer)
    return Exit.DONE if grade.union.tally.found == grade.union.tally.total else Exit.NEGATIVE


def _asked(
    machine: str,
    programs: Sequence[str],
    board: str | None,
    store: str | None,
    kinds: tuple[str, ...],
    settings: Conditions,
    report: str,
    *,
    cells: bool,
) -> _Asked:
    check_kinds(kinds)
    found = the_board(machine, board)
    stores = None if store is None else [the_store(found.machine, store).name]
    universe = universe_of(found, cells, stores=stores, kinds=kinds or None)
    if not len(universe):
        raise click.UsageError("there are no such faults; see `corewright faults` for kinds and stores")
    try:
        pattern = re.compile(report, re.MULTILINE)
    except re.error as error:
        fail(
            PATTERN,
            f"a report is told by a regular expression: {error}; got {report[:80]!r}",
            Place("--report"),
        )
    jobs = [_job(found, name, settings, title) for name, title in _titles(programs).items()]
    files = frozenset(Path(program_path(found.machine, name)).resolve() for name in programs)
    return _Asked(found, universe, tuple(jobs), files, pattern)


def _titles(names: Sequence[str]) -> Mapping[str, str]:
    """Return what to call each program: the stem of its name, or all of it where stems are alike."""
    stems = Counter(Path(name).stem for name in dict.fromkeys(names))
    return {name: Path(name).stem if stems[Path(name).stem] == 1 else name for name in names}


def _job(board: Board, name: str, settings: Conditions, title: str = "") -> Job:
    machine = board.machine
    program = Program(
        title or Path(name).stem, read_program(machine, name), read_inputs(machine, name, None, ())
    )
    return Job(machine, program, settings)


def _other_jobs(asked: _Asked) -> list[Job]:
    """Return the self-tests of the machine that were not asked for."""
    known = {job.digest for job in asked.jobs}
    board, settings = asked.board, asked.jobs[0].conditions
    names = [test.name for test in self_tests(board.machine.name)]
    fresh = (n for n in names if find_program(board.machine.name, n).resolve() not in asked.files)
    return [job for job in (_job(board, name, settings) for name in fresh) if job.digest not in known]


def _others(
    asked: _Asked, campaign: Campaign, grader: Grader, run: Callable[..., Campaign]
) -> Iterator[tuple[str, int]]:
    """Yield which self-tests that were not asked for find what escapes those that were."""
    jobs, escaping = _other_jobs(asked), grader.escaping()
    if not jobs or not escaping.any():
        return
    again = run(asked.universe, jobs, only=escaping, grouping=campaign.grouping)
    yield from catching(Grader(again, asked.report), [job.program.name for job in jobs])


@contextmanager
def _executor(cluster: str | None) -> Iterator[Executor | None]:
    if cluster is None:
        yield None
        return
    try:
        from distributed import Client  # noqa: PLC0415 - an extra
    except ImportError:
        raise click.UsageError("--cluster needs the extra: pip install corewright[cluster]") from None
    with Client(cluster) as client:  # type: ignore[no-untyped-call]  # it has no annotations
        yield client.get_executor()


@contextmanager
def _told_to_wait(*, quiet: bool) -> Iterator[None]:
    """Say what takes so long, if it takes long."""
    jit = have_numba()
    what = "the emulator of this machine is compiled, once" if jit else "every program runs once, whole"
    text = f"getting ready: {what}; this can take a minute or two ..."
    told = threading.Timer(_LONG_S, notice, [text], {"quiet": quiet})
    told.daemon = True
    told.start()
    try:
        yield
    finally:
        told.cancel()
        told.join()  # with another thread in it, this process could not be forked


class _Shown:
    """Shows progress on standard error, a few times a second."""

    def __init__(self) -> None:
        self.last = 0.0

    def __call__(self, progress: Progress) -> None:
        """Show how far it is."""
        now = time.monotonic()
        if now - self.last < 0.25:
            return
        self.last = now
        left = progress.seconds_left
        rest = "" if left is None else f", {left:,.0f} s left"
        text = f"{progress.done:,} of {progress.total:,} done, {progress.rate:,.0f} a second{rest}"
        click.echo(f"\r\x1b[K{text}", nl=False, err=True)

    def end(self) -> None:
        """Clear the line."""
        if self.last:
            click.echo("\r\x1b[K", nl=False, err=True)


def _tell_stop(results: str | None) -> None:
    if results is None:
        notice("interrupted; nothing was kept. With --results PATH the next one would go on from here.")
    else:
        notice(f"interrupted; give the same command with --results {results} again to go on from here.")


def _tell_plan(asked: _Asked, results: str | None, writer: Writer, others: int) -> int:
    grouping = Grouping(asked.universe)
    grouping.complete()
    kept = kept_pairs(grouping, asked.jobs, None if results is None else Path(results))
    left = len(grouping) - kept
    writer.labelled("faults", f"{len(asked.universe):,} in {len(grouping):,} groups that behave alike")
    healthy = [prepared(job).profile.result for job in asked.jobs]
    shown = 6 if results else 4
    rows = [
        (job.program.name, f"{run.steps:,}", duration(run.time_ns), run.stop.kind, f"{done:,}", f"{todo:,}")
        for job, run, done, todo in zip(asked.jobs, healthy, kept, left, strict=True)
    ]
    heads = ("program", "instructions", "real time", "ends by", "kept", "to do")
    writer.table(heads[:shown], [row[:shown] for row in rows])
    most = sum(run.steps * int(todo) for run, todo in zip(healthy, left, strict=True))
    pairs = f"{len(grouping) * len(asked.jobs):,} pairs of group and program"
    told = f"{left.sum():,} of {pairs}; {kept.sum():,} are kept" if results else pairs
    writer.labelled("to do", told)
    writer.labelled("at most", f"about {most:,} instructions, if no fault showed early or could be left out")
    if others:
        text = f"what escapes is tried on {others} other self-tests (--no-others leaves it out)"
        writer.labelled("afterwards", text)
    writer.labelled("results", results or "not kept (--results PATH keeps them)")
    return Exit.DONE
