"""What a listing's digits say of themselves, when nobody stated its words."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.codes import encode
from emu.errors import InputError
from emu.files import read_image, write_image
from emu.files.evidence import propose
from emu.files.layout import FileWord
from emu.image import MemoryImage
from emu.words import BASE_NAMES


def unstated(word, count, number):
    """A listing of random words without its statement, both ends of their range among them."""
    draw = random.Random(number)
    words = [draw.getrandbits(word.data_bits) for _ in range(count)] + [0, (1 << word.data_bits) - 1]
    stored = [encode(word.protection, word.data_bits, value) for value in words]
    text = write_image(MemoryImage.of_words(word.stored_bits, stored), "listing", word).decode()
    return text.split("\n", 1)[1]


@settings(max_examples=60)
@given(
    st.integers(8, 64),
    st.sampled_from(["none", "odd", "even"]),
    st.sampled_from([2, 8, 16]),
    st.integers(0, 10_000),
)
def test_the_statement_is_found_again(bits, protection, base, number):
    guess = propose(unstated(FileWord(bits, protection, base=base), 300, number))
    assert guess is not None
    assert (guess.data_bits, guess.protection, guess.base) == (bits, protection, base)


def test_the_refusal_makes_the_proposal():
    text = unstated(FileWord(16, "odd"), 62, 1)
    with pytest.raises(InputError) as caught:
        read_image("dump", text.encode())
    (problem,) = caught.value.problems
    assert problem.code.slug == "word-size-not-stated"
    assert problem.hint.startswith("64 words have 6 octal digits, the highest is ")
    assert problem.hint.endswith(
        "and each has an odd number of ones: perhaps `words 16 base octal parity odd`"
    )
    assert read_image("dump", f"words 16 base octal parity odd\n{text}".encode()).warnings == ()


@pytest.mark.parametrize(
    "text",
    [
        "",
        "000: 000017 000020\n",  # too little
        "000: 0000 0001 0000 0001\n" * 40,  # one word over and over, in any base
        "\n".join(f"{n:o} {n:x}" for n in range(0, 4000, 7)),  # words of every length
        "\n".join(f"{n:05d}" for n in range(80, 99_999, 997)),  # decimal: the digits 8 and 9, but no letter
    ],
)
def test_too_little_evidence_is_no_proposal(text):
    assert propose(text) is None


def test_unknown_digits_are_left_out():
    text = "\n".join(f"{n:04o} {n:03o}?" for n in range(0o100, 0o1000, 5)) + "\n7777\n"
    guess = propose(text)
    assert guess is not None
    assert (guess.statement, BASE_NAMES[guess.base]) == ("words 12 base octal", "octal")
