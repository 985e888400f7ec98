"""The small forms in which a case says counts, times, lamps and addresses, and what they mean.

All are text that a person would write on a card. Digits of words and addresses are those of the machine, so
their values are worked out with its word format; here only their spelling is judged.
"""

import math
import re
from typing import Final

from attrs import frozen

from emu.words import WordFormat

MANY: Final = 5
"""``many`` means at least this often."""

ABOUT: Final = 0.25
"""``about`` allows this much more or less: a guess at how well people judge time."""

BY_HAND: Final = 0.05
"""A plain time is taken to be measured by hand, this much more or less: a guess."""

MOST_RANGES: Final = 10_000

_UNITS: Final = {"ns": 1, "us": 1e3, "ms": 1e6, "s": 1e9, "min": 60e9, "h": 3600e9}
_COUNT: Final = re.compile(
    r"(?:(at least|at most)\s+)?([0-9]{1,9})|([0-9]{1,9})\s*\.\.\s*([0-9]{1,9})|(many|none|some)"
)
_NUMBER: Final = r"([0-9]{1,12}(?:\.[0-9]{1,9})?)"
_TIME: Final = re.compile(rf"(about\s+)?{_NUMBER}(?:\s*\.\.\s*{_NUMBER})?\s*(ns|us|ms|s|min|h)")
_DIGITS: Final = re.compile(r"(?:0[xob])?[0-9A-Fa-f?][0-9A-Fa-f?_]{0,63}")
_LAMP: Final = re.compile(r"([A-Za-z][A-Za-z0-9_.-]{0,39})=(\S+)")
_RANGE: Final = re.compile(rf"({_DIGITS.pattern})(?:\.\.({_DIGITS.pattern}))?")

COUNT_RULE: Final = 'a count: 14, "at least 3", "at most 3", "2..5", "many", "some" or "none"'
TIME_RULE: Final = 'a time: "60 s", "about 2 s", "1.5..2 min"; units ns, us, ms, s, min, h'
LAMPS_RULE: Final = 'lamp=digits, one or more: "counter=1234 accumulator=0017?7"; ? for a digit not read'
ADDRESSES_RULE: Final = 'addresses and ranges: "4000 4010..4017", in the machine\'s base or with 0o, 0x, 0b'
DIGITS_RULE: Final = "digits of a word, in the machine's base or with 0o, 0x, 0b; ? for a digit not read"


@frozen
class CountRange:
    """A number of events: ``low`` to ``high``, both included; no ``high`` for "at least"."""

    low: int
    high: int | None

    def holds(self, count: int) -> bool:
        """Whether a count is in the range; -1 (again and again, without end) is more than any number."""
        if count < 0:
            return self.high is None
        return self.low <= count and (self.high is None or count <= self.high)

    @property
    def text(self) -> str:
        """The range in words."""
        if self.high is None:
            return f"at least {self.low}"
        return str(self.low) if self.low == self.high else f"{self.low} to {self.high}"


@frozen
class TimeRange:
    """A time in nanoseconds: ``low`` to ``high``, both included."""

    low: int
    high: int

    def holds(self, time: int) -> bool:
        """Whether a time is in the range."""
        return self.low <= time <= self.high


@frozen
class LampText:
    """One row of lamps as it was read: its name and the digits as written."""

    name: str
    digits: str


def parse_count(given: str | int) -> CountRange:
    """Return the range of a count; ValueError if it is none."""
    found = _COUNT.fullmatch(str(given).strip())
    if not found:
        raise ValueError(COUNT_RULE)
    bound, number, low, high, word = found.groups()
    if word:
        return {"many": CountRange(MANY, None), "some": CountRange(1, None), "none": CountRange(0, 0)}[word]
    if low is not None:
        if int(low) > int(high):
            raise ValueError(COUNT_RULE + ", the smaller number first")
        return CountRange(int(low), int(high))
    count = int(number)
    return CountRange(0 if bound == "at most" else count, None if bound == "at least" else count)


def parse_time(given: str) -> TimeRange:
    """Return the range of a time; ValueError if it is none. ``about`` is a quarter more or less."""
    found = _TIME.fullmatch(given.strip())
    if not found:
        raise ValueError(TIME_RULE)
    about, low, high, unit = found.groups()
    first = float(low) * _UNITS[unit]
    last = float(high) * _UNITS[unit] if high else first
    slack = ABOUT if about else 0.0 if high else BY_HAND
    if first > last:
        raise ValueError(TIME_RULE + ", the smaller number first")
    if last <= 0:
        raise ValueError(TIME_RULE + ", more than 0")
    return TimeRange(math.floor(first * (1 - slack)), math.ceil(last * (1 + slack)))


def parse_lamps(given: str) -> tuple[LampText, ...]:
    """Return the rows of lamps of a stop; ValueError for another form or a row given twice."""
    parts = given.replace(",", " ").split()
    found = [_LAMP.fullmatch(part) for part in parts]
    if not parts or not all(m and _DIGITS.fullmatch(m[2]) for m in found):
        raise ValueError(LAMPS_RULE)
    lamps = tuple(LampText(m[1], m[2]) for m in found if m)
    if len({lamp.name for lamp in lamps}) < len(lamps):
        raise ValueError("each row of lamps only once")
    return lamps


def parse_addresses(given: str, form: WordFormat) -> tuple[tuple[int, int], ...]:
    """Return (first, last) of each range; ValueError for another form or an address that does not fit."""
    ranges = []
    for one in spell_addresses(given):
        first, last = (form.parse(text) for text in one)
        if first > last:
            raise ValueError(f"a range runs upward; given {one[0]}..{one[1]}")
        ranges.append((first, last))
    return tuple(ranges)


def spell_addresses(given: str) -> tuple[tuple[str, str], ...]:
    """Return the digits of (first, last) of each range; ValueError for another form."""
    parts = re.sub(r"\s*\.\.\s*", "..", given).replace(",", " ").split()
    found = [_RANGE.fullmatch(part) for part in parts]
    if not parts or len(parts) > MOST_RANGES or "?" in given or not all(found):
        raise ValueError(ADDRESSES_RULE)
    return tuple((m[1], m[2] or m[1]) for m in found if m)


def spelled_digits(given: str) -> str:
    """Return the digits, stripped; ValueError if they cannot be those of a word."""
    if not _DIGITS.fullmatch(given.strip()):
        raise ValueError(DIGITS_RULE)
    return given.strip()
