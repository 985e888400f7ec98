"""``corewright next``."""

from collections.abc import Mapping
from typing import Any

import click

from faults.casereport import case_report
from faults.cli.diagnosing import diagnosed
from faults.cli.exits import Exit
from faults.cli.options import color_option, json_option, print_json, quiet_option, use_colour
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer
from faults.diagnose import Diagnosis
from faults.measurements import Next, next_step
from faults.nextstep import Scored
from faults.report import Report, Step, percent

SCHEMA = declare_schema(
    "next/1",
    "`corewright next CASE --json`: what to measure next.",
    {
        "machine": "text: name of the machine",
        "method": "text: exact, look-ahead, or nothing tells",
        "note": "text: how the step was chosen, and what was left out",
        "minutes": "number: bench minutes expected from here to the end",
        "bits_left": "number: entropy of the belief",
        "suspects": "int: suspects that the advice is about",
        "held": "number: share of belief that they hold",
        "steps": [
            {
                "name": "text: short",
                "action": "text: what to do",
                "minutes": "number: bench minutes",
                "powered": "bool: whether the power is on",
                "risk": "int: 0 none, 1 replaceable parts, 2 irreplaceable parts, 3 people",
                "caution": "text: what to heed",
                "bits": "number: information on average",
                "set_aside": "text: why it is not proposed, or empty",
                "outcomes": [
                    {
                        "seen": "text: what may be found",
                        "chance": "number: how likely that is",
                        "suspects": "int: suspects that it leaves",
                        "likeliest": "text: the likeliest fault then",
                        "share": "number: its share of belief then",
                    }
                ],
            }
        ],
    },
)
STEPS_SHOWN = 12


@click.command(epilog="Example: corewright next case.toml")
@click.argument("case", metavar="CASE")
@json_option
@quiet_option
@color_option
def command(case: str, as_json: bool, quiet: bool, color: str) -> int:
    """Say what to measure next.

    Of all that could be done with the tools of the case (programs to run, words and stores to read out, lines
    to ring out, signals to look at, cards to exchange) the step that leads to the answer in the fewest bench
    minutes; never a powered one where an unpowered one tells as much.

    Exit code: 0 if some step tells something, 1 if none does.
    """
    found = diagnosed(case, quiet=quiet)
    following = next_step(found)
    if as_json:
        print_json(SCHEMA.name, next_json(found, following))
    else:
        _write(found, following, Writer(use_colour(color)))
    return Exit.DONE if following.advice.best is not None else Exit.NEGATIVE


def next_json(found: Diagnosis, following: Next) -> Mapping[str, Any]:
    """Return what schema ``next/1`` holds."""
    advice = following.advice
    return {
        "machine": found.scene.machine.name,
        "method": advice.method,
        "note": "; ".join((advice.note, *following.left_out)),
        "minutes": advice.minutes,
        "bits_left": advice.bits_left,
        "suspects": len(following.shortlist.numbers),
        "held": following.shortlist.held,
        "steps": [_step_json(found, following, scored) for scored in advice.ranked],
    }


def _step_json(found: Diagnosis, following: Next, scored: Scored) -> Mapping[str, Any]:
    one = following.measurements[scored.measurement]
    return {
        "name": one.name,
        "action": one.action,
        "minutes": one.minutes,
        "powered": one.powered,
        "risk": one.risk,
        "caution": one.caution,
        "bits": scored.bits,
        "set_aside": scored.set_aside,
        "outcomes": [
            {
                "seen": left.outcome,
                "chance": left.chance,
                "suspects": left.hypotheses,
                "likeliest": found.ranking.hypotheses[int(following.shortlist.numbers[left.leader])].fault,
                "share": left.share,
            }
            for left in scored.outcomes
        ],
    }


def _write(found: Diagnosis, following: Next, writer: Writer) -> None:
    report = case_report(found, following)
    if report.answer is not None:
        writer.labelled("so far", report.answer.sentence)
    if report.confidence is not None:
        writer.labelled("confidence", f"{percent(report.confidence.permille)}, {report.confidence.words}")
    if following.advice.best is None:
        writer.heading("Nothing more to measure")
        writer.paragraph(f"{following.advice.note[0].upper()}{following.advice.note[1:]}.")
        return
    _steps(report, writer)
    _others(following, writer)
    writer.line()
    writer.paragraph(
        f"Expected from here: {following.advice.minutes:.0f} bench minutes. The "
        f"{len(following.shortlist.numbers)} likeliest suspects were looked at; they hold "
        f"{following.shortlist.held:.1%} of the belief."
    )
    for note in following.left_out:
        writer.paragraph(f"Left out: {note}.")


def _steps(report: Report, writer: Writer) -> None:
    first, *rest = report.steps
    writer.heading("Next")
    _step(first, writer)
    for number, step in enumerate(rest, 2):
        writer.heading(f"Or ({number})")
        _step(step, writer)


def _step(step: Step, writer: Writer) -> None:
    power = "power on" if step.powered else "power OFF and unplugged"
    writer.paragraph(f"{step.action} ({step.minutes} min, {power})")
    writer.paragraph(step.why, 2)
    for outcome in step.outcomes:
        chance = "" if outcome.permille is None else f" ({percent(outcome.permille)})"
        writer.bullet(f"{outcome.seen}{chance}: {outcome.leaves}")
    if step.caution:
        writer.warning(f"CAUTION: {step.caution}")


def _others(following: Next, writer: Writer) -> None:
    rest = [s for s in following.advice.ranked if s.set_aside][:STEPS_SHOWN]
    if rest:
        writer.heading("Not proposed")
    for scored in rest:
        writer.bullet(f"{following.measurements[scored.measurement].name}: {scored.set_aside}")
