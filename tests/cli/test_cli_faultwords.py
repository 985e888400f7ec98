"""What completion offers of a fault leads to faults, and to nothing else."""

from hypothesis import given, settings
from hypothesis import strategies as st

from emu.load import load_machine
from faults.boards import load_board
from faults.cli.faultwords import MOST_OFFERED, next_words
from faults.notation import fault_text, parse_fault

BOARD = load_board(load_machine("fulmar"))


@settings(max_examples=25)
@given(st.data())
def test_following_what_is_offered_leads_to_a_fault(data):
    text = ""
    while ":" not in text or text.endswith(":"):
        offered = next_words("fulmar", text)
        assert 0 < len(offered) <= MOST_OFFERED
        assert all(word.startswith(text) and len(word) > len(text) for word in offered)
        text = data.draw(st.sampled_from(offered))
    assert fault_text(parse_fault(text, BOARD), BOARD) == text


def test_part_by_part():
    assert next_words("fulmar", "ro") == ("rope/",)
    assert set(next_words("fulmar", "rope/address/1")) >= {"rope/address/1:", "rope/address/10:"}
    assert "rope/address/10:stuck-0" in next_words("fulmar", "rope/address/10:stu")
    assert "core/x/1:open & rope/" in next_words("fulmar", "core/x/1:open & r")
    assert any("shorted" in word for word in next_words("fulmar", "rope/sense/3+4:"))


def test_nothing_is_offered_where_nothing_fits():
    for text in ("attic/", "rope/address/99:", "rope/address/1/2/3", "rope/address/1:zzz"):
        assert next_words("fulmar", text) == ()
    assert next_words("no-such-machine", "r") == ()
