"""A board: how the memories of one machine are built, and every site that can break."""

from collections.abc import Iterator
from functools import cached_property
from typing import NoReturn

from attrs import define, field

from emu.errors import declare, fail, nearest
from emu.memory import StoreShape, shapes_of
from emu.spec import MachineSpec
from emu.where import Place
from faults.boards.family import Addresses, Family, FamilyTree
from faults.boards.marks import Marks
from faults.sites import Site

UNKNOWN_SITE = declare(
    "unknown-site",
    "A fault lies at a site that the board has.",
    "See `corewright faults MACHINE` for the sites; bits are numbered as the machine file says, address "
    "lines by weight (line n has the weight 2**n).",
    "rope/address/15:stuck-0",
    "fault",
)
FAULT_PLACE = "<fault>"


@define(slots=False, eq=False)
class Board:
    """The stores of a machine with all their sites.

    ``built``: the way each store is built, by its name in board files. ``tree``: the families of sites.
    ``described``: whether a board file says so; without one only lines and cells are known.
    """

    machine: MachineSpec
    tree: FamilyTree
    built: tuple[str, ...]
    marks: Marks = field(factory=Marks)
    doc: str = ""
    described: bool = True

    @cached_property
    def shapes(self) -> tuple[StoreShape, ...]:
        """The shapes of the stores, for plans."""
        return shapes_of(self.machine.stores)

    def families(self, *, fine: bool = False) -> tuple[Family, ...]:
        """Return the families of the board's structure, or the fine ones: cells, insides, single cores."""
        return tuple(f for f in self.tree.families if f.fine == fine)

    def sites(self) -> tuple[Site, ...]:
        """Return every site but the fine ones, in the order of the families."""
        return self._structure

    @cached_property
    def _structure(self) -> tuple[Site, ...]:
        return tuple(self.member(f, at) for f in self.families() for at in f.all())

    @cached_property
    def _found(self) -> dict[str, Site]:
        return {}

    def member(self, family: Family, at: tuple[int, ...]) -> Site:
        """Return a member of a family with its labels."""
        return self.marks.marked(family.site(at), family.dimensions[-1].listed(at[-1]) if at else 0)

    def site(self, path: str, *, place: Place | None = None, source_line: str = "") -> Site:
        """Return the site of that path. Raises InputError, at ``place``, naming the nearest existing site."""
        known = self._found.get(path)
        if known is not None:
            return known
        found = self.tree.find(path)
        if found is None:
            self._refuse(path, place or Place(FAULT_PLACE), source_line)
        site = self.member(*found)
        if not found[0].fine:
            self._found[path] = self._found[site.path] = site
        return site

    def cell(self, store: int, cell: int, bit: int) -> Site:
        """Return the site of one bit (mask) of one cell. KeyError if the store has no cell sites."""
        family = {f.store: f for f in self.families(fine=True) if f.prefix.endswith("/cell")}[store]
        return self.member(family, (cell, bit.bit_length() - 1))

    def has_cells(self, store: int) -> bool:
        """Whether single cells of the store are sites (they are not in a woven store)."""
        return any(f.store == store and f.prefix.endswith("/cell") for f in self.families(fine=True))

    def bit_name(self, store: int, bit: int) -> str:
        """Return what the bit (mask) of a store is called in paths."""
        family = self.tree.family(f"{self.machine.stores[store].name}/data/")
        assert family is not None, "every store has data lines"
        return family.dimensions[0].text(bit.bit_length() - 1)

    def around(self, path: str) -> Iterator[str]:
        """Yield paths of existing sites close to one that does not exist."""
        family = self.tree.family(path)
        if family is None:
            return
        rest = path[len(family.prefix) + 1 :].split("/")
        indices = []
        for i, dimension in enumerate(family.dimensions):
            text = rest[i] if i < len(rest) else ""
            found = dimension.index(text)
            indices.append(found if found >= 0 else dimension.nearest(text))
        yield family.path(indices)

    def _refuse(self, path: str, place: Place, source_line: str) -> NoReturn:
        shown = path[:80]
        family = self.tree.family(path)
        if family is None:
            hint = self._no_board_hint(path) or self._other_spelling(path) or self._first_part_hint(path)
            fail(UNKNOWN_SITE, f"the board of {self.machine.name} has no site {shown!r}", place,
                 hint=hint, source_line=source_line)  # fmt: skip
        wanted = "/".join((family.prefix, *(f"<{d.noun}>" for d in family.dimensions)))
        ranges = "; ".join(f"{d.noun} {d.range_text()}" for d in family.dimensions)
        close = next(self.around(path))
        message = f"the board of {self.machine.name} has the sites {wanted} ({ranges}); given {shown!r}"
        hint = self._decimal_hint(family, path) or f"the nearest is {close!r}"
        fail(UNKNOWN_SITE, message, place, hint=hint, source_line=source_line)

    def _no_board_hint(self, path: str) -> str:
        """Return what is missing where nothing says how a store is built, unless it is a slip of the pen."""
        owner, _, rest = path.partition("/")
        known = [p for p in self.tree.prefixes if p.startswith(f"{owner}/")]
        if self.described or not known or nearest(rest.split("/")[0], [p.split("/")[1] for p in known]):
            return ""
        return (
            f"{self.machine.name} has no board file, so there are only {', '.join(known)}; "
            "write STEM.board.toml beside its machine file STEM.toml, or name one with --board"
        )

    def _decimal_hint(self, family: Family, path: str) -> str:
        """Return what was meant where an address has digits that the machine's base does not have."""
        rest = path[len(family.prefix) + 1 :].split("/")
        base = self.machine.word.base
        if len(rest) != len(family.dimensions):
            return ""
        for i, (text, dimension) in enumerate(zip(rest, family.dimensions, strict=True)):
            decimal = (
                text.isascii() and text.isdigit() and len(text) < 10 and isinstance(dimension, Addresses)
            )
            if decimal and base < 10 and max(text) >= str(base) and int(text) < len(dimension):
                rest[i] = dimension.text(int(text))
                return f"digits are of base {base}; decimal {text} is {'/'.join((family.prefix, *rest))!r}"
        return ""

    def _other_spelling(self, path: str) -> str:
        """Return the hint that names the closest sites, with the rest of the path if they have such."""
        parts = path.lower().split("/")
        for used in range(len(parts), 0, -1):
            head, tail = "/".join(parts[:used]), path.split("/")[used:]
            for prefix in (p for p in self.tree.prefixes if p.lower() == head):
                return f"did you mean {'/'.join((prefix, *tail))!r}?"
        for used in range(len(parts), 0, -1):
            close = nearest(
                "/".join(parts[:used]), [p for p in self.tree.prefixes if p.count("/") == used - 1]
            )
            if close:
                meant = "/".join((close.split("'")[1], *path.split("/")[used:]))
                return f"did you mean {meant!r}?" if self.tree.find(meant) else close
        return ""

    def _first_part_hint(self, path: str) -> str:
        owners = sorted({p.split("/")[0] for p in self.tree.prefixes})
        first = path.split("/", maxsplit=1)[0]
        if first in owners:
            known = ", ".join(p for p in self.tree.prefixes if p.startswith(first + "/"))
            return f"{first} has {known}"
        return nearest(first, owners) or f"sites begin with {', '.join(owners)}"
