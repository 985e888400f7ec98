"""Turns exceptions into messages and exit codes."""

import json
import sys
import traceback

import click

from emu.errors import InputError
from faults.cli.diagnostics import ERRORS, problem_json
from faults.cli.exits import Exit
from faults.cli.options import chosen_colour, use_colour
from faults.cli.writer import fitted

_RED = "1;31"


def report_failure(problem: Exception, arguments: list[str]) -> int:
    """Print what went wrong on stderr and return the exit code."""
    if isinstance(problem, InputError):
        if "--json" in arguments:
            click.echo(json.dumps(errors_json(problem)), err=True)
        else:
            click.echo(_rendered(problem, arguments), err=True, color=True)
        return Exit.BAD_INPUT
    if isinstance(problem, OSError):
        name = problem.filename or "file"
        click.echo(fitted(f"{name}: error: {problem.strerror or problem}", sys.stderr), err=True)
        return Exit.BAD_INPUT
    if "--debug" in arguments:
        traceback.print_exception(problem, file=sys.stderr)
    else:
        what = f"{type(problem).__name__}: {problem}"
        message = f"corewright: this is a mistake of ours ({what}); --debug shows where"
        click.echo(fitted(message, sys.stderr), err=True)
    return Exit.OWN_BUG


def _rendered(problem: InputError, arguments: list[str]) -> str:
    """Return every problem as harmless text; the word "error" is red where colour is wanted."""
    text = fitted(problem.render(), sys.stderr)
    if not use_colour(chosen_colour(arguments), sys.stderr):
        return text
    return text.replace(": error: ", f": \x1b[{_RED}merror\x1b[0m: ")


def errors_json(problem: InputError) -> dict[str, object]:
    """Return the problems as one object, schema ``errors/1``; lines and columns count from 1."""
    listed = [problem_json(p) for p in problem.problems]
    return {"schema": ERRORS.name, "errors": listed, "dropped": problem.dropped}
