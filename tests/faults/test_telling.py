"""How numbers are told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.load import load_machine
from faults.counts import times
from faults.telling import Teller, joined, signs_text, time_text

FULMAR = Teller(load_machine("fulmar"))
DUNLIN = Teller(load_machine("dunlin"))


@pytest.mark.parametrize(
    ("time_ns", "text"),
    [
        (0, "0 s"), (999, "999 ns"), (1_400, "1.4 µs"), (134_620_000, "135 ms"), (2_000_000_000, "2 s"),
        (90_000_000_000, "1.5 min"), (999_999, "1000 µs"), (7_200_000_000_000, "120 min"),
        (123_456_000_000_000, "2058 min"),
    ],
)  # fmt: skip
def test_times(time_ns, text):
    assert time_text(time_ns) == text


@given(st.integers(1, 1 << 60))
def test_a_time_is_told_to_half_a_percent(time_ns):
    number, unit = time_text(time_ns).split()
    size = {"ns": 1, "µs": 10**3, "ms": 10**6, "s": 10**9, "min": 60 * 10**9}[unit]
    assert abs(float(number) * size / time_ns - 1) <= 0.005


def test_lists_and_counts():
    assert [joined([]), joined(["a"]), joined(["a", "b"]), joined(["a", "b", "c"])] == [
        "", "a", "a and b", "a, b and c",
    ]  # fmt: skip
    assert [times(n) for n in (1, 2, 14, 2000)] == ["once", "twice", "14 times", "2,000 times"]
    assert signs_text((0x41, 0x0A, 0x07)) == '"A\\n<7>"'


def test_bits_are_named_as_the_machine_does():
    assert FULMAR.bits(1, 1 << 15) == "bit 1"
    assert FULMAR.bits(1, 1 << 16 | 1) == "bit 16 and the parity bit"
    assert FULMAR.bits(1, 0b111) == "bits 14, 15 and 16"
    assert FULMAR.bits(1, 0xFF) == "8 bits"
    assert DUNLIN.bits(0, 1 << 11) == "bit 0"


def test_words_and_places():
    assert FULMAR.stored(1, 1 << 16 | 0o17) == "0o000017 parity 1"
    assert DUNLIN.stored(0, 0o17) == "0o0017"
    assert FULMAR.place(1, 0o2001) == "word 0o02001 of the rope (bank 1 at 0o4001)"
    assert FULMAR.place(1, 1) == "word 0o00001 of the rope (at 0o6001)"
    assert FULMAR.change(1, 0b0101, 0b0110) == "bit 15 is 1 instead of 0 and bit 16 is 0 instead of 1"
