"""Stories: order, first wrong word, executed instruction, parting of ways, and what is seen at last."""

import pytest
from attrs import evolve

from emu.engine.contract import RunRequest
from emu.engine.walker import Walker
from emu.load import load_machine
from faults.boards import load_board
from faults.cli.reading import read_inputs, read_program
from faults.explain import tell
from faults.lower import plan_of
from faults.notation import parse_fault

FULMAR = load_machine("fulmar")
BOARD = load_board(FULMAR)
GATES = read_program(FULMAR, "gates")
INPUTS = read_inputs(FULMAR, "gates", None, ())


def story_of(text, steps=3_000, **more):
    plan = plan_of(BOARD, parse_fault(text, BOARD))
    request = RunRequest(FULMAR, GATES, plan, INPUTS, max_steps=steps, **more)
    return tell(request, Walker().run(request), Walker().run(evolve(request, plan=None)))


def test_a_stuck_address_line_from_the_wrong_word_to_the_wrong_print():
    story = story_of("rope/address/10:stuck-0")
    said = [b.sentence for b in story.beats]
    assert not story.silent
    assert "word 0o02000 of the rope (bank 1 at 0o4000)" in said[0]
    assert "cell of word 0o00000 of the rope answers instead" in said[0]
    assert "parity of this word is right" in said[0]
    assert "`set 0o0` instead of `load 0o1`" in said[0]
    assert "goes on at 0o4002 instead of 0o4003" in said[1]
    assert said[-1].startswith("In the end the machine")


def test_a_spurious_bit_ends_in_restarts():
    said = [b.sentence for b in story_of("rope/sense/3:stuck-1").beats]
    assert "bit 3 is 1 instead of 0" in said[0]
    assert "The parity is wrong: alarm parity." in said[0]
    assert any("alarm parity restarts the machine" in s for s in said)
    assert "restarts again and again" in said[-1]


def test_an_open_line_is_answered_by_no_cell():
    said = story_of("rope/strand/0:dead").beats[0].sentence
    assert "No cell answers." in said
    assert "parity is wrong" in said


def test_several_cells_answer_together():
    said = story_of("rope/strand/3:always-on").beats[0].sentence
    assert "answer together" in said


def test_the_address_bus_leads_elsewhere():
    said = story_of("bus/address/5:stuck-1").beats[0].sentence
    assert "Over the address bus comes another address" in said


def test_a_spoilt_cell_is_told_as_such():
    said = story_of("core/rewrite:dead").beats[0].sentence
    assert "held something wrong already" in said


@pytest.mark.parametrize(
    "text",
    ["rope/address/10:stuck-0", "core/address/0:stuck-0", "core/inhibit/16:open", "bus/address/2:open"],
)
def test_beats_are_in_order_of_time_and_access(text):
    beats = story_of(text).beats
    assert [b.time_ns for b in beats] == sorted(b.time_ns for b in beats)
    accesses = [b.access for b in beats if b.access >= 0]
    assert accesses == sorted(accesses)


def test_silence_is_told_with_its_reason():
    story = story_of("core/x/13:open")
    assert story.silent
    assert "never goes there" in story.beats[-1].sentence
