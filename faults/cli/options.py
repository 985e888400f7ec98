"""Options that mean the same in every command."""

import json
import os
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, TextIO, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])


def json_option(function: F) -> F:
    """Add ``--json``: print one object with a versioned schema instead of text."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")(
        function
    )


def seed_option(function: F) -> F:
    """Add ``--seed``."""
    return click.option(
        "--seed", type=click.IntRange(0, (1 << 63) - 1), default=0, show_default=True,
        help="What chance is drawn from; the same seed gives the same result.",
    )(function)  # fmt: skip


def output_option(function: F) -> F:
    """Add ``-o``/``--output`` and ``--force``."""
    function = click.option("--force", is_flag=True, help="Overwrite the output file.")(function)
    return click.option(
        "-o", "--output", type=click.Path(allow_dash=True), default="-", show_default=True,
        help="Where to write the result; - is standard output.",
    )(function)  # fmt: skip


def quiet_option(function: F) -> F:
    """Add ``-q``/``--quiet``: no progress, no notices on stderr."""
    return click.option("-q", "--quiet", is_flag=True, help="No progress and no notices.")(function)


def color_option(function: F) -> F:
    """Add ``--color auto|always|never``."""
    return click.option(
        "--color", type=click.Choice(["auto", "always", "never"]), default="auto", show_default=True,
        help="Colour of the text; auto looks at NO_COLOR, FORCE_COLOR and the terminal.",
    )(function)  # fmt: skip


def use_colour(choice: str, stream: TextIO | None = None) -> bool:
    """Return whether to write colour: the option, then NO_COLOR, then FORCE_COLOR, then the terminal.

    ``stream`` is the one written to, by default standard output.
    """
    if choice != "auto":
        return choice == "always"
    if os.environ.get("NO_COLOR"):
        return False
    if os.environ.get("FORCE_COLOR", os.environ.get("CLICOLOR_FORCE", "0")) not in ("", "0"):
        return True
    return (stream or sys.stdout).isatty() and os.environ.get("TERM") != "dumb"


def chosen_colour(arguments: Sequence[str]) -> str:
    """Return what ``--color`` says in arguments that may not have been parsed, ``auto`` by default."""
    chosen = "auto"
    for before, text in pairwise(["", *arguments]):
        if before == "--color" and text in {"auto", "always", "never"}:
            chosen = text
        elif text.startswith("--color="):
            chosen = text.partition("=")[2]
    return chosen


def print_json(schema: str, content: Mapping[str, object], output: str = "-", *, force: bool = False) -> None:
    """Print one object, ``schema`` first, keys in the order given; to a file where one was named."""
    write_output(output, json.dumps({"schema": schema, **content}, indent=2) + "\n", force=force)


def write_output(path: str, content: str | bytes, *, force: bool) -> None:
    """Write a result to standard output (``-``) or, whole or not at all, to a file.

    Raises ``click.UsageError`` when the file exists and ``force`` is not given.
    """
    data = content.encode() if isinstance(content, str) else content
    if path == "-":
        if isinstance(content, str):
            click.echo(content, nl=False)
        else:
            sys.stdout.buffer.write(data)
        return
    target = Path(path)
    if target.exists() and not force:
        raise click.UsageError(f"{path} exists; --force overwrites it")
    if target.exists() and not target.is_file():
        target.write_bytes(data)  # a device or a pipe cannot be replaced
        return
    try:
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    except OSError as error:
        raise OSError(error.errno, error.strerror, path) from error
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(temporary).chmod(0o666 & ~_umask())
        Path(temporary).replace(target)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
