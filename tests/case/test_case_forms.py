"""The small forms: what is said is what is meant."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.words import WordFormat
from faults.case.forms import (
    CountRange,
    parse_addresses,
    parse_count,
    parse_lamps,
    parse_time,
    spelled_digits,
)


@pytest.mark.parametrize(
    ("said", "low", "high"),
    [
        (14, 14, 14),
        ("14", 14, 14),
        ("at least 3", 3, None),
        ("at most 3", 0, 3),
        ("2..5", 2, 5),
        ("2 .. 5", 2, 5),
        ("many", 5, None),
        ("some", 1, None),
        ("none", 0, 0),
    ],
)
def test_counts(said, low, high):
    assert parse_count(said) == CountRange(low, high)


@pytest.mark.parametrize("said", ["", "few", "-1", "5..2", "3.5", "at least", "1e3", "٣"])
def test_no_counts(said):
    with pytest.raises(ValueError, match="a count"):
        parse_count(said)


@given(st.integers(0, 50), st.integers(0, 50), st.integers(-1, 100))
def test_counts_hold(low, more, count):
    within = parse_count(f"{low}..{low + more}")
    assert within.holds(count) == (low <= count <= low + more)
    assert parse_count(f"at least {low}").holds(count) == (count >= low or count == -1)  # -1: without end


@pytest.mark.parametrize(
    ("said", "low", "high"),
    [
        ("60 s", 57e9, 63e9),
        ("about 2 s", 1.5e9, 2.5e9),
        ("1.5..2 min", 90e9, 120e9),
        ("10ms", 9.5e6, 10.5e6),
        ("1 h", 3420e9, 3780e9),
    ],
)
def test_times(said, low, high):
    found = parse_time(said)
    assert (found.low, found.high) == (low, high)
    assert found.holds(int(low))
    assert not found.holds(int(high) + 1)


@pytest.mark.parametrize("said", ["", "2", "s", "soon", "3..2 s", "2 days", "-1 s", "9" * 400 + " s"])
def test_no_times(said):
    with pytest.raises(ValueError, match="a time"):
        parse_time(said)


def test_lamps():
    assert [(r.name, r.digits) for r in parse_lamps("counter=12?4, alarm.parity=1 x=0b1?0")] == [
        ("counter", "12?4"),
        ("alarm.parity", "1"),
        ("x", "0b1?0"),
    ]
    for bad in ("", "counter", "counter=", "=1", "a=1 a=1", "counter=12g4"):
        with pytest.raises(ValueError, match=r"lamp|only once"):
            parse_lamps(bad)


@given(st.lists(st.tuples(st.integers(0, 4095), st.integers(0, 4095)).map(sorted), min_size=1, max_size=8))
def test_addresses_round_trip(ranges):
    form = WordFormat(12, base=8)
    text = " ".join(f"{a:o}..{b:o}" if a < b else f"{a:o}" for a, b in ranges)
    assert parse_addresses(text, form) == tuple((a, b) for a, b in ranges)


@pytest.mark.parametrize("bad", ["", "17..", "20..17", "8", "1?", "10000", "a b"])
def test_no_addresses(bad):
    with pytest.raises(ValueError):
        parse_addresses(bad, WordFormat(12, base=8))


@given(st.text())
def test_forms_only_ever_raise_value_errors(text):
    forms = (
        parse_count,
        parse_time,
        parse_lamps,
        spelled_digits,
        lambda t: parse_addresses(t, WordFormat(12, base=8)),
    )
    for parse in forms:
        with suppress(ValueError):
            parse(text)
