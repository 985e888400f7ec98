"""What is looked at: which addresses failed, and for a dump also what was expected and what was read.

Everything is an array with one entry per address, in reading order. Words are unsigned 64-bit patterns.
"""

from collections.abc import Sequence
from functools import cached_property
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from emu.words import Base, Numbering, WordFormat, mask

Addresses = npt.NDArray[np.int64]
Patterns = npt.NDArray[np.uint64]
Flags = npt.NDArray[np.bool_]
ParityKind = Literal["odd", "even"]
ONE: Final = np.uint64(1)
DENSE_LIMIT: Final = 1 << 22
ASSUMED_BITS: Final = 20


def as_patterns(values: npt.ArrayLike) -> Patterns:
    """Return values as unsigned 64-bit patterns."""
    return np.asarray(values, dtype=np.uint64)


def ones_in(patterns: Patterns) -> Addresses:
    """Return the number of ones in each pattern."""
    octets = np.ascontiguousarray(patterns).view(np.uint8).reshape(-1, 8)
    ones: Addresses = np.unpackbits(octets, axis=1).sum(axis=1, dtype=np.int64)
    return ones


def bits_of(pattern: int) -> tuple[int, ...]:
    """Return the weight exponents of the ones of a pattern, rising."""
    return tuple(n for n in range(pattern.bit_length()) if pattern >> n & 1)


def all_ones(patterns: Patterns) -> int:
    """Return the bits that are 1 in every pattern (0 for none)."""
    return int(np.bitwise_and.reduce(patterns)) if patterns.size else 0


def any_ones(patterns: Patterns) -> int:
    """Return the bits that are 1 in some pattern."""
    return int(np.bitwise_or.reduce(patterns)) if patterns.size else 0


@frozen
class Parity:
    """How stored words are checked: ``odd`` or ``even`` number of ones under each of ``groups``.

    ``groups`` are masks over the word as dumped, check bits included; none means the whole word.
    """

    kind: ParityKind
    groups: tuple[int, ...] = ()

    def valid(self, words: Patterns, bits: int) -> Flags:
        """Return which words pass every check."""
        good = np.ones(words.size, dtype=np.bool_)
        for group in self.groups or (mask(bits),):
            odd = ones_in(words & np.uint64(group)) % 2 == 1
            good &= odd if self.kind == "odd" else ~odd
        return good


@define(eq=False, slots=False)
class Words:
    """The words of a dump: arrays of one length, in reading order.

    ``known`` has 1 for every bit that could be read, in the expected word and in the observed one.
    ``again`` and ``again_known`` are a second reading of the same addresses, or None.
    """

    bits: int
    expected: Patterns
    observed: Patterns
    known: Patterns
    parity: Parity | None = None
    again: Patterns | None = None
    again_known: Patterns | None = None

    @cached_property
    def wrong(self) -> Patterns:
        """The bits that differ, per word, among those known."""
        return (self.expected ^ self.observed) & self.known

    @cached_property
    def damaged(self) -> int:
        """The bits that differ in at least one word."""
        return any_ones(self.wrong)

    @property
    def full(self) -> int:
        """All bits of a word."""
        return mask(self.bits)


@define(eq=False, slots=False)
class Evidence:
    """Addresses in reading order, which of them failed, and the words if there are any.

    ``assumed`` says that addresses not listed as failing were only taken to be right.
    ``unread`` counts addresses given of which no digit could be read; they are left out.
    """

    word: WordFormat
    address: WordFormat
    addresses: Addresses
    failing: Flags
    words: Words | None = None
    assumed: bool = False
    unread: int = 0
    _table: Addresses = field(init=False, repr=False)
    _base: int = field(init=False, default=0)
    _dense: bool = field(init=False, default=True)

    def __attrs_post_init__(self) -> None:
        """Build the table from address to place in the arrays."""
        low, high = int(self.addresses.min()), int(self.addresses.max())
        self._dense = high - low < DENSE_LIMIT
        if self._dense:
            self._base = low
            self._table = np.full(high - low + 1, -1, dtype=np.int64)
            self._table[self.addresses - low] = np.arange(self.addresses.size)
        else:
            self._table = np.argsort(self.addresses, kind="stable")

    @property
    def full(self) -> int:
        """All bits of an address."""
        return mask(self.address.bits)

    @cached_property
    def failures(self) -> Addresses:
        """The addresses that failed, rising."""
        return np.sort(self.addresses[self.failing])

    @cached_property
    def varying(self) -> tuple[int, ...]:
        """The address bits that are not the same in every address looked at."""
        patterns = self.addresses.astype(np.uint64)
        return bits_of(any_ones(patterns) & ~all_ones(patterns))

    def need_words(self) -> Words:
        """Return the words; ValueError if only a list of addresses was given."""
        if self.words is None:
            raise ValueError("this needs a dump and what was expected, a list of addresses does not do")
        return self.words

    def places(self, wanted: Addresses) -> Addresses:
        """Return where each wanted address is in the arrays, -1 where it was not read."""
        if self._dense:
            spot = wanted - self._base
            inside = (spot >= 0) & (spot < self._table.size)
            return np.where(inside, self._table[np.where(inside, spot, 0)], -1)
        at = np.minimum(np.searchsorted(self.addresses, wanted, sorter=self._table), self._table.size - 1)
        found = self._table[at]
        return np.where(self.addresses[found] == wanted, found, -1)


def address_evidence(
    failing: Sequence[int],
    *,
    tested: Sequence[int] | range | None = None,
    base: Base = 8,
    address_bits: int | None = None,
) -> Evidence:
    """Return the evidence of a bare list of failing addresses.

    ``tested`` are all addresses that were tried; without it every address of ``address_bits`` bits (or of
    the smallest power of two that holds the list) is taken to have been tried and found right, and the
    report says so. Above 20 address bits that is done for the aligned block around the failures only.
    ValueError for an empty list, a negative address, one outside what was tested, or too large a block.
    """
    bad = np.unique(np.asarray(list(failing), dtype=np.int64))
    if bad.size == 0:
        raise ValueError("a list of failing addresses needs at least one address")
    if bad[0] < 0:
        raise ValueError(f"an address is not negative: {int(bad[0])}")
    width = max(int(bad[-1]).bit_length(), 1) if address_bits is None else address_bits
    _check_width(int(bad[-1]), width)
    every = _around(bad, width) if tested is None else np.unique(np.asarray(tested, dtype=np.int64))
    failed = np.isin(every, bad)
    if int(failed.sum()) != bad.size:
        stray = sorted(set(bad.tolist()) - set(every.tolist()))
        raise ValueError(f"every failing address must be among those tested, {stray[0]} is not")
    width = max(width, int(every[-1]).bit_length())
    form = WordFormat(bits=width, base=base)
    return Evidence(form, form, every, failed, assumed=tested is None)


def _around(bad: Addresses, width: int) -> Addresses:
    """Return every address, or where that is too many the aligned block around the failures."""
    span = width if width <= ASSUMED_BITS else (int(bad[0]) ^ int(bad[-1])).bit_length()
    if span > ASSUMED_BITS:
        raise ValueError(
            f"say which addresses were tested: more than 2**{ASSUMED_BITS} lie between the failures"
        )
    first = int(bad[0]) >> span << span if width > ASSUMED_BITS else 0
    return np.arange(first, first + (1 << span), dtype=np.int64)


def dump_evidence(
    addresses: npt.ArrayLike,
    expected: npt.ArrayLike,
    observed: npt.ArrayLike,
    *,
    bits: int,
    known: npt.ArrayLike | None = None,
    again: npt.ArrayLike | None = None,
    again_known: npt.ArrayLike | None = None,
    parity: Parity | None = None,
    base: Base = 8,
    numbering: Numbering = "lsb0",
    address_bits: int | None = None,
) -> Evidence:
    """Return the evidence of a dump against what was expected, in reading order.

    ``bits`` is the size of a word as dumped (1 to 64), ``known`` the mask of bits that are known in both.
    ``numbering`` is that of data bits; address bits go by weight, as address lines do on every board.
    ValueError for arrays of different length, no words, words above ``bits`` bits or an address twice.
    """
    if not 1 <= bits <= 64:
        raise ValueError(f"words have 1 to 64 bits here, not {bits}")
    at = np.asarray(addresses, dtype=np.int64)
    full = np.uint64(mask(bits))
    masks = _column(known, at, full) & full
    second_masks = None if again is None else _column(again_known, at, full) & full
    words = Words(
        bits, _column(expected, at, full), _column(observed, at, full), masks, parity,
        None if again is None else _column(again, at, full), second_masks,
    )  # fmt: skip
    _check_dump(at, words)
    form = WordFormat(bits=bits, base=base, numbering=numbering)
    width = max(int(at.max()).bit_length(), 1) if address_bits is None else address_bits
    _check_width(int(at.max()), width)
    place = WordFormat(bits=width, base=base)
    keep = masks != 0
    if not keep.any():
        raise ValueError("no word of the dump has a digit that could be read")
    words = _kept(words, keep)
    return Evidence(form, place, at[keep], words.wrong != 0, words, unread=int((~keep).sum()))


def _column(values: npt.ArrayLike | None, like: Addresses, default: np.uint64) -> Patterns:
    return np.full(like.shape, default, dtype=np.uint64) if values is None else as_patterns(values)


def _kept(words: Words, keep: Flags) -> Words:
    again = None if words.again is None else words.again[keep]
    again_known = None if words.again_known is None else words.again_known[keep]
    return Words(
        words.bits, words.expected[keep], words.observed[keep], words.known[keep], words.parity,
        again, again_known,
    )  # fmt: skip


def _check_width(highest: int, width: int) -> None:
    if not 1 <= width <= 62 or highest >> width:
        raise ValueError(f"address bits must hold every address, and be 1 to 62: {width} for {highest}")


def _check_dump(at: Addresses, words: Words) -> None:
    columns = [words.expected, words.observed, words.known, words.again, words.again_known]
    if at.ndim != 1 or any(c is not None and c.shape != at.shape for c in columns):
        raise ValueError("addresses, expected and observed words must be flat and of one length")
    if at.size == 0:
        raise ValueError("a dump needs at least one word")
    if at.min() < 0 or np.unique(at).size != at.size:
        raise ValueError("every address must appear once and not be negative")
    for column in (words.expected, words.observed, words.again):
        if column is not None and any_ones(column) & ~words.full:
            raise ValueError(f"words must fit {words.bits} bits")
