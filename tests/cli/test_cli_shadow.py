"""Shadows help and complete as the commands themselves do, and are as new as they."""

import json
import subprocess
import sys

import click
import pytest
from click.shell_completion import BashComplete

from faults.cli import corewright
from faults.cli.pages import declarations, present_commands
from faults.cli.shadow import FILE, declaration, made, shadow_of

NAMES = sorted(present_commands())


def shadow(name):
    return shadow_of(name, lambda: present_commands()[name])


def pairs(name):
    """The command and its shadow, and those of its sub-commands."""
    real, made = present_commands()[name], shadow(name)
    yield name, real, made
    if isinstance(real, click.Group):
        assert set(real.commands) == set(made.commands)
        yield from (
            (f"{name} {inner}", real.commands[inner], made.commands[inner]) for inner in real.commands
        )


def test_declarations_are_fresh():
    assert FILE.read_text(encoding="utf-8") == declarations(), "run `python -m faults.cli.pages`"


@pytest.mark.parametrize("width", [50, 100])
@pytest.mark.parametrize("name", NAMES)
def test_the_same_help(name, width):
    for path, real, stand_in in pairs(name):
        top = click.Context(corewright, info_name="corewright", help_option_names=["-h", "--help"])
        texts = [
            c.get_help(click.Context(c, top, info_name=path, terminal_width=width)) for c in (real, stand_in)
        ]
        assert texts[0] == texts[1]
        assert real.get_short_help_str() == stand_in.get_short_help_str()


def completions(command, words, incomplete):
    """What is offered, but for the option of help, which a command keeps from whoever called it before."""
    items = BashComplete(command, {}, "x", "_X").get_completions(words, incomplete)
    return {(i.type, i.value) for i in items} - {("plain", "-h"), ("plain", "--help")}


@pytest.mark.parametrize("name", NAMES)
def test_the_same_completion(name):
    for _, real, stand_in in pairs(name):
        for words in (
            [],
            ["fulmar"],
            ["--color"],
            ["--machine"],
            ["fulmar", "--store"],
            ["fulmar", "--fault"],
        ):
            for incomplete in ("", "-", "--f", "a", "ga", "ro"):
                found = [completions(c, words, incomplete) for c in (real, stand_in)]
                assert found[0] == found[1], (words, incomplete)


@pytest.mark.parametrize("name", ["run", NAMES[-1]])  # a process each is dear, and all go the same way
def test_help_of_a_command_imports_nothing_heavy(name):
    script = f"import sys; from faults.cli import exit_code_of; exit_code_of(['{name}', '-h']); print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.startswith(f"Usage: corewright {name}")
    assert not set(done.stderr.split()) & {
        "numpy",
        "numba",
        "emu.spec",
        "emu.load",
        "tomllib",
        "faults.report",
    }


def test_a_help_option_that_is_a_value_goes_to_the_command_itself(cli):
    told = cli("run", "fulmar", "gates", "--inputs", "-h")
    assert told.code == 3
    assert "-h" in told.err
    assert "Usage" not in told.out


def test_a_command_that_was_not_declared_has_no_shadow():
    assert shadow_of("no-such-command", lambda: corewright) is None


@click.group("outer", epilog="Example: corewright outer inner")
def outer():
    """Have every sort of parameter."""


@outer.command("inner", epilog="Example: corewright outer inner x")
@click.argument("one")
@click.argument("many", nargs=-1)
@click.option("--on/--off", default=True, help="A switch.")
@click.option("-v", "--verbose", is_flag=True, help="A flag.")
@click.option("--pick", type=click.Choice(["a", "b"]), default="a", show_default=True, help="A choice.")
@click.option("--share", type=click.FloatRange(0, 1), default=0.5, show_default=True, help="A share.")
@click.option("--count", type=int, required=True, help="A number.")
@click.option("--path", "-p", "where", type=click.Path(), multiple=True, help="Paths.")
@click.option("--secret", hidden=True, help="Not shown.")
def inner(**options):
    """Take them."""
    return options


def test_every_sort_of_parameter():
    made_outer = made(json.loads(json.dumps(declaration(outer))), lambda: outer)
    for real, shadowed in ((outer, made_outer), (inner, made_outer.commands["inner"])):
        texts = [c.get_help(click.Context(c, info_name="x", terminal_width=90)) for c in (real, shadowed)]
        assert texts[0] == texts[1]
        assert completions(real, [], "-") == completions(shadowed, [], "-")
    given = ["inner", "1", "2", "3", "--off", "--count", "4", "-p", "x", "-p", "y"]
    assert made_outer.main(list(given), standalone_mode=False) == outer.main(
        list(given), standalone_mode=False
    )
