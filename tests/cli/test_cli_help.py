"""Every command's help, and options that mean one thing everywhere."""

import subprocess
import sys
from importlib import import_module
from pkgutil import iter_modules

import click
import pytest

import faults.cli
from faults.cli import COMMANDS, MEANT, corewright
from faults.cli.pages import present_commands

# What a short option or a name may mean, whatever the command: its parameter and whether it takes a value.
ONE_MEANING = {
    "--json": ("as_json", False), "-q": ("quiet", False), "--quiet": ("quiet", False), "--color": ("color", True),
    "-o": ("output", True), "--output": ("output", True), "--force": ("force", False), "--seed": ("seed", True),
}  # fmt: skip
# These write a file, or tell a story; there is nothing that a script could take from them.
WITHOUT_A_RESULT = {"demo", "case new", "case add"}


def every_command():
    """Every command that is there, sub-commands too, as (path, command)."""

    def below(path, command):
        yield path, command
        if isinstance(command, click.Group):
            for name, inner in command.commands.items():
                yield from below(f"{path} {name}", inner)

    for name, command in present_commands().items():
        yield from below(name, command)


EVERY = list(every_command())
IDS = [path for path, _ in EVERY]


def test_every_command_of_the_table_has_its_module_and_every_module_with_a_command_its_line():
    named = [module for module, _ in COMMANDS.values()]
    inside = [import_module(f"faults.cli.{found.name}") for found in iter_modules(faults.cli.__path__)]
    commands = [m.__name__ for m in inside if isinstance(getattr(m, "command", None), click.Command)]
    assert sorted(named) == sorted(commands)
    assert list(present_commands()) == list(COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_table_of_commands_says_what_the_commands_say(name):
    command = present_commands()[name]
    assert command.get_short_help_str(limit=200) == COMMANDS[name][1]


@pytest.mark.parametrize(("path", "command"), EVERY, ids=IDS)
def test_help_begins_with_the_purpose_and_has_an_example(path, command):
    first = (command.help or "").strip().split("\n")[0]
    assert first.endswith(".")
    assert first[0].isupper()
    if not isinstance(command, click.Group):
        assert command.epilog is not None
        assert f"corewright {path}" in command.epilog


@pytest.mark.parametrize(("path", "command"), EVERY, ids=IDS)
def test_every_option_has_a_help(path, command):
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, f"{path} {option.opts}"
            assert option.help.endswith((".", ")")), f"{path} {option.opts}: {option.help}"


@pytest.mark.parametrize(("path", "command"), EVERY, ids=IDS)
def test_every_command_has_the_standard_options(path, command):
    if not isinstance(command, click.Group):
        names = {name for option in command.params for name in option.opts}
        assert {"-q", "--quiet", "--color"} <= names
        assert ("--json" in names) == (path not in WITHOUT_A_RESULT)


def test_an_option_means_one_thing_everywhere():
    meanings = {}
    for path, command in EVERY:
        for option in command.params:
            if isinstance(option, click.Option):
                for name in option.opts:
                    kind = (option.name, not option.is_flag)
                    expected = ONE_MEANING.get(name, meanings.setdefault(name, (path, *kind))[-2:])
                    assert kind == expected, f"{name} of {path}"


def test_help_of_a_sub_command_with_the_short_option(cli):
    for option in ("-h", "--help"):
        told = cli("run", option)
        assert told.code == 0
        assert told.out.startswith("Usage: corewright run")


def test_help_imports_nothing_heavy():
    script = "import sys; from faults.cli import exit_code_of; exit_code_of(['--help']); print(*sorted(sys.modules), file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    loaded = set(done.stderr.split())
    assert "Commands:" in done.stdout
    assert not loaded & {
        "numpy",
        "attrs",
        "attr",
        "numba",
        "emu",
        "json",
        "tomllib",
        "distributed",
        "faults.report",
    }
    # all that help may import of ours
    assert {m for m in loaded if m.startswith(("faults", "emu"))} == {
        "faults",
        "faults.cli",
        "faults.cli.exits",
    }


def test_an_unknown_command_is_told_with_the_nearest(cli):
    told = cli("machine")
    assert told.code == 2
    assert "Did you mean 'machines'?" in told.err


@pytest.mark.parametrize("word", MEANT)
def test_a_word_that_people_try_leads_to_the_command_that_does_it(cli, word):
    assert word not in COMMANDS
    first = MEANT[word].split()[0]
    assert first in COMMANDS or first == "--help"
    assert f"Did you mean '{MEANT[word]}'?" in cli(word).err
    told = cli(first, "--help")
    assert all(part in told.out for part in MEANT[word].split()[1:2])


def test_the_entry_point_is_this_group():
    assert corewright.name == "corewright"
