"""Turns exceptions into messages and exit codes."""

import json
import sys
import traceback

import click

from emu.errors import InputError, Problem
from faults.cli.exits import Exit


def report_failure(problem: Exception, arguments: list[str]) -> int:
    """Print what went wrong on stderr and return the exit code."""
    if isinstance(problem, InputError):
        if "--json" in arguments:
            click.echo(json.dumps(errors_json(problem)), err=True)
        else:
            click.echo(problem.render(), err=True)
        return Exit.BAD_INPUT
    if isinstance(problem, OSError):
        name = problem.filename or "file"
        click.echo(f"{name}: error: {problem.strerror or problem}", err=True)
        return Exit.BAD_INPUT
    if "--debug" in arguments:
        traceback.print_exception(problem, file=sys.stderr)
    else:
        what = f"{type(problem).__name__}: {problem}"
        click.echo(f"corewright: this is a mistake of ours ({what}); --debug shows where", err=True)
    return Exit.OWN_BUG


def errors_json(problem: InputError) -> dict[str, object]:
    """Return the problems as one object, schema ``errors/1``; lines and columns count from 1."""
    return {"schema": "errors/1", "errors": [_one(p) for p in problem.problems]}


def _one(p: Problem) -> dict[str, object]:
    return {
        "code": p.code.slug,
        "severity": p.severity,
        "message": p.message,
        "file": p.place.file,
        "line": p.place.line,
        "column": p.place.column,
        "length": p.place.length,
        "hint": p.hint,
    }
