"""Picks the engine of a run and says on standard error which one it is."""

from collections.abc import Callable
from typing import Any, Final, TypeVar, get_args

import click
from attrs import evolve

from emu.engine.choose import Wish
from emu.engine.choose import choose_engine as choose
from emu.engine.contract import Engine, RunRequest, RunResult
from emu.engine.walker import Walker
from faults.cli.writer import notice

F = TypeVar("F", bound=Callable[..., Any])
FIRST_STEPS: Final = 30_000  # what the walker does in less time than the compiled engine takes to get ready


def engine_option(function: F) -> F:
    """Add ``--engine``; the parameter is called ``wish``."""
    return click.option(
        "--engine", "wish", type=click.Choice(get_args(Wish)), default="auto", show_default=True,
        help="What runs the machine; engines agree in everything but speed.",
    )(function)  # fmt: skip


def choose_engine(request: RunRequest, *, quiet: bool, wish: Wish = "auto") -> Engine:
    """Return the engine for a request; says which, and what is missing."""
    choice = choose(request, wish)
    if choice.notice:
        notice(choice.notice, quiet=quiet)
    notice(f"engine: {choice.engine.name} ({choice.why})", quiet=quiet)
    return choice.engine


def run_request(request: RunRequest, *, quiet: bool, wish: Wish = "auto") -> tuple[RunResult, str]:
    """Return what a single run did, and the name of the engine that ran it.

    Few programs use up their budget of instructions, so the walker begins; if it comes to no end soon, the
    run is done anew by the engine that its budget asks for.
    """
    if wish == "auto" and request.max_steps > FIRST_STEPS:
        result = Walker().run(evolve(request, max_steps=FIRST_STEPS))
        if result.stop.kind != "steps":
            notice(f"engine: {Walker.name} (a short run)", quiet=quiet)
            return result, Walker.name
    engine = choose_engine(request, quiet=quiet, wish=wish)
    return engine.run(request), engine.name
