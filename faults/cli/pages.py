"""Reference pages made from the code: commands, error codes, ``--json`` schemas, machines.

``python -m faults.cli.pages`` writes them to ``docs/reference``, and what help and completion are made from
beside the commands; a test compares them with what is there.
"""

import json
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Final

import click

from emu.errors import Code, declared
from emu.load import load_machine
from emu.machinepage import machine_page
from emu.shipped import machine_names
from faults.cli import COMMANDS, corewright
from faults.cli.exits import Exit
from faults.cli.schemas import schema_page
from faults.cli.shadow import FILE, declaration

_ROOT: Final = Path(__file__).resolve().parents[2]
_DECLARES: Final = re.compile(r"^\w*[^\n]*\b(declare|declare_schema)\(", re.MULTILINE)
_CODES: Final = {
    Exit.DONE: "done; nothing wrong was found",
    Exit.NEGATIVE: "done, and the answer is negative: something differs or escapes, or no fault fits",
    Exit.USAGE: "the command line is wrong",
    Exit.BAD_INPUT: "an input file is bad",
    Exit.INCONCLUSIVE: "a limit was hit before there was an answer",
    Exit.OWN_BUG: "a mistake of ours; --debug shows where",
    Exit.INTERRUPTED: "stopped by Ctrl-C",
}
_KINDS: Final = {
    "machine": "a machine file", "machine-name": "a MACHINE", "program": "a program",
    "program-name": "a PROGRAM of fulmar", "image": "an image file", "inputs": "inputs of fulmar",
    "toml": "a TOML file", "file-name": "a file", "board": "a board file", "fault": "a fault",
    "case": "a case file", "march": "a march test",
}  # fmt: skip
_CLI_HEAD: Final = """\
# Commands

`corewright COMMAND` with `-h` or `--help` tells what it does. This page is made from the commands.

- The result goes to standard output, everything else to standard error; `-q` leaves out notices and progress.
- `-` stands for standard input or standard output. An output file is written whole or not at all, and
  an existing one only with `--force`.
- `--json` prints one object instead of text ([json.md](json.md)); bad input is then told as an object too.
- Colour: `--color` decides; else `NO_COLOR`, then `FORCE_COLOR`, then whether a terminal is there that can
  (`TERM=dumb` cannot). Nothing is told by colour alone. Where the terminal knows only ASCII, so do we.
- Tables fit the terminal, or `COLUMNS`.
- Completion of commands, machines and programs, once per shell:
  - bash: `eval "$(_COREWRIGHT_COMPLETE=bash_source corewright)"` in `~/.bashrc`
  - zsh: `eval "$(_COREWRIGHT_COMPLETE=zsh_source corewright)"` in `~/.zshrc`
  - fish: `_COREWRIGHT_COMPLETE=fish_source corewright | source` in
    `~/.config/fish/completions/corewright.fish`
"""


def import_declaring_modules() -> None:
    """Import every module of ``emu`` and ``faults`` that declares an error code or a schema, and no other."""
    for package in ("emu", "faults"):
        for path in sorted((_ROOT / package).rglob("*.py")):
            if _DECLARES.search(path.read_text(encoding="utf-8")):
                import_module(
                    ".".join(path.relative_to(_ROOT).with_suffix("").parts).removesuffix(".__init__")
                )


def present_commands() -> dict[str, click.Command]:
    """Return the commands by name, in the order of the table."""
    context = click.Context(corewright)
    found = {name: corewright.get_command(context, name) for name in COMMANDS}
    return {name: command for name, command in found.items() if command is not None}


def cli_page() -> str:
    """Return the page of the commands."""
    blocks = [_CLI_HEAD, *_exit_codes(), ""]
    top = click.Context(corewright, info_name="corewright", help_option_names=["-h", "--help"])
    for name, command in present_commands().items():
        blocks += _command(name, command, top, "##")
    return "\n".join(blocks).rstrip() + "\n"


def _exit_codes() -> Iterator[str]:
    yield "## Exit codes"
    yield ""
    yield "| code | meaning |"
    yield "|---:|---|"
    for code in Exit:
        yield f"| {int(code)} | {_CODES[code]} |"


def _command(name: str, command: click.Command, parent: click.Context, level: str) -> Iterator[str]:
    context = click.Context(command, parent, info_name=name, max_content_width=100, terminal_width=100)
    yield f"{level} {context.command_path.partition(' ')[2]}"
    yield ""
    yield "```"
    yield command.get_help(context).rstrip()
    yield "```"
    yield ""
    if isinstance(command, click.Group):
        for inner in command.list_commands(context):
            found = command.get_command(context, inner)
            if found is not None:
                yield from _command(inner, found, context, level + "#")


def errors_page() -> str:
    """Return the page of every error code, with its example."""
    import_declaring_modules()
    lines = [
        "# Error codes",
        "",
        "Every error of an input ends in its code in brackets. A code keeps its meaning. This page is made",
        "from the declarations in the code, and a test runs every example and finds its code.",
    ]
    for code in declared().values():
        lines += ["", *_code(code)]
    return "\n".join(lines) + "\n"


def _code(code: Code) -> Iterator[str]:
    yield f"## {code.slug}"
    yield ""
    yield f"{code.rule} {code.cure}"
    if code.example:
        yield ""
        yield f"Example ({_KINDS[code.example_kind]}):"
        yield ""
        fence = "````" if "```" in code.example else "```"
        yield fence
        yield _shortened(code.example)
        yield fence


def _shortened(example: str) -> str:
    """Return an example as it is shown: long lines and long tails cut, and said to be."""
    lines = [
        line if len(line) <= 100 else f"{line[:80]} … ({len(line):,} characters)"
        for line in example.split("\n")
    ]
    while lines and not lines[-1]:
        lines.pop()
    if len(lines) > 60:
        lines = [*lines[:40], f"… ({len(lines) - 40} more lines)"]
    return "\n".join(lines)


def _cut(line: str) -> str:
    return line if len(line) <= 100 else f"{line[:80]} … ({len(line):,} characters)"


def pages() -> dict[str, str]:
    """Return every generated page by its path below ``docs/reference``."""
    import_declaring_modules()
    found = {"cli.md": cli_page(), "errors.md": errors_page(), "json.md": schema_page()}
    for name in machine_names():
        found[f"machines/{name}.md"] = machine_page(load_machine(name))
    return found


def declarations() -> str:
    """Return what ``declared.json`` holds: the declaration of every command that is there."""
    found = {name: declaration(command) for name, command in present_commands().items()}
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


def main() -> None:
    """Write every page, and the declarations of the commands."""
    FILE.write_text(declarations(), encoding="utf-8")
    folder = _ROOT / "docs" / "reference"
    for name, text in pages().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
        click.echo(f"docs/reference/{name}")


if __name__ == "__main__":
    main()
