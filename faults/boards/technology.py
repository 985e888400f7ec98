"""What a way of building a store is: the keys of its table in a board file, and the families of its sites.

Another package adds one with an entry point of the group ``corewright.boards`` that names a
:class:`Technology`; a table ``[[store]]`` with ``built = "its name"`` then uses it.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from attrs import frozen

from emu.spec import MachineSpec, StoreSpec
from emu.words import WordFormat
from faults.boards.bits import stored_bit_names
from faults.boards.family import Addresses, Family, Named
from faults.sites import Region, Role, Site


@frozen(eq=False)
class StoreGround:
    """One store of a machine, as a way of building sees it."""

    machine: MachineSpec
    index: int

    @property
    def spec(self) -> StoreSpec:
        """The store."""
        return self.machine.stores[self.index]

    @property
    def name(self) -> str:
        """Its name, with which the paths of its sites begin."""
        return self.spec.name

    @property
    def full(self) -> int:
        """The mask of all its stored bits."""
        return (1 << self.spec.bits) - 1

    @property
    def address_bits(self) -> int:
        """How many address lines it has."""
        return max(1, (self.spec.words - 1).bit_length())

    @property
    def bits(self) -> Named:
        """The dimension of its stored bits."""
        return Named("bit", stored_bit_names(self.machine, self.index))

    @property
    def addresses(self) -> Addresses:
        """The dimension of its addresses."""
        base = self.machine.word.base
        return Addresses("address", self.spec.words, WordFormat(self.address_bits, base=base))

    def region(self, mask: int = 0, value: int = 0) -> Region:
        """Return the cells of a part."""
        return Region(self.spec.words, mask, value)


RoleMaker = Callable[[tuple[int, ...]], Role]


def numbered(noun: str, count: int) -> Named:
    """Return a dimension 0 .. count - 1."""
    return Named(noun, tuple(str(i) for i in range(count)))


def spoken(noun: str) -> str:
    """Return a noun with the names of check bits as people say them: ``the parity bit``, ``check bit 2``."""
    return re.sub(r"\bbit check(\d)", r"check bit \1", noun.replace("bit parity", "the parity bit"))


def family(
    ground: StoreGround,
    tail: str,
    dimensions: tuple[Named | Addresses, ...],
    role: RoleMaker,
    *,
    stage: int,
    part: str,
    noun: str,
    fine: bool = False,
) -> Family:
    """Return a family ``STORE/tail/..``; ``noun`` holds a ``{}`` for every dimension."""
    store = ground.name

    def make(path: str, indices: tuple[int, ...]) -> Site:
        texts = [d.text(i) for d, i in zip(dimensions, indices, strict=True)]
        return Site(path, role(indices), stage, part, spoken(f"{noun.format(*texts)} of the {store}"))

    return Family(f"{store}/{tail}", dimensions, make, ground.index, fine)


@frozen(eq=False)
class Technology:
    """A way of building. ``table``: the class of its table (``emu.schema``), with at least ``store``.

    ``families`` gives the sites; ``wrong`` yields (attribute, message) for what the schema cannot check.
    """

    name: str
    table: type
    families: Callable[[StoreGround, Any], Iterable[Family]]
    wrong: Callable[[StoreGround, Any], Iterator[tuple[str, str]]]
