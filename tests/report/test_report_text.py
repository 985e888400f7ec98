"""Safe text, wrapping and numbers, against Python's own formatting and the Unicode database."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faults.counts import counted
from faults.report.text import address_text, cells, number_text, plain, to_ascii, wrap

ANY_TEXT = st.text(st.characters(codec=None, exclude_categories=()))


@given(ANY_TEXT)
def test_plain_text_holds_no_control(text: str) -> None:
    safe = plain(text)
    assert len(safe) == len(text)
    assert plain(safe) == safe
    safe.encode("utf-8")
    assert not [c for c in safe if unicodedata.category(c) in ("Cc", "Cs") and c not in "\n\t"]
    assert not [
        c
        for c in safe
        if unicodedata.bidirectional(c) in ("LRO", "RLO", "LRE", "RLE", "PDF", "LRI", "RLI", "FSI", "PDI")
    ]


@pytest.mark.parametrize("kept", ["naïve", "日本", "a\tb\nc", "Ω → ≥", "👩‍🔧"])
def test_plain_keeps_ordinary_text(kept: str) -> None:
    assert plain(kept) == kept


@given(st.text(), st.integers(2, 60))
def test_wrapped_lines_fit_and_lose_nothing(text: str, width: int) -> None:
    lines = wrap(text, width)
    assert lines
    assert all(cells(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(plain(text).split())


def test_long_notations_break_after_a_slash() -> None:
    assert wrap("rope/address/10+11:shorted", 14) == ["rope/address/", "10+11:shorted"]


@given(st.text())
def test_ascii_is_ascii(text: str) -> None:
    assert to_ascii(text).isascii()


def test_known_signs_are_spelled() -> None:
    assert to_ascii("1 kΩ → é \N{MULTIPLICATION SIGN} … µs") == "1 kohm -> e x ... us"


@given(
    st.integers(0, 2**40),
    st.integers(0, 2**40),
    st.sampled_from([(2, "b", "0b"), (8, "o", "0o"), (10, "d", ""), (16, "x", "0x")]),
)
def test_addresses_match_python_formatting(a: int, b: int, base: tuple[int, str, str]) -> None:
    address, last = sorted((a, b))
    number, letter, prefix = base
    digits = len(format(last, letter))
    assert address_text(address, number, last + 1) == prefix + format(address, f"0{digits}{letter}")
    assert number_text(address, number) == prefix + format(address, letter)


def test_counted() -> None:
    assert [counted(n, "word") for n in (0, 1, 1024)] == ["0 words", "1 word", "1,024 words"]
