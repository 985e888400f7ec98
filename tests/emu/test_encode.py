"""Encodings: patterns, fields, overlaps, and finding the instruction of a word."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.encode import Decoder, Pattern, extract, insert, overlaps, put, read_pattern, take
from emu.errors import Problems
from emu.load import load_machine
from emu.shipped import machine_names
from emu.spec import FieldSpec, OperandBits
from emu.where import Source


def read(text: str, width: int):
    source = Source("bits", text)
    problems = Problems(source)
    return read_pattern(text, width, source.place, problems), problems.found


def pattern(text: str) -> Pattern:
    found, problems = read(text, len(text.replace(" ", "")))
    assert found is not None
    assert not problems
    return found


def test_a_pattern_is_mask_match_and_runs():
    assert pattern("01-a bbaa") == Pattern(0b1100_0000, 0b0100_0000, {"a": ((4, 4), (1, 0)), "b": ((3, 2),)})


@pytest.mark.parametrize(
    ("text", "width", "place", "message"),
    [
        ("000 aaa", 8, "bits:1:1", "an encoding has a mark for every bit of the word; of 8 bits, given 6"),
        ("", 8, "bits:1:1", "an encoding has a mark for every bit of the word; of 8 bits, given 0"),
        ("000 a2a aa", 8, "bits:1:6", "an encoding is made of 0, 1, '-' and letters but M and P; got '2'"),
        ("000 MMM aa", 8, "bits:1:5", "an encoding is made of 0, 1, '-' and letters but M and P; got 'M'"),
        ("000 äää aa", 8, "bits:1:5", "an encoding is made of 0, 1, '-' and letters but M and P; got 'ä'"),
    ],
)
def test_wrong_patterns(text, width, place, message):
    found, problems = read(text, width)
    assert found is None
    assert [(str(p.place), p.message) for p in problems] == [(place, message)]


MARKS = st.text("01-abX", min_size=1, max_size=24)


@given(MARKS)
def test_mask_and_match_against_the_marks_one_by_one(text):
    found = pattern(text)
    for word in range(0, 1 << len(text), max(1, (1 << len(text)) // 64)):
        bits = format(word, f"0{len(text)}b")
        fits = all(mark not in "01" or mark == bit for mark, bit in zip(text, bits, strict=True))
        assert (word & found.mask == found.match) == fits
        for letter, runs in found.fields.items():
            shown = "".join(bit for mark, bit in zip(text, bits, strict=True) if mark == letter)
            assert take(OperandBits(FieldSpec(letter, letter), runs), word) == int(shown, 2)


@given(MARKS, st.data())
def test_put_and_take_are_inverse(text, data):
    for letter, runs in pattern(text).fields.items():
        operand = OperandBits(FieldSpec(letter, letter), runs)
        value = data.draw(st.integers(0, (1 << operand.width) - 1))
        assert take(operand, put(operand, value)) == value
        with pytest.raises(ValueError, match="holds 0 to"):
            put(operand, 1 << operand.width)


SMALL = st.text("01-a", min_size=6, max_size=6)


@given(st.lists(SMALL, min_size=2, max_size=6))
def test_overlaps_are_the_pairs_that_share_a_word(texts):
    patterns = [pattern(text) for text in texts]

    def words(one: Pattern) -> set[int]:
        return {word for word in range(64) if word & one.mask == one.match}

    found = {(i, j): word for i, j, word in overlaps(patterns)}
    for j in range(len(texts)):
        for i in range(j):
            shared = words(patterns[i]) & words(patterns[j])
            assert ((i, j) in found) == bool(shared)
            assert not shared or found[i, j] in shared


@pytest.mark.parametrize("name", machine_names())
def test_examples_decode_and_encode_in_every_shipped_machine(name):
    machine = load_machine(name)
    decoder = Decoder(machine.instructions)
    for instruction in machine.instructions:
        word = instruction.example_word
        assert decoder.find(word) is instruction
        assert insert(instruction, extract(instruction, word)) == word


def test_every_word_of_dunlin_is_at_most_one_instruction():
    machine = load_machine("dunlin")
    decoder = Decoder(machine.instructions)
    for word in range(1 << 12):
        fits = [i for i in machine.instructions if word & i.mask == i.match]
        assert len(fits) <= 1
        assert decoder.find(word) is (fits[0] if fits else None)


def test_insert_wants_exactly_the_letters_of_the_instruction():
    add = load_machine("dunlin").instructions[0]
    with pytest.raises(ValueError, match="has the fields"):
        insert(add, {})
