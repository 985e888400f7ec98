"""A machine with a fault, as the command line names it: options, and what they lead to."""

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click
from attrs import frozen

from emu.load import load_machine
from emu.memory import MemoryPlan
from emu.spec import MachineSpec
from faults.accountreport import Heading
from faults.boards import Board, load_board
from faults.cli.info import own_version
from faults.cli.options import use_colour, write_output
from faults.cli.parameters import complete_fault
from faults.cli.writer import Writer
from faults.describe import Described, describe
from faults.fault import Fault
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault
from faults.report import Report, can_draw, to_html, to_terminal

F = TypeVar("F", bound=Callable[..., Any])
PAGE_ENDINGS = (".html", ".htm")


def fault_option(*, required: bool) -> Callable[[F], F]:
    """Add ``--fault``; the parameter is called ``faults``."""
    return click.option(
        "--fault", "faults", multiple=True, required=required, metavar="FAULT", shell_complete=complete_fault,
        help="What is broken, such as rope/address/10:stuck-0; repeated: all of it at once.",
    )  # fmt: skip


def board_option(function: F) -> F:
    """Add ``--board``."""
    return click.option(
        "--board", metavar="PATH",
        help="Board file; else NAME.board.toml beside the machine file, or the shipped one.",
    )(function)  # fmt: skip


def when_option(function: F) -> F:
    """Add ``--when``; the parameter is called ``conditions``."""
    return click.option(
        "--when", "conditions", multiple=True, metavar="NAME",
        help="A condition that holds, such as warm; repeatable.",
    )(function)  # fmt: skip


def load_options(function: F) -> F:
    """Add what the ports are offered and how long a run is watched, as in ``corewright run``."""
    function = click.option(
        "--max-steps", type=click.IntRange(1), default=1_000_000, show_default=True,
        help="Stop before more instructions than this.",
    )(function)  # fmt: skip
    function = click.option(
        "--inputs", metavar="PATH", help="Inputs file; else NAME.inputs beside the program, if any."
    )(function)
    return click.option(
        "--input", "given", multiple=True, metavar="PORT=W,W", help="What a port offers, word by word."
    )(function)


@frozen(eq=False)
class Faulted:
    """A machine, its board, and a fault with its plan and its description."""

    board: Board
    fault: Fault
    text: str
    plan: MemoryPlan
    described: Described

    @property
    def machine(self) -> MachineSpec:
        """The machine."""
        return self.board.machine

    def heading(self, program: str) -> Heading:
        """Return what a report says of its making."""
        return heading(program, self.described.labels, self.described.cautions)


def the_board(machine: str, board: str | None) -> Board:
    """Return the board of a machine given by name or path. Raises InputError."""
    spec = load_machine(machine)
    beside = machine if Path(machine).suffix else None
    return load_board(spec, board or beside)


def the_fault(machine: str, board: str | None, faults: tuple[str, ...]) -> Faulted:
    """Return the machine with these faults at once. Raises InputError."""
    found = the_board(machine, board)
    fault = parse_fault(" & ".join(faults), found)
    return Faulted(found, fault, fault_text(fault, found), plan_of(found, fault), describe(found, fault))


def holding(conditions: tuple[str, ...], plan: MemoryPlan) -> frozenset[str]:
    """Return the conditions that hold.

    Raises ``click.UsageError`` for one that the fault does not ask about although it asks about others:
    a slip of the pen would else be an answer about another day.
    """
    asked = {g.name for group in plan.gates for g in group if g.kind == "condition"}
    for name in conditions:
        if asked and name not in asked:
            raise click.UsageError(f"the fault asks about {', '.join(sorted(asked))}; got --when {name!r}")
    return frozenset(conditions)


def heading(
    program: str, labels: tuple[tuple[str, str], ...] = (), cautions: tuple[str, ...] = ()
) -> Heading:
    """Return what a report of this call says of its making."""
    context = click.get_current_context()
    words = [_quoted(word) for word in sys.argv[1:]]
    command = " ".join(["corewright", *words]) if context.info_name in words else context.command_path
    return Heading(Path(program).name, labels, cautions, command, (("corewright", own_version()),))


def _quoted(word: str) -> str:
    return f"'{word}'" if any(c in " &'\"$*" for c in word) else word


def write_report(report: Report, output: str, *, force: bool, color: str) -> None:
    """Write a report: a page where the name ends in .html, else text; ``-`` is the terminal."""
    if output.lower().endswith(PAGE_ENDINGS):
        write_output(output, to_html(report), force=force)
        return
    writer = Writer(use_colour(color))
    if output == "-":
        unicode = can_draw(sys.stdout.encoding)
        text = to_terminal(report, width=writer.width, colour=writer.colour, unicode=unicode)
        click.echo(text, nl=False, color=writer.colour)
        return
    write_output(output, to_terminal(report, width=writer.width), force=force)
