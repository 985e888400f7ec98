"""Warnings: each where it is certain, and silence in every doubtful case."""

import pytest

from emu.assemble import assemble
from emu.where import Source


def warned(machine, text):
    return assemble(Source("p.asm", text), machine).warnings


def slugs(machine, text):
    return [problem.code.slug for problem in warned(machine, text)]


def test_an_address_in_another_bank_of_the_same_window(tern):
    text = ".bank 1\n.at 0o4000\nhigh: return\n.bank 2\n.at 0o4000\n\tjump high + 0\n"
    (problem,) = warned(tern, text)
    assert problem.render() == (
        "p.asm:6:7: warning: 'high' lies in bank 0o1, and this line runs in bank 0o2 of the same window [asm-other-bank]\n"
        "    \tjump high + 0\n"
        "    \t     ^~~~~~~~\n"
        "    p.asm:3:1: note: defined here"
    )


@pytest.mark.parametrize(
    "text",
    [
        ".bank 1\n.at 0o4000\nhigh: return\nagain: jump high\n",  # the same bank
        ".bank 1\n.at 0o4000\nhigh: return\n.at 0o100\nfar-jump high\n",  # from a window without banks
        ".bank 1\n.at 0o4000\nlow: return\n.bank 2\n.at 0o4000\n.word low\n",  # data, not an operand
        "low: return\n.bank 2\n.at 0o4000\nload low\n",  # a label without bank
    ],
)
def test_no_warning_of_banks_without_reason(tern, text):
    assert "asm-other-bank" not in slugs(tern, text)


def test_an_absolute_address_that_loses_bits(tern):
    (problem,) = warned(tern, ".at 0o700\nload there\n.at 0o1001\nthere: .word 0\n")
    assert problem.headline == (
        "p.asm:2:6: warning: 'address' keeps the low 8 bits of an address, "
        "got 0o1001, which becomes 0o1 [asm-truncated-address]"
    )


def test_an_address_in_a_page_says_nothing(tern):
    assert slugs(tern, ".at 0o700\nload-near there\n.at 0o1001\nthere: .word 0\n") == []
    assert slugs(tern, "load there\nthere: .word 0\n") == []


def test_code_behind_a_jump_is_never_reached(tern):
    (problem,) = warned(tern, "begin: set 1\n jump begin\n set 2\nnext: set 3\n")
    assert problem.headline == (
        "p.asm:3:2: warning: nothing reaches this instruction: it has no label, "
        "and the one before it jumps away [asm-never-reached]"
    )
    assert str(problem.notes[0].place) == "p.asm:2:2"


def test_code_behind_a_return_may_be_doubtful_but_behind_a_plain_jump_is_not(tern):
    # `return` sets the counter from a register: control leaves, but this machine's call may come back anywhere
    assert slugs(tern, "begin: set 1\n return\n set 2\n") == []


@pytest.mark.parametrize(
    "text",
    [
        "begin: set 1\n jump begin\nnext: set 2\n",  # a label
        "begin: set 1\n jump begin\nnext:\n set 2\n",  # a label on the line above
        "begin: skip-if-zero\n jump begin\n set 2\n",  # the jump is skipped
        "begin: call begin\n jump begin\n set 2\n",  # the call may come back one further on
        "begin: set 1\n call begin\n set 2\n",  # a call comes back
        "begin: load here + 2\n jump begin\n set 2\n",  # the address is a number of the program
        "begin: set 1\n jump begin\n set 2\n .word begin + 2\n",  # and here it is in a table
        "begin: set 1\n jump begin\n .word 2\n",  # data
        "begin: set 1\n jump begin\n .reserve 1\n set 2\n",  # not right behind it
        ".at 0o76\n set 2\n jump 0\n set 1\n",  # where the machine starts
        "begin: jump begin\n set 2\n.start 0o101\n",  # where the program starts
    ],
)
def test_silence_where_control_might_come(tern, text):
    assert "asm-never-reached" not in slugs(tern, text)


def test_warnings_come_in_order_of_place(tern):
    text = "begin: jump begin\n set 1\n.at 0o700\na: load b\n jump a\n set 2\n.at 0o1400\nb: .word 0\n"
    lines = [problem.place.line for problem in warned(tern, text)]
    assert lines == sorted(lines)
    assert len(lines) == 3
