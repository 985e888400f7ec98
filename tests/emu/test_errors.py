"""Errors: gathered, placed, rendered with a caret, counted beyond a limit, and sent between processes."""

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.errors import Code, InputError, Note, Problem, Problems, declare, declared, fail, nearest
from emu.tomlfile import SYNTAX
from emu.where import Place, Source

CODE = Code("a-code", "A rule.", "A cure.")
SOURCE = Source("gates.asm", "load 1\n\tjmup here\nstop\n")


def test_a_problem_shows_its_line_and_a_caret_under_the_token():
    problems = Problems(SOURCE)
    note = Note("first named here", Place("gates.asm", 3, 1))
    problems.add(
        CODE, "a rule; got 'jmup'", Place("gates.asm", 2, 2, 4), hint="did you mean 'jump'?", notes=(note,)
    )
    with pytest.raises(InputError) as caught:
        problems.raise_if_errors()
    assert str(caught.value) == (
        "gates.asm:2:2: error: a rule; got 'jmup' [a-code]\n"
        "    \tjmup here\n"
        "    \t^~~~\n"
        "    gates.asm:3:1: note: first named here\n"
        "    hint: did you mean 'jump'?"
    )


def test_problems_come_in_order_of_place():
    places = [Place("a", 3, 1), Place("a", 1, 9), Place("a", 1, 2), Place("a")]
    error = InputError(Problem(CODE, "m", place) for place in places)
    assert [p.place for p in error.problems] == sorted(places)


@given(st.integers(0, 30), st.integers(1, 10))
def test_problems_beyond_the_limit_are_counted(number, limit):
    problems = Problems(SOURCE, limit)
    for _ in range(number):
        problems.add(CODE, "m", Place("gates.asm", 1, 1))
    assert len(problems.found) == min(number, limit)
    assert problems.full == (number >= limit)
    if not number:
        problems.raise_if_errors()
        return
    with pytest.raises(InputError) as caught:
        problems.raise_if_errors()
    assert caught.value.dropped == max(number - limit, 0)
    assert len(caught.value.problems) + caught.value.dropped == number
    assert ("more problems, not shown" in str(caught.value)) == (number > limit)


def test_warnings_alone_are_no_error():
    problems = Problems(SOURCE)
    problems.add(CODE, "m", Place("gates.asm"), severity="warning")
    problems.raise_if_errors()
    assert len(problems.warnings) == 1
    assert problems.errors == ()


def test_an_error_can_be_sent_to_another_process():
    error = InputError([Problem(CODE, "m", Place("a", 1, 2))], 3)
    again = pickle.loads(pickle.dumps(error))
    assert (again.problems, again.dropped, str(again)) == (error.problems, error.dropped, str(error))


def test_a_single_problem():
    with pytest.raises(InputError, match=r"^file: error: m \[a-code\]$"):
        fail(CODE, "m", Place("file"))


def test_a_code_is_declared_once():
    assert declared()[SYNTAX.slug] is SYNTAX
    with pytest.raises(ValueError, match="twice"):
        declare(SYNTAX.slug, "R.", "C.")


def test_the_nearest_name():
    assert nearest("jmup", ["jump", "load"]) == "did you mean 'jump'?"
    assert nearest("zzz", ["jump", "load"]) == ""
