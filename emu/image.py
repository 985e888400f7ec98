"""What a memory holds, as far as it is known: sparse words, each with a mask of the bits that are certain."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise
from typing import Any, Final

import numpy as np
from attrs import Factory, field, frozen
from attrs import validators as valid

from emu.where import Place
from emu.words import mask

Cells = Mapping[int, tuple[int, int]]
MAX_ADDRESS: Final = (1 << 32) - 1
ARRAY_BITS: Final = 62  # wider words do not fit signed 64-bit array elements


@frozen
class Run:
    """``count`` words from address ``first`` on, and the place in the input that gave them."""

    first: int
    count: int
    place: Place


@frozen
class Conflict:
    """An address for which two images are certain of different bits (``differs`` is the mask of them)."""

    address: int
    differs: int
    ours: Place | None
    theirs: Place | None


def _sorted_cells(cells: Cells) -> dict[int, tuple[int, int]]:
    return dict(sorted(cells.items()))


@frozen
class MemoryImage:
    """Words of ``bits`` stored bits (1 to 128, check bits included) by address.

    ``cells`` maps an address (0 to 2**32 - 1) to ``(value, known)``: bits that are 0 in the mask ``known``
    are not certain and are 0 in the value. An address that is not there is not known at all. Equality looks
    at ``bits`` and ``cells`` only. ValueError if a cell breaks these rules.
    """

    bits: int = field(validator=[valid.instance_of(int), valid.ge(1), valid.le(128)])
    cells: Cells = field(factory=dict, converter=_sorted_cells)
    runs: tuple[Run, ...] = field(default=(), eq=False, repr=False)
    _starts: tuple[int, ...] = field(
        init=False, eq=False, repr=False, default=Factory(lambda self: _starts(self.runs), takes_self=True)
    )

    def __attrs_post_init__(self) -> None:
        full = mask(self.bits)
        for address, (value, known) in self.cells.items():
            if not (0 <= address <= MAX_ADDRESS and 0 <= known <= full and value | known == known):
                raise ValueError(
                    f"a cell of {self.bits} bits lies at 0 to {MAX_ADDRESS} and its value within its known "
                    f"bits, got {value:#o} known {known:#o} at {address:#o}"
                )

    @classmethod
    def certain(cls, bits: int, words: Mapping[int, int], runs: tuple[Run, ...] = ()) -> "MemoryImage":
        """Return the image of wholly known words by address."""
        full = mask(bits)
        return cls(bits, {address: (word, full) for address, word in words.items()}, runs)

    @classmethod
    def of_words(cls, bits: int, words: Iterable[int], first: int = 0) -> "MemoryImage":
        """Return the image of wholly known words that follow each other from ``first``."""
        return cls.certain(bits, dict(enumerate(words, first)))

    def words(self) -> Iterator[tuple[int, int, int]]:
        """Yield ``(address, value, known)`` by rising address."""
        return ((address, value, known) for address, (value, known) in self.cells.items())

    def ranges(self) -> tuple[tuple[int, int], ...]:
        """Return the first and last address of every unbroken stretch, rising."""
        addresses = list(self.cells)
        if not addresses:
            return ()
        breaks = [(a, b) for a, b in pairwise(addresses) if b != a + 1]
        firsts = [addresses[0], *(b for _, b in breaks)]
        lasts = [*(a for a, _ in breaks), addresses[-1]]
        return tuple(zip(firsts, lasts, strict=True))

    def place_of(self, address: int) -> Place | None:
        """Return where the word at ``address`` was said, if that was recorded."""
        index = bisect_right(self._starts, address) - 1
        if index < 0:
            return None
        run = self.runs[index]
        return run.place if address < run.first + run.count else None

    def merged(self, other: "MemoryImage") -> tuple["MemoryImage", tuple[Conflict, ...]]:
        """Return both images in one, and every address where they contradict each other.

        A bit known to one is known to the merger; a bit on which they differ is *not known* there: neither
        is preferred. ValueError if the words differ in size.
        """
        if other.bits != self.bits:
            raise ValueError(f"images to merge have words of one size, got {self.bits} and {other.bits} bits")
        cells = dict(self.cells)
        conflicts: list[Conflict] = []
        for address, (value, known) in other.cells.items():
            our_value, our_known = cells.get(address, (0, 0))
            differs = (value ^ our_value) & known & our_known
            cells[address] = ((value | our_value) & ~differs, (known | our_known) & ~differs)
            if differs:
                places = self.place_of(address), other.place_of(address)
                conflicts.append(Conflict(address, differs, *places))
        runs = tuple(sorted((*self.runs, *other.runs), key=lambda run: run.first))
        return MemoryImage(self.bits, cells, runs), tuple(conflicts)

    def to_arrays(self, size: int, fill: int = 0) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
        """Return ``(values, known)``, two arrays of shape ``(size,)``, index = address.

        int64 for words up to 62 bits, else arrays of Python ints (dtype object). Bits that are not known
        are taken from ``fill``. ValueError if an address is ``size`` or more, or ``fill`` is no word.
        """
        if not 0 <= fill <= mask(self.bits):
            raise ValueError(f"the fill is a word of {self.bits} bits, got {fill:#o}")
        last = max(self.cells, default=-1)
        if last >= size:
            raise ValueError(
                f"a store of {size} words ends at {size - 1:#o}, the image has a word at {last:#o}"
            )
        dtype: Any = np.int64 if self.bits <= ARRAY_BITS else object
        values, known = np.full(size, fill, dtype), np.zeros(size, dtype)
        for address, (value, certain) in self.cells.items():
            values[address] = value | fill & ~certain
            known[address] = certain
        return values, known


def _starts(runs: tuple[Run, ...]) -> tuple[int, ...]:
    return tuple(run.first for run in runs)


@frozen
class ProgramImage:
    """An assembled program: what goes into each store, where to start, and the names of addresses.

    ``segments`` maps a store's name to its image in that store's own addresses; ``entry`` is the program
    counter to start from, or None for the machine's own; ``symbols`` maps a name to its value.
    """

    segments: Mapping[str, MemoryImage]
    entry: int | None = None
    symbols: Mapping[str, int] = field(factory=dict)
