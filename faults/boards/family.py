"""Families of like sites: ``core/x/0`` to ``core/x/31``, ``core/cell/0o0000/1`` to ``core/cell/0o3777/16``.

A family is never spelled out before somebody asks: the cells of a store are a family of hundreds of
thousands.
"""

import difflib
from collections.abc import Callable, Iterator, Sequence
from functools import cached_property
from itertools import product
from math import prod
from typing import Protocol

from attrs import define, field, frozen

from emu.words import WordFormat
from faults.sites import Site


class Dimension(Protocol):
    """One part of the paths of a family: how its members are written."""

    noun: str

    def __len__(self) -> int: ...

    def text(self, index: int) -> str:
        """Return how member ``index`` is written."""

    def index(self, text: str) -> int:
        """Return which member is written so; -1 for none."""

    def nearest(self, text: str) -> int:
        """Return the member that was most probably meant."""

    def range_text(self) -> str:
        """Return the members in words."""

    def listed(self, index: int) -> int:
        """Return the place of member ``index`` in a list that has something for each."""


@define(slots=False)
class Named:
    """Members with names, mostly numbers."""

    noun: str
    names: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def _places(self) -> dict[str, int]:
        return {name: i for i, name in enumerate(self.names)}

    def text(self, index: int) -> str:
        """Return how member ``index`` is written."""
        return self.names[index]

    def index(self, text: str) -> int:
        """Return which member is written so; -1 for none. Leading zeros of numbers are free."""
        plain = text.lstrip("0") or "0" if text.isascii() and text.isdigit() else text
        return self._places.get(plain, -1)

    def nearest(self, text: str) -> int:
        """Return the member that was most probably meant: for numbers the nearest."""
        numbers = [(i, int(n)) for i, n in enumerate(self.names) if n.isdigit()]
        if text.isascii() and text.isdigit() and len(text) < 20 and numbers:
            return min(numbers, key=lambda pair: abs(pair[1] - int(text)))[0]
        close = difflib.get_close_matches(text, self.names, n=1, cutoff=0) if text else []
        return self._places[close[0]] if close else 0

    @cached_property
    def _order(self) -> dict[str, int]:
        numbers = sorted((n for n in self.names if n.isdigit()), key=int)
        others = [n for n in self.names if not n.isdigit()]
        return {name: place for place, name in enumerate([*numbers, *others])}

    def listed(self, index: int) -> int:
        """Return the place in a list of all members: numbers upward, then names."""
        return self._order[self.names[index]]

    def range_text(self) -> str:
        """Return the members in words: ``0 to 31``, or a list."""
        if len(self.names) > 3 and all(n.isdigit() for n in self.names):
            return f"{self.names[0]} to {self.names[-1]}"
        digits = [n for n in self.names if n.isdigit()]
        others = [n for n in self.names if not n.isdigit()]
        if len(digits) > 3:
            first, last = sorted((int(digits[0]), int(digits[-1])))
            return ", ".join([f"{first} to {last}", *others])
        return ", ".join(self.names)


@define
class Addresses:
    """The addresses of a store, written in the machine's base."""

    noun: str
    count: int
    format: WordFormat

    def __len__(self) -> int:
        return self.count

    def text(self, index: int) -> str:
        """Return the address with its base shown."""
        return self.format.tagged(index)

    def index(self, text: str) -> int:
        """Return the address; -1 if it is none of the store. Plain digits are in the machine's base."""
        try:
            value = self.format.parse(text)
        except ValueError:
            return -1
        return value if value < self.count else -1

    def nearest(self, text: str) -> int:
        """Return the last address where the address given lies beyond the store, else the first."""
        try:
            return min(WordFormat(64, base=self.format.base).parse(text), self.count - 1)
        except ValueError:
            return 0

    def listed(self, index: int) -> int:
        """Return the place in a list of all addresses."""
        return index

    def range_text(self) -> str:
        """Return the addresses in words."""
        return f"{self.text(0)} to {self.text(self.count - 1)}"


Maker = Callable[[str, tuple[int, ...]], Site]


@frozen(eq=False)
class Family:
    """The sites ``prefix/a/b/..``. ``make`` takes the path and the index in every dimension.

    ``store``: the store they belong to, or -1. ``fine``: too many or too small to be listed with the
    structure of the board (cells, insides of chips).
    """

    prefix: str
    dimensions: tuple[Dimension, ...]
    make: Maker
    store: int = -1
    fine: bool = False

    @property
    def size(self) -> int:
        """How many sites."""
        return prod(len(d) for d in self.dimensions)

    def path(self, indices: Sequence[int]) -> str:
        """Return the path of a member."""
        texts = (d.text(i) for d, i in zip(self.dimensions, indices, strict=True))
        return "/".join((self.prefix, *texts))

    def site(self, indices: tuple[int, ...]) -> Site:
        """Return a member."""
        return self.make(self.path(indices), indices)

    def indices(self, number: int) -> tuple[int, ...]:
        """Return the indices of member ``number`` in the order of :meth:`all`."""
        found = []
        for d in reversed(self.dimensions):
            number, index = divmod(number, len(d))
            found.append(index)
        return tuple(reversed(found))

    def all(self) -> Iterator[tuple[int, ...]]:
        """Yield the indices of every member, the last dimension fastest."""
        yield from product(*(range(len(d)) for d in self.dimensions))


@define
class FamilyTree:
    """The families of a board, found by path."""

    families: tuple[Family, ...]
    _by_prefix: dict[str, Family] = field(init=False)

    def __attrs_post_init__(self) -> None:
        self._by_prefix = {f.prefix: f for f in self.families}

    def family(self, path: str) -> Family | None:
        """Return the family whose members have such paths, by its prefix."""
        parts = path.split("/")
        for used in range(len(parts), 0, -1):
            found = self._by_prefix.get("/".join(parts[:used]))
            if found is not None:
                return found
        return None

    def find(self, path: str) -> tuple[Family, tuple[int, ...]] | None:
        """Return the family and the indices of a path, or None."""
        family = self.family(path)
        if family is None:
            return None
        rest = path[len(family.prefix) + 1 :].split("/") if path != family.prefix else []
        if len(rest) != len(family.dimensions):
            return None
        indices = tuple(d.index(t) for d, t in zip(family.dimensions, rest, strict=True))
        return None if -1 in indices else (family, indices)

    @property
    def prefixes(self) -> tuple[str, ...]:
        """The prefixes of all families."""
        return tuple(self._by_prefix)
