"""A plan that is never touched is told from a profile exactly as a close watch would tell it."""

import random

import pytest

from emu.engine.contract import RunRequest
from emu.engine.walker import Walker
from emu.load import load_machine
from faults.boards import load_board
from faults.cli.reading import read_inputs, read_program
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.universe import universe_of
from faults.untouched import watched_if_untouched
from faults.watch import watch

DUNLIN = load_machine("dunlin")
BOARD = load_board(DUNLIN)
TIDES = read_program(DUNLIN, "tides")
INPUTS = read_inputs(DUNLIN, "tides", None, ())


@pytest.fixture(scope="module")
def healthy():
    return Walker().run(RunRequest(DUNLIN, TIDES, None, INPUTS))


def check(fault, healthy):
    request = RunRequest(DUNLIN, TIDES, plan_of(BOARD, fault), INPUTS, max_steps=3_000)
    quick, close = watched_if_untouched(request, healthy, jit=False), watch(request, most_steps=3_000)
    assert (quick is not None) == (close.touched == 0)
    assert quick is None or quick == close
    return quick is not None


@pytest.mark.parametrize(
    ("text", "quiet"),
    [
        ("core/cell/0o7776/3:stuck-1", True),
        ("core/cell/0o0200/3:stuck-1", False),
        ("core/y/60:open", True),
        ("core/data/3:stuck-1", False),
        ("bus/address/11:stuck-1", False),
    ],
)
def test_some_faults(healthy, text, quiet):
    assert check(parse_fault(text, BOARD), healthy) is quiet


@pytest.mark.slow
def test_many_faults(healthy):
    faults = universe_of(BOARD).faults
    drawn = random.Random(5).sample(range(len(faults)), 60) + list(range(0, 800, 20))
    quiet = [check(faults[n], healthy) for n in drawn]
    assert 20 < sum(quiet) < len(quiet)
