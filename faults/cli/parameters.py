"""Arguments that mean the same in every command, and how a shell completes them.

What was typed stays text here; a machine or a program is loaded when the command runs, so that completing a
word costs no more than asking for help.
"""

from collections.abc import Callable, Iterable
from typing import Any, TypeVar

import click
from click.shell_completion import CompletionItem

from emu.shipped import machine_names, program_names

F = TypeVar("F", bound=Callable[..., Any])


def address(text: str) -> int:
    """Return a whole number from 0, in any base that Python writes: 15, 0o17, 0xF (a click type)."""
    try:
        number = int(text, 0)
    except ValueError:
        number = -1
    if number < 0:
        raise click.BadParameter(
            f"an address is a whole number from 0, such as 15, 0o17 or 0xF; got {text!r}"
        )
    return number


def _offered(names: Iterable[str], incomplete: str) -> list[CompletionItem]:
    """Return the names that begin so; where there is none, files."""
    items = [CompletionItem(name) for name in names if name.startswith(incomplete)]
    return items or [CompletionItem(incomplete, type="file")]


def complete_machine(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the shipped machines, else files."""
    del ctx, param
    return _offered(machine_names(), incomplete)


def complete_program(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the programs of the machine named before, else files."""
    del param
    return _offered(program_names(str(ctx.params.get("machine") or "")), incomplete)


def complete_store(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the stores of the machine named before."""
    del param
    from emu.load import load_machine  # noqa: PLC0415 - only for completion

    name = ctx.params.get("machine")
    stores = load_machine(str(name)).stores if name else ()
    return [CompletionItem(store.name) for store in stores if store.name.startswith(incomplete)]


def complete_fault(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer what may come next in a fault of the machine named before: a part of a site, or a kind.

    Sites are offered part by part, since a machine has many thousands of them.
    """
    del param
    from faults.cli.faultwords import next_words  # noqa: PLC0415 - only for completion

    name = ctx.params.get("machine")
    words = next_words(str(name), incomplete) if name else ()
    return [CompletionItem(word) for word in words]


def machine_argument(function: F) -> F:
    """Add MACHINE, a shipped name or a path; the parameter is called ``machine``."""
    return click.argument("machine", shell_complete=complete_machine)(function)


def program_argument(function: F) -> F:
    """Add PROGRAM, a shipped name, a path or ``-``; the parameter is called ``program``."""
    return click.argument("program", shell_complete=complete_program)(function)


def machine_option(function: F) -> F:
    """Add ``--machine``, for commands that can do without one; the parameter is called ``machine``."""
    return click.option(
        "--machine", "--for", "machine", shell_complete=complete_machine, metavar="MACHINE",
        help="The machine meant: a shipped name or the path of a machine file.",
    )(function)  # fmt: skip


def store_option(function: F) -> F:
    """Add ``--store``; the parameter is called ``store``."""
    return click.option(
        "--store", metavar="NAME", shell_complete=complete_store,
        help="The store meant, where the machine has several.",
    )(function)  # fmt: skip
