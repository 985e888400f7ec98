"""``corewright case``: new, check, add, show."""

import re
from collections.abc import Mapping
from typing import Any

import click

from emu.errors import InputError, Problem
from emu.load import load_machine
from faults.case.load import Case, load_case
from faults.case.model import KINDS, kind_of
from faults.case.show import case_text, sentence
from faults.case.template import new_case
from faults.case.write import EntryValue, add, create
from faults.cli.diagnostics import problem_json
from faults.cli.exits import Exit
from faults.cli.options import color_option, json_option, print_json, quiet_option, use_colour
from faults.cli.parameters import complete_machine
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer, notice
from faults.predictions.casefiles import file_problems
from faults.predictions.scene import problems_of, scene_of

CHECK = declare_schema(
    "case-check/1",
    "`corewright case check CASE --json`: what is wrong with a case file.",
    {
        "entries": "int: entries of the case",
        "errors": "int: mistakes found",
        "problems": [
            {
                "code": "text: the error code",
                "severity": "text: error or warning",
                "message": "text: rule and what was given",
                "file": "text: the file",
                "line": "int: from 1",
                "column": "int: from 1",
                "length": "int: characters underlined",
                "hint": "text: the nearest right thing",
            }
        ],
    },
)
SHOW = declare_schema(
    "case-show/1",
    "`corewright case show CASE --json`: a case in words.",
    {
        "title": "text: what the case is about",
        "machine": "text: name or path of the machine",
        "entries": [
            {"kind": "text: kind of entry", "text": "text: what it says", "epoch": "int: mends before it"},
        ],
    },
)


@click.group(epilog="Example: corewright case new evening.toml fulmar")
def command() -> None:
    """Keep what was seen in a case file.

    A case is a text file with one entry for everything that was seen, that passed, was measured, swapped or
    mended, in the order in which it happened.
    """


@command.command(epilog="Example: corewright case new evening.toml fulmar --title 'fulmar does not come up'")
@click.argument("case", metavar="CASE")
@click.argument("machine", shell_complete=complete_machine)
@click.option("--title", default="", help="What the case is about, in one line.")
@quiet_option
@color_option
def new(case: str, machine: str, title: str, quiet: bool, color: str) -> int:
    """Begin a case: a file with an example of every kind of entry, to be copied."""
    load_machine(machine)
    create(case, new_case(machine, title))
    Writer(use_colour(color)).line(f"{case}: a new case of {machine}")
    notice(f"write down what you saw, then: corewright case check {case}", quiet=quiet)
    return Exit.DONE


@command.command(epilog="Example: corewright case check evening.toml")
@click.argument("case", metavar="CASE")
@json_option
@quiet_option
@color_option
def check(case: str, as_json: bool, quiet: bool, color: str) -> int:
    """Check a case: names, digits, files and their SHA-256.

    Exit code: 0 if nothing is wrong (warnings are allowed), 3 if something is.
    """
    found = load_case(case)
    problems = _everything(found)
    errors = [p for p in problems if p.severity == "error"]
    if as_json:
        listed = [problem_json(p) for p in problems]
        print_json(CHECK.name, {"entries": len(found.entries), "errors": len(errors), "problems": listed})
        return Exit.BAD_INPUT if errors else Exit.DONE
    if errors:
        raise InputError(problems)
    writer = Writer(use_colour(color))
    for problem in problems:
        hint = f" ({problem.hint})" if problem.hint else ""
        notice(f"{problem.place}: warning: {problem.message}{hint}", quiet=quiet)
    writer.line(f"{case}: {len(found.entries)} entries, nothing wrong")
    return Exit.DONE


@command.command(name="add", epilog="Example: corewright case add evening.toml passed program=gates runs=3")
@click.argument("case", metavar="CASE")
@click.argument("kind", type=click.Choice(list(KINDS)))
@click.argument("values", metavar="KEY=VALUE...", nargs=-1, required=True)
@quiet_option
@color_option
def add_entry(case: str, kind: str, values: tuple[str, ...], quiet: bool, color: str) -> int:
    """Append an entry; what is in the file stays as it is.

    KEY=VALUE as they stand in the file, such as program=gates count="at least 3". The SHA-256 of a file named
    is filled in.
    """
    made = add(case, kind, _values(values), accept=_refuse_last)
    Writer(use_colour(color)).line(f"{case}: entry {len(made.entries)}: {sentence(made.entries[-1])}")
    if any(p.severity == "error" for p in problems_of(scene_of(made))):
        notice(f"something else is wrong in it: corewright case check {case}", quiet=quiet)
    else:
        notice(f"next: corewright match {case}", quiet=quiet)
    return Exit.DONE


def _everything(found: Case) -> tuple[Problem, ...]:
    """Return what is wrong with a case and, where it fits its machine, with the files that it names."""
    scene = scene_of(found)
    problems = problems_of(scene)
    if any(p.severity == "error" for p in problems):
        return problems
    return problems + file_problems(scene)


def _refuse_last(made: Case) -> None:
    """Raise InputError if the last entry of a case has an error; what was there before is no reason."""
    begins, scene = made.place(made.entries[-1]).line, scene_of(made)
    told = [p for p in problems_of(scene) if p.place.line >= begins]
    if not any(p.severity == "error" for p in told):
        told += file_problems(scene, len(made.entries) - 1)
    errors = [p for p in told if p.severity == "error"]
    if errors:
        raise InputError(errors)


def _values(given: tuple[str, ...]) -> Mapping[str, EntryValue]:
    found: dict[str, EntryValue] = {}
    for text in given:
        name, equals, value = text.partition("=")
        if not equals or not name:
            raise click.UsageError(f"an entry is given as KEY=VALUE; got {text!r}")
        found[name.strip()] = _value(name.strip(), value)
    return found


_NUMBERS = {"runs", "failures", "repeat"}
_FRACTIONS = {"certainty", "ohms", "works"}
_TRUTHS = {"whole", "complete"}


def _value(name: str, text: str) -> EntryValue:
    """Return a value as the file wants it: a number where the key is one, else text."""
    if name in _NUMBERS and re.fullmatch(r"[+-]?\d{1,30}", text):
        return int(text)
    if name in _FRACTIONS and re.fullmatch(r"[+-]?(\d+(\.\d*)?([eE][+-]?\d+)?)", text):
        return float(text)
    if name in _TRUTHS and text in ("true", "false"):
        return text == "true"
    return text


@command.command(epilog="Example: corewright case show evening.toml")
@click.argument("case", metavar="CASE")
@json_option
@quiet_option
@color_option
def show(case: str, as_json: bool, quiet: bool, color: str) -> int:
    """Show a case in words."""
    del quiet
    found = load_case(case)
    if as_json:
        print_json(SHOW.name, _shown(found))
        return Exit.DONE
    writer = Writer(use_colour(color))
    for line in case_text(found).splitlines():
        writer.line(line)
    return Exit.DONE


def _shown(found: Case) -> Mapping[str, Any]:
    return {
        "title": found.table.title,
        "machine": found.table.machine,
        "entries": [
            {"kind": kind_of(e), "text": sentence(e), "epoch": epoch}
            for e, epoch in zip(found.entries, found.epochs, strict=True)
        ],
    }
