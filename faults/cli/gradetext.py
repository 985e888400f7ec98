"""How a grade is told: as text, and as the object of ``--json``."""

from collections.abc import Mapping, Sequence
from typing import Final

from emu.machinepage import duration
from faults.boards import Board
from faults.campaign import Campaign
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer
from faults.grade import WHY, Escapes, Grade, ProgramGrade, Tally
from faults.notation import fault_text
from faults.worker import LIMITS

_WORDS: Final = (
    "Found: a person at the machine would notice. Reported: the program says so. Hangs: it never comes to "
    "its end and says nothing. Otherwise: another lamp, alarm, print or stop. "
    "Takes: on the real machine, whole."
)
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
    "false_report": "bool: it prints a failure report on a healthy machine too",
    "steps": "int: instructions of the healthy run",
    "time_ns": "int: time that it takes on the real machine, in nanoseconds",
    "tally": _TALLY,
    "kinds": {"*": _TALLY},
    "sites": {"*": _TALLY},
    "escapes": [
        {
            "reason": "text: never-read, one-value, test-sits, masked, order, absent or chance",
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
        "smallest_alone": ["int: for each of them, faults that no other of them finds"],
        "smallest_exact": "bool: whether that is surely the fewest",
        "others": [{"name": "text: another self-test", "found": "int: escapes that it finds"}],
    },
)


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
        "false_report": graded.false_report,
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
        "smallest_alone": list(grade.alone),
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


NO_END: Final = ("loop", *LIMITS)
_HEADS: Final = ("faults", "found", "%", "reported", "hangs", "otherwise", "escape")


def write_grade(
    board: Board, campaign: Campaign, grade: Grade, others: Sequence[tuple[str, int]], writer: Writer
) -> None:
    """Write a grade as text."""
    writer.labelled("machine", board.machine.name)
    text = f"{len(campaign.universe):,} in {grade.groups:,} groups that behave alike; {campaign.runs:,} runs"
    writer.labelled("faults", text)
    writer.heading("Programs")
    shown = [*grade.programs, grade.union] if len(grade.programs) > 1 else grade.programs
    rows = [(p.name, *_counts(p.tally)[1:-1], _takes(p)) for p in shown]
    writer.table(("program", *_HEADS[1:-1], "takes"), rows)
    writer.paragraph(_WORDS)
    for program in grade.programs:
        _write_doubts(program, writer)
    writer.heading("By kind of fault")
    writer.table(("kind", *_HEADS), [(name, *_counts(tally)) for name, tally in grade.union.by_kind])
    writer.heading("By site")
    writer.table(("sites", *_HEADS), [(name, *_counts(tally)) for name, tally in grade.union.by_site])
    _write_escapes(board, campaign, grade.union.escapes, writer)
    _write_sets(grade, others, writer)


def _takes(graded: ProgramGrade) -> str:
    return "no end" if graded.stop in NO_END else duration(graded.time_ns)


def _write_doubts(program: ProgramGrade, writer: Writer) -> None:
    """Say what of a program on a healthy machine makes its figures worth less."""
    if program.stop == "loop":
        writer.warning(
            f"{program.name} goes round for ever on a healthy machine; so no fault counts as a hang."
        )
    elif program.stop in LIMITS:
        watched = f"for {program.steps:,} instructions (limit of {program.stop})"
        writer.warning(f"{program.name} did not come to an end of its own while watched, {watched}.")
    if program.false_report:
        text = "prints a failure report on a healthy machine too; so no fault counts as reported."
        writer.warning(f"{program.name} {text}")


def _write_escapes(board: Board, campaign: Campaign, escapes: Sequence[Escapes], writer: Writer) -> None:
    if not escapes:
        writer.heading("Nothing escapes")
        return
    writer.heading("What escapes, and why")
    cut = False
    for found in escapes:
        writer.paragraph(f"{found.count:,} - {WHY[found.reason]}")
        examples = ", ".join(_fault(board, campaign, n) for n in found.examples)
        more = found.count - len(found.examples)
        writer.paragraph(f"{examples}{f' … and {more:,} more' if more else ''}", indent=4)
        cut = cut or more > 0
    if cut:
        writer.paragraph("--all-escapes names all of them.")


def _write_sets(grade: Grade, others: Sequence[tuple[str, int]], writer: Writer) -> None:
    if len(grade.programs) > 1:
        how = (
            "the fewest that find as much as all"
            if grade.exact
            else "found by taking what adds most; maybe not the fewest"
        )
        writer.heading("Enough")
        writer.paragraph(f"{', '.join(grade.smallest) or 'none'}: {how}.")
        rows = [(n, f"{count:,}") for n, count in zip(grade.smallest, grade.alone, strict=True)]
        if len(rows) > 1:
            writer.table(("program", "found by none of the others here"), rows)
    if others:
        writer.heading("Other self-tests that find some of the escapes")
        writer.table(("program", "finds"), [(name, f"{count:,}") for name, count in others])
