"""A file read wrongly is recognised by what it should hold, and a merely faulty one is left alone."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.files import read_image, write_image
from emu.files.layout import FileWord
from emu.files.suspicions import suspect
from emu.image import MemoryImage
from emu.words import mask


def program(bits=16, count=256, start=0, number=1):
    """Words as a program has them: a third are common ones, the rest differ."""
    draw = random.Random(number)
    common = [0, mask(bits), 1 << (bits - 2)]
    words = [draw.choice(common) if draw.random() < 0.3 else draw.getrandbits(bits) for _ in range(count)]
    return MemoryImage.of_words(bits, words, start)


def kinds(read, expected):
    return [s.kind for s in suspect(read, expected)]


def mapped(image, change):
    return MemoryImage.certain(image.bits, {a: change(v) for a, v, _ in image.words()})


def test_a_right_reading_raises_no_suspicion():
    assert suspect(program(), program()) == ()


@pytest.mark.parametrize("number", range(12))
def test_faults_in_the_memory_are_not_blamed_on_the_reading(number):
    # stuck bits, dead regions, a stuck address bit and noise: the file is as it should be
    good, draw = program(), random.Random(number)
    stuck = mapped(good, lambda v: v | 1 << number)
    words = [v for _, v, _ in good.words()]
    bit = 1 << number % 8
    folded = MemoryImage.of_words(16, [words[a & ~bit] for a in range(256)])
    dead = MemoryImage.of_words(16, words[:64] + [0] * 64 + words[128:])
    noise = mapped(good, lambda v: v ^ draw.getrandbits(16) & draw.getrandbits(16) & draw.getrandbits(16))
    for bad in (stuck, folded, dead, noise):
        assert suspect(bad, good) == ()


def test_constant_images_prove_nothing():
    zeros = MemoryImage.of_words(16, [0] * 256)
    assert suspect(program(), zeros) == ()
    assert suspect(zeros, program()) == ()
    assert suspect(MemoryImage(16), program()) == ()
    assert suspect(program(), MemoryImage(16)) == ()


def test_too_little_evidence_is_none():
    two = MemoryImage.of_words(16, [0x1234, 0x5678])
    assert suspect(mapped(two, lambda v: v >> 8 | (v & 255) << 8), two) == ()


def test_byte_order():
    good = program()
    data = write_image(good, "raw", FileWord(16))
    swapped = read_image("x.bin", data, FileWord(16, byte_order="little")).image
    found = suspect(swapped, good)
    assert [s.kind for s in found] == ["byte-swapped"]
    assert found[0].sentence == "the bytes of every word stand in reverse order"
    assert found[0].bits > 500


def test_byte_order_with_some_faults_too():
    good = program()
    swapped = mapped(good, lambda v: v >> 8 | (v & 255) << 8)
    broken = MemoryImage.certain(16, {a: 0 if a < 16 else v for a, v, _ in swapped.words()})
    assert kinds(broken, good) == ["byte-swapped"]


def test_pairs_of_bytes():
    good = program(32)
    turned = mapped(good, lambda v: (v & 0x00FF00FF) << 8 | (v >> 8 & 0x00FF00FF))
    assert [s.sentence for s in suspect(turned, good)] == ["the bytes of every pair stand in reverse order"]


@settings(max_examples=30)
@given(st.integers(-200, 200).filter(bool), st.integers(0, 1000))
def test_moved_by_addresses(offset, number):
    good = program(start=300, number=number)
    moved = MemoryImage.certain(16, {a + offset: v for a, v, _ in good.words()})
    best = suspect(moved, good)[0]
    way = "after" if offset > 0 else "before"
    assert (best.kind, best.sentence) == (
        "shifted",
        f"every word stands {abs(offset)} addresses {way} its own",
    )


def test_alignment():
    good = program(12)
    data = write_image(good, "raw", FileWord(12, align="high"))
    asked = read_image("x.bin", data, FileWord(16)).image
    found = suspect(asked, good)
    assert [(s.kind, s.sentence) for s in found] == [
        ("extra-bits", "every word has 4 bits below it that do not belong to it")
    ]
    assert kinds(mapped(good, lambda v: v >> 1), good) == ["bits-shifted"]


def test_check_bits_taken_for_data():
    good = program(16)
    word = FileWord(16, "odd", "absent")
    stored = read_image("x", write_image(good, "listing", FileWord(16)), word, "listing").image
    assert [s.sentence for s in suspect(stored, good)] == [
        "every word has 1 bit above it that do not belong to it"
    ]


def test_mirrored_and_inverted_bits():
    good = program(12)
    assert kinds(mapped(good, lambda v: int(f"{v:012b}"[::-1], 2)), good) == ["bits-reversed"]
    assert kinds(mapped(good, lambda v: v ^ 0o7777), good) == ["complemented"]


def test_octal_digits_taken_for_hexadecimal_ones():
    good = program(12, 256)
    text = write_image(good, "listing", FileWord(12, base=8)).decode().replace("words 12 base octal\n", "")
    read = read_image("x", text.encode(), FileWord(16, base=16), "listing").image
    narrow = MemoryImage.certain(16, {a: v for a, v, _ in good.words()})
    found = suspect(read, narrow, base=16)
    assert [(s.kind, s.sentence) for s in found] == [
        ("wrong-base", "the digits were read as hexadecimal but are octal")
    ]


@pytest.mark.parametrize(
    ("asked", "order", "name"),
    [(8, "big", "high"), (8, "little", "low"), (32, "big", "high"), (32, "little", "low")],
)
def test_another_word_size(asked, order, name):
    good = program(16)
    data = write_image(good, "raw", FileWord(16, byte_order=order))
    read = read_image("x.bin", data, FileWord(asked, byte_order=order)).image
    assert ("wrong-word-size", f"the file has words of 16 bits, {name} byte first, not of {asked} bits") in {
        (s.kind, s.sentence) for s in suspect(read, good)
    }


def test_words_lost_without_addresses():
    good = program(count=512)
    words = [v for _, v, _ in good.words()]
    found = suspect(MemoryImage.of_words(16, words[:200] + words[216:]), good)
    assert found[0].kind == "lost-words"
    assert found[0].sentence == (
        "from about 0o310 on, every word is moved: 16 words are missing just before it"
    )
    doubled = suspect(MemoryImage.of_words(16, words[:200] + words[192:]), good)
    assert "8 words too many stand just before it" in doubled[0].sentence


def test_lines_lost_from_a_listing_with_addresses():
    good = program()
    text = write_image(good, "listing", FileWord(16)).decode().splitlines()
    text = [line for n, line in enumerate(text) if n not in {5, 6, 20}]
    read = read_image("x", ("\n".join(text) + "\n").encode()).image
    assert [s.sentence for s in suspect(read, good)] == [
        "the file agrees but lacks 24 of its words: 0o40 to 0o57, 0o230 to 0o237"
    ]


def test_unknown_digits_do_not_hide_it():
    good = program()
    swapped = mapped(good, lambda v: v >> 8 | (v & 255) << 8)
    cells = {a: (v & 0o177770, 0o177770) if a % 3 else (v, 0o177777) for a, v, _ in swapped.words()}
    assert kinds(MemoryImage(16, cells), good) == ["byte-swapped"]


@settings(max_examples=25)
@given(st.integers(0, 10_000))
def test_unrelated_images_raise_no_suspicion(number):
    assert suspect(program(number=number), program(number=number + 1)) == ()
