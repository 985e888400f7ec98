"""Inputs of a program: what a file may say, and where it is wrong."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.errors import InputError
from emu.inputs import parse_input_options, parse_inputs
from emu.load import load_machine
from emu.shipped import find_program, inputs_beside
from emu.where import Source
from emu.words import from_signed

FULMAR = load_machine("fulmar")
SEA, SWITCHES = 4, 7


def parsed(text):
    return parse_inputs(Source("a.inputs", text), FULMAR)


def problems(text):
    with pytest.raises(InputError) as caught:
        parsed(text)
    return [(p.code.slug, p.place.line, p.place.column, p.place.length) for p in caught.value.problems]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", {}),
        ("# only a comment\n\n", {}),
        ("sea: 92 118", {SEA: (92, 118)}),
        ("4: 1,2,3", {SEA: (1, 2, 3)}),
        ("  sea :  0x1f 0o17 0b101 0017 # tide\r\nswitches:1\n", {SEA: (31, 15, 5, 17), SWITCHES: (1,)}),
        ("sea:", {SEA: ()}),
        ('sea: "AB" 3', {SEA: (65, 66, 3)}),
        ("sea: -1", {SEA: (0o177776,)}),  # ones' complement
        ("sea: -0", {SEA: (0,)}),
        ("sea: 65535", {SEA: (65535,)}),
    ],
)
def test_what_is_read(text, expected):
    assert parsed(text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("sea 92", [("inputs-line", 1, 1, 6)]),
        (": 92", [("inputs-line", 1, 1, 4)]),
        ("\n see: 92", [("inputs-port", 2, 2, 3)]),
        ("printer: 1", [("inputs-port", 1, 1, 7)]),  # an output port
        ("sea: 1 two 3", [("inputs-word", 1, 8, 3)]),
        ("sea: 65536", [("inputs-word", 1, 6, 5)]),
        ("sea: -32768", [("inputs-word", 1, 6, 6)]),  # ones' complement holds -32767 at least
        ("sea: 0o9", [("inputs-word", 1, 6, 3)]),
        ("sea: 1__0", [("inputs-word", 1, 6, 4)]),
        ('sea: "open', [("inputs-word", 1, 6, 5)]),
        ("sea: " + "9" * 5000, [("inputs-word", 1, 6, 5000)]),
        ("sea: 1\nsea: 2", [("inputs-port-twice", 2, 1, 1)]),
        (
            "see: 1\nsea: x\nsea",
            [("inputs-port", 1, 1, 3), ("inputs-word", 2, 6, 1), ("inputs-line", 3, 1, 3)],
        ),
    ],
)
def test_what_is_wrong_is_told_with_its_place(text, expected):
    assert problems(text) == expected


def test_the_nearest_port_is_named():
    with pytest.raises(InputError, match="did you mean 'sea'"):
        parsed("see: 1")


@given(st.lists(st.integers(-32767, 65535), max_size=20))
def test_numbers_come_back(values):
    words = tuple(v if v >= 0 else from_signed(v, 16, "ones") for v in values)
    assert parsed("sea: " + " ".join(map(str, values))) == {SEA: words}


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text):
    try:
        words = parsed(text)
    except InputError:
        return
    assert all(0 <= w < 1 << 16 for port in words.values() for w in port)


def test_options_are_read_as_lines():
    assert parse_input_options(["sea=1,2", "7=0x3"], FULMAR) == {SEA: (1, 2), SWITCHES: (3,)}
    with pytest.raises(InputError, match=r"--input:2:5"):
        parse_input_options(["sea=1", "sea=x"], FULMAR)


def test_an_option_is_shown_as_it_was_typed():
    for typed in ("see=-17", "sea=-99999", "sea"):
        with pytest.raises(InputError) as raised:
            parse_input_options([typed], FULMAR)
        (problem,) = raised.value.problems
        assert problem.source_line == typed
        assert "colon" not in problem.message


def test_inputs_lie_beside_their_program():
    beside = inputs_beside(find_program("fulmar", "gates"))
    assert beside is not None
    assert set(parse_inputs(Source("gates.inputs", beside.read_text()), FULMAR)) == {4, 5, 6, 7}
    assert inputs_beside(find_program("fulmar", "selftest-parity")) is None


def test_the_example_of_the_reference_page_is_read():
    page = (Path(__file__).resolve().parents[2] / "docs" / "reference" / "inputs.md").read_text(
        encoding="utf-8"
    )
    text = page.split("```inputs\n")[1].split("```")[0]
    assert parsed(text) == {SEA: (92, 118, 141), 5: (90, 97, 104), SWITCHES: (0, 0, 1)}
