"""Memories of words: the data backgrounds, and coverage between the bits of one word."""

from itertools import combinations, product

import pytest

from faults.march.backgrounds import backgrounds
from faults.march.coverage import word_coverage
from faults.march.named import find

# ceil(log2 B) + 1 (van de Goor & Tlili, DATE 1998: abstract seen, the formula from memory).
COUNTS = {1: 1, 2: 2, 4: 3, 8: 4, 12: 5, 15: 5, 16: 5, 18: 6, 36: 7}


def pairs_seen(bits, patterns):
    """The combinations that each pair of bits takes over the backgrounds and their complements."""
    words = [*patterns, *(p ^ ((1 << bits) - 1) for p in patterns)]
    return [{(w >> a & 1, w >> b & 1) for w in words} for a, b in combinations(range(bits), 2)]


@pytest.mark.parametrize(("bits", "count"), COUNTS.items())
def test_counts(bits, count):
    assert len(backgrounds(bits)) == count


def test_eight_bits_as_printed():
    assert backgrounds(8) == (0x00, 0xAA, 0xCC, 0xF0)


@pytest.mark.parametrize("bits", range(1, 65))
def test_every_pair_of_bits_takes_all_four_combinations(bits):
    assert all(len(seen) == 4 for seen in pairs_seen(bits, backgrounds(bits)))
    assert all(pattern >> bits == 0 for pattern in backgrounds(bits))


@pytest.mark.parametrize("bits", [2, 3, 4])
def test_one_background_fewer_is_never_enough(bits):
    fewer = product(range(1 << bits), repeat=len(backgrounds(bits)) - 1)
    assert not any(all(len(seen) == 4 for seen in pairs_seen(bits, chosen)) for chosen in fewer)


def test_a_word_has_a_bit():
    with pytest.raises(ValueError, match="at least one bit"):
        backgrounds(0)


# Two words of four bits, percent seen from every first content; computed beforehand by a simulator that
# shares nothing with this project. The coupling acts after the word write and wins over it.
SOLID, ALL = (0,), (0b0000, 0b1010, 0b1100)
TABLE = [
    ("MATS+", SOLID, (50, 25, 50)),
    ("MATS+", ALL, (100, 75, 87.5)),
    *((name, SOLID, (50, 50, 100)) for name in ("March X", "March C-", "March SS")),
    *((name, ALL, (100, 100, 100)) for name in ("March X", "March C-", "March SS")),
]


@pytest.mark.parametrize(("name", "patterns", "expected"), TABLE)
def test_two_words_of_four_bits(name, patterns, expected):
    report = word_coverage(find(name), 2, 4, patterns=patterns)
    assert tuple(report.row(kind).percent() for kind in ("CFst", "CFid", "CFin")) == expected
    assert report.operations == 2 * report.length * len(patterns)


def test_the_default_backgrounds_are_the_full_set():
    assert word_coverage(find("MATS+"), 2, 4).backgrounds == ALL
