"""Completion for bash, zsh and fish: commands, machines and programs."""

import pytest
from click.shell_completion import BashComplete

from faults.cli import corewright


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_the_script_of_a_shell(process, shell):
    done = process(env={"_COREWRIGHT_COMPLETE": f"{shell}_source"})
    # bash warns on standard error where the installed one is too old; the script is printed all the same
    assert b"_COREWRIGHT_COMPLETE" in done.stdout
    assert b"corewright" in done.stdout


@pytest.mark.parametrize(
    ("words", "expected", "unexpected"),
    [
        (["ma"], ["machines", "march", "match"], ["run"]),
        (["run", ""], ["dunlin", "fulmar", "sandpiper"], ["gates"]),
        (["machines", "f"], ["fulmar"], ["dunlin"]),
        (["run", "fulmar", "ga"], ["gates"], ["selftest-parity"]),
        (["pattern", "--machine", "du"], ["dunlin"], ["fulmar"]),
        (["run", "--po"], ["--power-up"], []),
    ],
)
def test_what_is_offered(words, expected, unexpected):
    *before, incomplete = words
    completion = BashComplete(corewright, {}, "corewright", "_COREWRIGHT_COMPLETE")
    offered = {item.value for item in completion.get_completions(before, incomplete)}
    assert set(expected) <= offered
    assert not set(unexpected) & offered


def test_a_shell_is_offered_machines(process):
    env = {"COMP_WORDS": "corewright machines f", "COMP_CWORD": "2", "_COREWRIGHT_COMPLETE": "bash_complete"}
    done = process(env=env)
    assert done.stdout == b"plain,fulmar\n"
    assert done.stderr == b""


def test_a_name_that_is_none_of_ours_is_completed_as_a_file():
    completion = BashComplete(corewright, {}, "corewright", "_COREWRIGHT_COMPLETE")
    items = completion.get_completions(["run"], "./")
    assert [(item.type, item.value) for item in items] == [("file", "./")]
