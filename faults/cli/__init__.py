"""The command line: the only place that prints or exits.

Importing this package imports click and nothing heavy; a command's module is imported when it is called.
"""

import io
import os
import signal
import sys
from functools import partial
from importlib import import_module
from typing import Any

import click
from click.shell_completion import CompletionItem

from faults.cli.exits import Exit

# One line a command: name -> (module, short help). A test compares the help with the commands' own.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("faults.cli.demo", "Run the main job in one minute on the Ravensholm scenario."),
    "machines": ("faults.cli.machines", "List the machines, or describe one."),
    "faults": ("faults.cli.universe", "List the faults that a machine's memory can have."),
    "assemble": ("faults.cli.assemble", "Assemble a program."),
    "disassemble": ("faults.cli.disassemble", "Turn an image back into a program."),
    "run": ("faults.cli.run", "Run a program on a healthy machine."),
    "predict": ("faults.cli.predict", "Tell what a fault would look like."),
    "explain": ("faults.cli.explain", "Tell the story of a fault, access by access; or of an error code."),
    "dump": ("faults.cli.dump", "Show what a reader of a store would read."),
    "pattern": ("faults.cli.pattern", "Find the structure of a difference, without any machine."),
    "grade": ("faults.cli.grade", "Say what a self-test finds and what escapes it."),
    "march": ("faults.cli.march", "Coverage of a march test, or a program for it."),
    "case": ("faults.cli.case", "Keep what was seen in a case file."),
    "match": ("faults.cli.match", "Rank the faults that explain a case."),
    "next": ("faults.cli.next", "Say what to measure next."),
    "separate": ("faults.cli.separate", "Find a short program that tells two faults apart."),
    "info": ("faults.cli.info", "Show versions, formats, folders and what is installed."),
}

# Words that people try, and what does that job here.
MEANT: dict[str, str] = {
    "check": "case check",
    "compare": "pattern",
    "diagnose": "match",
    "diff": "pattern",
    "help": "--help",
    "inject": "predict",
    "report": "match --report FILE",
    "simulate": "run",
    "test": "grade",
}


class ReaderGoneError(Exception):
    """Whoever read our output has gone."""


class LazyCommands(click.Group):
    """A group that knows its commands by name and imports them when they are wanted."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order of a day's work."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command, or None if there is none of that name.

        Where only words are completed, its shadow does.
        """
        if cmd_name not in COMMANDS:
            return None
        return (_shadow(cmd_name) if ctx.resilient_parsing else None) or _real(cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the table of commands from their static short helps."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Offer the commands from the table, so that completing one imports none of them."""
        offered = [
            CompletionItem(n, help=text) for n, (_, text) in COMMANDS.items() if n.startswith(incomplete)
        ]
        return offered + click.Command.shell_complete(self, ctx, incomplete)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a closed pipe is told apart before click takes it for a failure."""
        try:
            outcome = super().invoke(ctx)
            sys.stdout.flush()
        except BrokenPipeError as gone:
            raise ReaderGoneError from gone
        return outcome

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Return the command named first, with the nearest name where there is none."""
        if args and args[0] not in COMMANDS:
            import difflib  # noqa: PLC0415 - only on a mistake

            close = difflib.get_close_matches(args[0], list(COMMANDS), n=1)
            meant = MEANT.get(args[0]) or (close[0] if close else "")  # `next` is a module of this package
            near = f" Did you mean {meant!r}?" if meant else ""
            raise click.UsageError(f"There is no command {args[0]!r}.{near}", ctx)
        if args and not {"-h", "--help"}.isdisjoint(args[1:]):
            return args[0], _shadow(args[0]) or _real(args[0]), args[1:]
        return super().resolve_command(ctx, args)


def _real(name: str) -> click.Command:
    command: click.Command = import_module(COMMANDS[name][0]).command
    return command


def _shadow(name: str) -> click.Command | None:
    """Return the stand-in of a command, which imports nothing heavy and can only help and complete."""
    from faults.cli.shadow import shadow_of  # noqa: PLC0415 - only for help and completion

    return shadow_of(name, partial(_real, name))


def _show_version(ctx: click.Context, _param: click.Parameter, value: bool) -> None:
    if value and not ctx.resilient_parsing:
        from faults.cli.info import version_line  # noqa: PLC0415 - keeps --help light

        click.echo(version_line())
        ctx.exit()


@click.group(
    cls=LazyCommands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Example: corewright demo",
)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version and the versions of the file formats.",
)
@click.option("--debug", is_flag=True, help="On an internal error, show the traceback.")
def corewright(debug: bool) -> None:
    """From lamps to the pin: emulate your machine, break its memory, and find what broke.

    MACHINE is the name of a shipped machine (`corewright machines`) or a path to a machine file.
    """
    del debug  # read from the arguments by main()


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with a documented code (``faults.cli.exits.Exit``)."""
    sys.exit(exit_code_of(arguments))


def exit_code_of(arguments: list[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    # not called run: the module of that command takes the name in this package once it is imported
    given = sys.argv[1:] if arguments is None else list(arguments)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    _open_closed()
    for stream in (sys.stdout, sys.stderr):
        # what a terminal cannot show must not stop us from saying the rest
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        outcome: Any = corewright.main(args=given, prog_name="corewright", standalone_mode=False)
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except (KeyboardInterrupt, click.Abort):
        click.echo("corewright: interrupted", err=True)
        return Exit.INTERRUPTED
    except click.ClickException as wrong:
        return _report_usage(wrong, given)
    except ReaderGoneError:
        # the reader of our output has gone: not our mistake, and nothing can be told to anybody
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return Exit.DONE
    except Exception as problem:  # noqa: BLE001 - the last line of defence, turned into an exit code
        from faults.cli.failures import report_failure  # noqa: PLC0415 - keeps --help light

        return report_failure(problem, given)
    return int(outcome) if isinstance(outcome, int) else Exit.DONE


def _open_closed() -> None:
    """Let what is written to a stream that was closed before we began go nowhere."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, io.TextIOWrapper(io.FileIO(os.devnull, "w"), "utf-8"))


def _report_usage(wrong: click.ClickException, given: list[str]) -> int:
    if "--json" in given:
        import json  # noqa: PLC0415 - only on a mistake

        problem = {"code": "usage", "severity": "error", "message": wrong.format_message(), "file": "",
                   "line": 0, "column": 0, "length": 0, "hint": ""}  # fmt: skip
        click.echo(json.dumps({"schema": "errors/1", "errors": [problem], "dropped": 0}), err=True)
    else:
        wrong.show()
    return Exit.USAGE
