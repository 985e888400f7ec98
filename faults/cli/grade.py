"""``corewright grade``."""

import re
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor
from contextlib import contextmanager
from pathlib import Path
from typing import Final, Literal

import click
from attrs import frozen

from emu.engine.compiled import have_numba
from emu.errors import declare, fail
from emu.machinepage import duration
from emu.where import Place
from faults.boards import Board
from faults.campaign import Campaign, CampaignStoppedError, Progress, run_campaign
from faults.cli.exits import Exit
from faults.cli.faulted import board_option, the_board, when_option
from faults.cli.options import color_option, json_option, print_json, quiet_option, seed_option, use_colour
from faults.cli.parameters import complete_program, machine_argument, store_option
from faults.cli.reading import read_inputs, read_program, the_store
from faults.cli.schemas import declare_schema
from faults.cli.selftests import self_tests
from faults.cli.writer import Writer, notice
from faults.dictionary import save
from faults.grade import REPORT, WHY, Escapes, Grade, Grader, ProgramGrade, Tally, catching
from faults.notation import fault_text
from faults.universe import Universe, universe_of
from faults.worker import LIMITS, prepared
from faults.workload import Conditions, Grouping, Job, Program

_TALLY: Final = {
    "total": "int: faults",
    "found": "int: faults that show in any way",
    "reported": "int: faults of which the program prints a report",
    "hangs": "int: faults with which it does not end as it should, and reports nothing",
    "seen": "int: faults that show otherwise: other lamps, alarms or prints",
}
_PROGRAM: Final = {
    "name": "text: program",
    "stop": "text: how its healthy run ends",
    "steps": "int: instructions of the healthy run",
    "time_ns": "int: time that it takes on the real machine, in nanoseconds",
    "tally": _TALLY,
    "kinds": {"*": _TALLY},
    "sites": {"*": _TALLY},
    "escapes": [
        {
            "reason": "text: never-read, one-value, test-sits, masked, order or absent",
            "why": "text: the reason in a sentence",
            "count": "int: faults",
            "examples": ["text: the first few, in notation"],
        }
    ],
}
SCHEMA = declare_schema(
    "grade/1",
    "`corewright grade MACHINE PROGRAM... --json`: what self-tests find and what escapes them.",
    {
        "machine": "text: name of the machine",
        "faults": "int: faults of the universe",
        "groups": "int: groups of faults that behave alike",
        "runs": "int: faulty runs made",
        "programs": [_PROGRAM],
        "union": _PROGRAM,
        "smallest": ["text: the fewest programs that find as much as all"],
        "smallest_exact": "bool: whether that is surely the fewest",
        "others": [{"name": "text: another self-test", "found": "int: escapes that it finds"}],
    },
)
PATTERN = declare(
    "report-pattern",
    "The report of a self-test is told by a regular expression that stands in what it prints.",
    "Give for instance --report '^FAIL'.",
)
_MOST: Final = 12


@frozen
class _Asked:
    """What the command line asks for."""

    board: Board
    universe: Universe
    jobs: tuple[Job, ...]
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
@click.option("--workers", type=click.IntRange(0), default=0, show_default=True,
              help="Threads; 0 means one a processor.")  # fmt: skip
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
    if dictionary is not None and Path(dictionary).exists() and not force:
        raise click.UsageError(f"{dictionary} exists; --force overwrites it")
    if not have_numba():
        notice(
            "without numba this takes some hundred times longer: pip install corewright[fast]", quiet=quiet
        )
    writer = Writer(use_colour(color))
    if plan:
        return _tell_plan(asked, results, writer)
    watcher = None if quiet or not sys.stderr.isatty() else _Shown()
    try:
        with _executor(cluster) as executor:
            campaign = run_campaign(
                asked.universe, asked.jobs, executor=executor, workers=workers, watcher=watcher,
                results=Path(results) if results else None,
            )  # fmt: skip
            grader = Grader(campaign, asked.report)
            others = () if no_others else tuple(_others(asked, campaign, grader, executor, workers))
    except CampaignStoppedError as stopped:
        _tell_stop(stopped)
        return Exit.INTERRUPTED
    finally:
        if watcher is not None:
            watcher.end()
    if dictionary is not None:
        save(campaign, Path(dictionary), force=force)
    grade = grader.grade()
    if as_json:
        print_json(SCHEMA.name, grade_json(asked.board, campaign, grade, others))
    else:
        _write(asked.board, campaign, grade, others, writer)
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
    jobs = [_job(found, name, settings) for name in dict.fromkeys(programs)]
    return _Asked(found, universe, tuple(jobs), pattern)


def _job(board: Board, name: str, settings: Conditions) -> Job:
    machine = board.machine
    program = Program(Path(name).stem, read_program(machine, name), read_inputs(machine, name, None, ()))
    return Job(machine, program, settings)


def _others(
    asked: _Asked, campaign: Campaign, grader: Grader, executor: Executor | None, workers: int
) -> Iterator[tuple[str, int]]:
    """Yield which self-tests that were not asked for find what escapes those that were."""
    known = {job.digest for job in asked.jobs}
    board, settings = asked.board, asked.jobs[0].conditions
    jobs = [_job(board, t.name, settings) for t in self_tests(board.machine.name)]
    jobs = [job for job in jobs if job.digest not in known]
    escaping = grader.escaping()
    if not jobs or not escaping.any():
        return
    again = run_campaign(
        asked.universe, jobs, only=escaping, grouping=campaign.grouping, executor=executor, workers=workers
    )
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


def _tell_stop(stopped: CampaignStoppedError) -> None:
    if stopped.kept is None:
        notice("interrupted; nothing was kept. With --results PATH the next one would go on from here.")
    else:
        notice(f"interrupted; give the same command with --results {stopped.kept} again to go on from here.")


def _tell_plan(asked: _Asked, results: str | None, writer: Writer) -> int:
    grouping = Grouping(asked.universe)
    grouping.complete()
    writer.labelled("faults", f"{len(asked.universe):,} in {len(grouping):,} groups that behave alike")
    rows = []
    for job in asked.jobs:
        healthy = prepared(job).profile.result
        rows.append((job.program.name, f"{healthy.steps:,}", duration(healthy.time_ns), healthy.stop.kind))
    writer.table(("program", "instructions", "real time", "ends by"), rows)
    most = sum(prepared(job).profile.result.steps for job in asked.jobs) * len(grouping)
    writer.labelled("to do", f"{len(grouping) * len(asked.jobs):,} pairs of group and program")
    writer.labelled("at most", f"about {most:,} instructions, if no fault showed early or could be left out")
    writer.labelled("results", results or "not kept (--results PATH keeps them)")
    return Exit.DONE


# --- telling


def _tally_json(tally: Tally) -> Mapping[str, int]:
    return {
        "total": tally.total, "found": tally.found, "reported": tally.reported, "hangs": tally.hangs,
        "seen": tally.seen,
    }  # fmt: skip


def _fault(board: Board, campaign: Campaign, number: int) -> str:
    return fault_text(campaign.universe.faults[number], board)


def _program_json(board: Board, campaign: Campaign, graded: ProgramGrade) -> Mapping[str, object]:
    return {
        "name": graded.name,
        "stop": graded.stop,
        "steps": graded.steps,
        "time_ns": graded.time_ns,
        "tally": _tally_json(graded.tally),
        "kinds": {name: _tally_json(tally) for name, tally in graded.by_kind},
        "sites": {name: _tally_json(tally) for name, tally in graded.by_site},
        "escapes": [
            {
                "reason": escapes.reason.name.lower().replace("_", "-"),
                "why": WHY[escapes.reason],
                "count": escapes.count,
                "examples": [_fault(board, campaign, n) for n in escapes.examples],
            }
            for escapes in graded.escapes
        ],
    }


def grade_json(
    board: Board, campaign: Campaign, grade: Grade, others: Sequence[tuple[str, int]]
) -> Mapping[str, object]:
    """Return what schema ``grade/1`` holds."""
    return {
        "machine": board.machine.name,
        "faults": len(campaign.universe),
        "groups": grade.groups,
        "runs": campaign.runs,
        "programs": [_program_json(board, campaign, p) for p in grade.programs],
        "union": _program_json(board, campaign, grade.union),
        "smallest": list(grade.smallest),
        "smallest_exact": grade.exact,
        "others": [{"name": name, "found": found} for name, found in others],
    }


def _percent(tally: Tally) -> str:
    shown = f"{tally.percent:.2f}"
    return "99.99" if shown == "100.00" and tally.found < tally.total else shown


def _counts(tally: Tally) -> tuple[str, ...]:
    parts = (tally.total, tally.found)
    rest = (tally.reported, tally.hangs, tally.seen, tally.total - tally.found)
    return (*(f"{n:,}" for n in parts), _percent(tally), *(f"{n:,}" for n in rest))


_HEADS: Final = ("faults", "found", "%", "reported", "hangs", "otherwise", "escape")


def _write(
    board: Board, campaign: Campaign, grade: Grade, others: Sequence[tuple[str, int]], writer: Writer
) -> None:
    writer.labelled("machine", board.machine.name)
    text = f"{len(campaign.universe):,} in {grade.groups:,} groups that behave alike; {campaign.runs:,} runs"
    writer.labelled("faults", text)
    writer.heading("Programs")
    shown = [*grade.programs, grade.union] if len(grade.programs) > 1 else grade.programs
    rows = [(p.name, *_counts(p.tally)[1:-1], duration(p.time_ns)) for p in shown]
    writer.table(("program", *_HEADS[1:-1], "takes"), rows)
    for program in grade.programs:
        if program.stop in LIMITS:
            writer.paragraph(
                f"{program.name} did not come to an end of its own ({program.stop}) while watched."
            )
    writer.heading("By kind of fault")
    writer.table(("kind", *_HEADS), [(name, *_counts(tally)) for name, tally in grade.union.by_kind])
    writer.heading("By site")
    writer.table(("sites", *_HEADS), [(name, *_counts(tally)) for name, tally in grade.union.by_site])
    _write_escapes(board, campaign, grade.union.escapes, writer)
    _write_sets(grade, others, writer)


def _write_escapes(board: Board, campaign: Campaign, escapes: Sequence[Escapes], writer: Writer) -> None:
    if not escapes:
        writer.heading("Nothing escapes")
        return
    writer.heading("What escapes, and why")
    for found in escapes:
        writer.paragraph(f"{found.count:,} - {WHY[found.reason]}")
        examples = ", ".join(_fault(board, campaign, n) for n in found.examples[:_MOST])
        writer.paragraph(f"{examples}{' …' if found.count > len(found.examples) else ''}", indent=4)


def _write_sets(grade: Grade, others: Sequence[tuple[str, int]], writer: Writer) -> None:
    if len(grade.programs) > 1:
        how = (
            "the fewest that find as much as all"
            if grade.exact
            else "found by taking what adds most; maybe not the fewest"
        )
        writer.heading("Enough")
        writer.paragraph(f"{', '.join(grade.smallest) or 'none'}: {how}.")
    if others:
        writer.heading("Other self-tests that find some of the escapes")
        writer.table(("program", "finds"), [(name, f"{count:,}") for name, count in others])
