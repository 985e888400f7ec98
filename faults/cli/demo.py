"""``corewright demo``."""

import time
from pathlib import Path

import click

from emu.shipped import programs_folder
from faults.case.show import case_text
from faults.casereport import case_report
from faults.cli.diagnosing import diagnosed, extras_of
from faults.cli.exits import Exit
from faults.cli.options import color_option, quiet_option, use_colour, write_output
from faults.cli.writer import Writer
from faults.measurements import next_step
from faults.report import Report, percent, to_html

PAGE = "corewright-demo.html"
CASE = Path("ravensholm") / "evening" / "case.toml"
_EVENTS = 6


@click.command(epilog="Example: corewright demo")
@click.option(
    "-o",
    "--output",
    type=click.Path(),
    default=PAGE,
    show_default=True,
    help="Where to write the report, as a page.",
)
@click.option("--force", is_flag=True, help="Overwrite the output file.")
@quiet_option
@color_option
def command(output: str, force: bool, quiet: bool, color: str) -> int:
    """Run the main job in one minute on the Ravensholm scenario.

    The volunteers of the invented Ravensholm barrier wrote down what their machine fulmar did one evening.
    From that case file: which fault it is, what looks the same, what to measure, how it comes about; and the
    whole report as one page that needs no network.
    """
    if Path(output).exists() and not force:
        raise click.UsageError(f"{output} exists; --force overwrites it")
    began = time.monotonic()
    case = programs_folder() / CASE
    found = diagnosed(str(case), quiet=quiet)
    report = case_report(found, next_step(found), extras_of(found))
    write_output(output, to_html(report), force=force)
    writer = Writer(use_colour(color))
    writer.heading("What the volunteers wrote down")
    for line in case_text(found.case).splitlines():
        writer.paragraph(line) if line.strip() else writer.line()
    _answer(report, writer)
    _story(report, writer)
    writer.heading("The whole report")
    writer.line(f"{output}: opens in any browser, without network ({time.monotonic() - began:.0f} s)")
    writer.heading("Type next")
    writer.line(f"corewright next {case}")
    writer.line("corewright separate rope/address/12:open rope/address/12:stuck-1 --for fulmar")
    writer.line("corewright case new my-case.toml fulmar")
    return Exit.DONE


def _answer(report: Report, writer: Writer) -> None:
    writer.heading("What it is")
    if report.answer is not None:
        writer.paragraph(report.answer.sentence)
    if report.confidence is not None:
        writer.paragraph(f"Confidence {percent(report.confidence.permille)}, {report.confidence.words}.")
    if report.groups:
        writer.paragraph("Everything that looks the same so far:")
        for member in report.groups[0].members:
            writer.bullet(f"{member.fault}  {member.label}")
    if report.steps:
        step = report.steps[0]
        writer.heading("What to measure next")
        power = "power on" if step.powered else "power OFF and unplugged"
        writer.paragraph(f"{step.action} ({step.minutes} min, {power})")
        for outcome in step.outcomes:
            writer.bullet(f"{outcome.seen}: {outcome.leaves}")
        writer.warning(f"CAUTION: {step.caution}")


def _story(report: Report, writer: Writer) -> None:
    writer.heading("How it comes about")
    for number, event in enumerate(report.story[:_EVENTS], 1):
        writer.paragraph(f"{number}. {event.sentence}")
