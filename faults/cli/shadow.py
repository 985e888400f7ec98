"""Help and completion without importing what a command needs to work.

``declared.json`` beside this file holds the declaration of every command (made by ``python -m
faults.cli.pages``, held to the commands by a test). A *shadow* is a command made from it: it prints the same
help and completes the same words, and hands everything else to the command itself.
"""

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import click

from faults.cli import parameters

FILE: Final = Path(__file__).with_name("declared.json")
_COMPLETERS: Final = ("complete_machine", "complete_program", "complete_store", "complete_fault")
Real = Callable[[], click.Command]


def declaration(command: click.Command) -> dict[str, Any]:
    """Return what a shadow of a command is made from, as plain JSON values."""
    found: dict[str, Any] = {
        "name": command.name,
        "help": command.help,
        "epilog": command.epilog,
        "params": [_parameter(p) for p in command.params],
    }
    if isinstance(command, click.Group):
        found["commands"] = {name: declaration(inner) for name, inner in command.commands.items()}
    return found


def _parameter(parameter: click.Parameter) -> dict[str, Any]:
    found = {
        "name": parameter.name, "opts": parameter.opts, "off": parameter.secondary_opts,
        "nargs": parameter.nargs,
        "required": parameter.required, "metavar": parameter.metavar, "type": _type(parameter.type),
        "complete": _completer(parameter),
    }  # fmt: skip
    if isinstance(parameter, click.Option):
        found |= {
            "help": parameter.help, "is_flag": parameter.is_flag, "multiple": parameter.multiple,
            "default": parameter.default if isinstance(parameter.default, str | int | float) else None,
            "show_default": parameter.show_default, "hidden": parameter.hidden,
        }  # fmt: skip
    return found


def _completer(parameter: click.Parameter) -> str | None:
    custom = getattr(parameter, "_custom_shell_complete", None)
    return next((name for name in _COMPLETERS if custom is getattr(parameters, name)), None)


def _type(kind: Any) -> list[Any]:
    if isinstance(kind, click.Choice):
        return ["choice", *(str(choice) for choice in kind.choices)]
    if isinstance(kind, click.IntRange | click.FloatRange):
        name = "int-range" if isinstance(kind, click.IntRange) else "float-range"
        return [name, kind.min, kind.max]
    return ["path" if isinstance(kind, click.Path) else str(kind.name)]


def _made_type(given: list[Any]) -> Any:
    kind, *rest = given
    if kind == "choice":
        return click.Choice(rest)
    if kind in {"int-range", "float-range"}:
        return (click.IntRange if kind == "int-range" else click.FloatRange)(*rest)
    plain = {"path": click.Path(), "integer": click.INT, "float": click.FLOAT, "boolean": click.BOOL}
    return plain.get(kind, click.STRING)


def _made_parameter(given: Mapping[str, Any]) -> click.Parameter:
    known: dict[str, Any] = {name: given[name] for name in ("nargs", "required", "metavar")}
    if given["complete"]:
        known["shell_complete"] = getattr(parameters, given["complete"])
    known["type"] = _made_type(given["type"])
    if "is_flag" not in given:
        return click.Argument([given["name"]], **known)
    known |= {name: given[name] for name in ("help", "multiple", "show_default", "hidden")}
    if given["is_flag"]:
        known |= {"is_flag": True, "default": given["default"]}
        del known["type"]
    elif given["default"] is not None:
        known["default"] = given["default"]
    ways = ["/".join(pair) for pair in zip(given["opts"], given["off"], strict=False)]
    return click.Option([given["name"], *(ways or given["opts"])], **known)


class Shadow(click.Command):
    """A command that only knows how it is called; ``real`` gives the command itself."""

    real: Real
    given: list[str]

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Keep the arguments for the command itself, should it be called after all."""
        self.given = list(args)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Call the command itself."""
        real = self.real()
        with real.make_context(ctx.info_name, self.given, parent=ctx.parent) as own:
            return real.invoke(own)


def made(given: Mapping[str, Any], real: Real) -> click.Command:
    """Return the shadow of a declared command; of a group, a group of shadows."""
    known: dict[str, Any] = {"help": given["help"], "epilog": given["epilog"]}
    known["params"] = [_made_parameter(p) for p in given["params"]]
    if "commands" in given:
        inner = {name: made(one, _inner(real, name)) for name, one in given["commands"].items()}
        return click.Group(given["name"], commands=inner, **known)
    shadow = Shadow(given["name"], **known)
    shadow.real = real
    return shadow


def _inner(real: Real, name: str) -> Real:
    def get() -> click.Command:
        group = real()
        assert isinstance(group, click.Group)
        return group.commands[name]

    return get


def shadow_of(name: str, real: Real) -> click.Command | None:
    """Return the shadow of a command by its name, or None if it was not declared when the file was made."""
    if not FILE.is_file():
        return None
    declared = json.loads(FILE.read_text(encoding="utf-8"))
    return made(declared[name], real) if name in declared else None
