"""Images: sparse words with what is certain of them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.image import MemoryImage, ProgramImage, Run
from emu.where import Place
from emu.words import mask


@st.composite
def images(draw, bits=None):
    bits = bits or draw(st.integers(4, 73))
    full = mask(bits)
    cell = st.tuples(st.integers(0, full), st.integers(0, full)).map(lambda c: (c[0] & c[1], c[1]))
    return MemoryImage(bits, draw(st.dictionaries(st.integers(0, 40), cell)))


def test_ranges_and_order():
    image = MemoryImage.certain(12, {7: 1, 3: 2, 4: 3, 5: 0})
    assert image.ranges() == ((3, 5), (7, 7))
    assert list(image.words()) == [(3, 2, 4095), (4, 3, 4095), (5, 0, 4095), (7, 1, 4095)]
    assert MemoryImage(12).ranges() == ()
    assert MemoryImage.of_words(12, [5, 6], 8) == MemoryImage.certain(12, {8: 5, 9: 6})


@given(images())
def test_ranges_cover_exactly_the_words(image):
    covered = [a for first, last in image.ranges() for a in range(first, last + 1)]
    assert covered == [address for address, _, _ in image.words()]


@given(images(16), images(16))
def test_merging_keeps_what_is_agreed_and_prefers_nobody(one, two):
    merged, conflicts = one.merged(two)
    swapped, again = two.merged(one)
    assert merged == swapped
    assert {(c.address, c.differs) for c in conflicts} == {(c.address, c.differs) for c in again}
    fought = {c.address: c.differs for c in conflicts}
    for address, value, known in merged.words():
        parts = [image.cells.get(address, (0, 0)) for image in (one, two)]
        for bit in range(16):
            said = {v >> bit & 1 for v, k in parts if k >> bit & 1}
            assert (known >> bit & 1) == (len(said) == 1)
            assert (fought.get(address, 0) >> bit & 1) == (len(said) == 2)
            if len(said) == 1:
                assert {value >> bit & 1} == said


def test_merging_names_both_places():
    ours = MemoryImage.certain(8, {4: 1}, (Run(4, 1, Place("a", 2)),))
    theirs = MemoryImage.certain(8, {4: 3}, (Run(0, 9, Place("b", 7)),))
    _, conflicts = ours.merged(theirs)
    assert [(str(c.ours), str(c.theirs), c.differs) for c in conflicts] == [("a:2:1", "b:7:1", 2)]
    with pytest.raises(ValueError, match="got 8 and 9 bits"):
        ours.merged(MemoryImage(9))


@given(images(), st.data())
def test_arrays(image, data):
    fill = data.draw(st.integers(0, mask(image.bits)))
    values, known = image.to_arrays(41, fill)
    assert values.shape == known.shape == (41,)
    assert values.dtype == (np.int64 if image.bits <= 62 else object)
    for address in range(41):
        value, certain = image.cells.get(address, (0, 0))
        assert int(known[address]) == certain
        assert int(values[address]) == value | (fill & ~certain)


def test_arrays_refuse_what_does_not_fit():
    image = MemoryImage.of_words(8, [1, 2, 3])
    with pytest.raises(ValueError, match="a store of 2 words ends at 0o1, the image has a word at 0o2"):
        image.to_arrays(2)
    with pytest.raises(ValueError, match="the fill is a word of 8 bits"):
        image.to_arrays(8, 256)


@pytest.mark.parametrize(
    "cell", [{-1: (0, 0)}, {1 << 32: (0, 0)}, {0: (256, 256)}, {0: (1, 0)}, {0: (0, 511)}]
)
def test_cells_that_cannot_be(cell):
    with pytest.raises(ValueError, match="a cell of 8 bits"):
        MemoryImage(8, cell)


def test_places():
    image = MemoryImage.of_words(8, range(6), 10)
    image = MemoryImage(8, image.cells, (Run(10, 3, Place("f", 1)), Run(13, 3, Place("f", 2))))
    assert [str(image.place_of(a)) for a in (9, 10, 12, 13, 15, 16)] == [
        "None", "f:1:1", "f:1:1", "f:2:1", "f:2:1", "None",
    ]  # fmt: skip


def test_program_images_hold_segments():
    program = ProgramImage({"core": MemoryImage.of_words(16, [1])}, 0, {"start": 0})
    assert program.segments["core"].cells[0] == (1, 0o177777)
