"""Every fault that a machine's boards can have: listed, counted, collapsed.

A universe is a lazy sequence: the single cells of a store are spelled out only when somebody walks over them.
"""

import hashlib
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from functools import cached_property
from itertools import pairwise
from typing import overload

from attrs import define, field, frozen

from emu.memory import MemoryPlan
from faults.boards.board import Board
from faults.boards.family import Family
from faults.fault import Fault, FaultPart, natural
from faults.kinds import Kind, all_kinds
from faults.lower import plan_of, single_cell_form
from faults.sites import CellBit, Site


@frozen(eq=False)
class Listed:
    """Faults that are spelled out."""

    faults: tuple[Fault, ...]

    def __len__(self) -> int:
        return len(self.faults)

    def fault(self, number: int) -> Fault:
        """Return one fault."""
        return self.faults[number]

    def all(self) -> Iterator[Fault]:
        """Yield all faults."""
        yield from self.faults

    def counts(self) -> Counter[str]:
        """Return how many faults there are of each kind and form."""
        return Counter("-".join((f.parts[0].kind, *f.parts[0].params)) for f in self.faults)


@frozen(eq=False)
class CellBlock:
    """One kind of fault, in its forms, at every member of a fine family; ``cells``: of these only."""

    family: Family
    kind: str
    variants: tuple[tuple[str, ...], ...]
    first: range | None = None

    @property
    def rows(self) -> range:
        """The indices of the first dimension."""
        return self.first if self.first is not None else range(len(self.family.dimensions[0]))

    @cached_property
    def per_row(self) -> int:
        """How many members there are for one index of the first dimension."""
        return self.family.size // max(1, len(self.family.dimensions[0]))

    def __len__(self) -> int:
        return len(self.rows) * self.per_row * len(self.variants)

    def fault(self, number: int) -> Fault:
        """Return one fault."""
        member, variant = divmod(number, len(self.variants))
        row, rest = divmod(member, self.per_row)
        path = self.family.path(self.family.indices(self.rows[row] * self.per_row + rest))
        return Fault((FaultPart(self.kind, (path,), self.variants[variant]),))

    def all(self) -> Iterator[Fault]:
        """Yield all faults."""
        tails = self._tails()
        prefix, first = self.family.prefix, self.family.dimensions[0]
        for row in self.rows:
            head = f"{prefix}/{first.text(row)}"
            for tail in tails:
                path = (head + tail,)
                for variant in self.variants:
                    yield Fault((FaultPart(self.kind, path, variant),))

    def _tails(self) -> list[str]:
        whole = (self.family.path(self.family.indices(n)) for n in range(self.per_row))
        head = len(f"{self.family.prefix}/{self.family.dimensions[0].text(0)}")
        return [path[head:] for path in whole]

    def counts(self) -> Counter[str]:
        """Return how many faults there are of each kind and form."""
        each = len(self) // max(1, len(self.variants))
        return Counter({"-".join((self.kind, *v)): each for v in self.variants})


@frozen(eq=False)
class NeighbourBlock:
    """A kind of fault between two cells, at all pairs of neighbouring addresses, both ways, bit by bit."""

    family: Family
    kind: str
    variants: tuple[tuple[str, ...], ...]
    first: range

    @property
    def pairs(self) -> int:
        """How many pairs of addresses."""
        return max(0, len(self.first) - 1)

    def __len__(self) -> int:
        return self.pairs * len(self.family.dimensions[1]) * 2 * len(self.variants)

    def fault(self, number: int) -> Fault:
        """Return one fault."""
        number, variant = divmod(number, len(self.variants))
        number, back = divmod(number, 2)
        row, bit = divmod(number, len(self.family.dimensions[1]))
        pair = [self.family.path((self.first[row] + i, bit)) for i in ((1, 0) if back else (0, 1))]
        return Fault((FaultPart(self.kind, tuple(pair), self.variants[variant]),))

    def all(self) -> Iterator[Fault]:
        """Yield all faults."""
        return map(self.fault, range(len(self)))

    def counts(self) -> Counter[str]:
        """Return how many faults there are of each kind and form."""
        each = len(self) // max(1, len(self.variants))
        return Counter({"-".join((self.kind, *v)): each for v in self.variants})


Block = Listed | CellBlock | NeighbourBlock


@define(slots=False, eq=False)
class FaultList(Sequence[Fault]):
    """The faults of a universe, in a fixed order, made when they are asked for."""

    blocks: tuple[Block, ...]
    _starts: tuple[int, ...] = field(init=False)

    def __attrs_post_init__(self) -> None:
        starts = [0]
        for block in self.blocks:
            starts.append(starts[-1] + len(block))
        self._starts = tuple(starts)

    def __len__(self) -> int:
        return self._starts[-1]

    @overload
    def __getitem__(self, index: int) -> Fault: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[Fault]: ...
    def __getitem__(self, index: int | slice) -> Fault | Sequence[Fault]:
        if isinstance(index, slice):
            return [self[i] for i in range(*index.indices(len(self)))]
        number = index + len(self) if index < 0 else index
        if not 0 <= number < len(self):
            raise IndexError(index)
        at = next(i for i, start in enumerate(self._starts[1:]) if number < start)
        return self.blocks[at].fault(number - self._starts[at])

    def __iter__(self) -> Iterator[Fault]:
        for block in self.blocks:
            yield from block.all()


@frozen(eq=False)
class FaultGroup:
    """Faults whose plans are equal: no observation of the machine can tell them apart."""

    key: object
    faults: tuple[Fault, ...]


@define(slots=False, eq=False)
class Universe:
    """The faults of a board. ``faults`` is a lazy sequence."""

    board: Board
    faults: FaultList

    def __len__(self) -> int:
        return len(self.faults)

    def counts(self) -> dict[str, int]:
        """Return how many faults there are of each kind and form, by name."""
        total: Counter[str] = Counter()
        for block in self.faults.blocks:
            total += block.counts()
        return dict(sorted(total.items()))

    def collapse(self) -> tuple[FaultGroup, ...]:
        """Return the faults in groups of equal plans, in order of their first members."""
        groups: dict[object, list[Fault]] = {}
        for fault in self.faults:
            groups.setdefault(group_key(self.board, fault), []).append(fault)
        return tuple(FaultGroup(key, tuple(members)) for key, members in groups.items())


def universe_digest(universe: Universe) -> str:
    """Return the SHA-256 (hexadecimal) of which fault has which number; of cells the first and last."""
    found = hashlib.sha256()
    for block in universe.faults.blocks:
        if isinstance(block, Listed):
            told = "\n".join(map(repr, block.faults))
        else:
            ends = [block.fault(i) for i in (0, len(block) - 1)] if len(block) else []
            of = type(block).__name__, block.family.prefix, block.kind, block.variants, block.first
            told = f"{of!r} {ends!r}"
        found.update(f"|{len(block)} {told}".encode())
    return found.hexdigest()


def group_key(board: Board, fault: Fault) -> object:
    """Return what is equal for two faults exactly if their plans are."""
    small = single_cell_form(board, fault)
    return tuple(small) if small is not None else plan_key(plan_of(board, fault))


def plan_key(plan: MemoryPlan) -> object:
    """Return what is equal for two plans exactly if they are; a small form where the plan alters one cell."""
    if len(plan.modes) == 1 and not plan.modes[0].rules and not len(plan.modes[0].bus_moved):
        changed = [(i, t) for i, t in enumerate(plan.modes[0].tables) if not t.healthy]
        if len(changed) == 1 and not len(changed[0][1].moved) and len(changed[0][1].masked) == 1:
            store, t = changed[0]
            masks = (t.out_and[0], t.out_or[0], t.in_and[0], t.in_or[0])
            return (store, int(t.masked[0]), *(int(m) for m in masks))
    return plan.digest


def universe_of(
    board: Board,
    cells: bool = True,
    *,
    stores: Collection[str] | None = None,
    kinds: Collection[str] | None = None,
    region: tuple[int, int] | None = None,
) -> Universe:
    """Return every single fault of a board.

    ``cells``: with those of single cells, single cores and the insides of chips. ``stores``: only of these.
    ``kinds``: only these, by name or name and form (``stuck``, ``stuck-0``); kinds that are not common, such
    as couplings of neighbouring cells, are listed only if they are named here. ``region``: of single cells,
    only those with addresses first to last.
    """
    chosen = _Chosen(board, stores, kinds, region)
    blocks: list[Block] = [chosen.structure()]
    if cells:
        for family in board.families(fine=True):
            if chosen.has_store(family):
                blocks += chosen.fine(family)
    return Universe(board, FaultList(tuple(b for b in blocks if len(b))))


@frozen
class _Chosen:
    board: Board
    stores: Collection[str] | None
    kinds: Collection[str] | None
    region: tuple[int, int] | None

    def has_store(self, family: Family) -> bool:
        if self.stores is None:
            return True
        return family.prefix.split("/")[0] in self.stores

    def variants(self, kind: Kind) -> tuple[tuple[str, ...], ...]:
        if self.kinds is None:
            return kind.variants if kind.common else ()
        return tuple(v for v in kind.variants if kind.name in self.kinds or kind.text(v) in self.kinds)

    def structure(self) -> Listed:
        found: list[Fault] = []
        for family in self.board.families():
            if not self.has_store(family):
                continue
            members = [self.board.member(family, at) for at in family.all()]
            for kind in all_kinds().values():
                for variant in self.variants(kind):
                    found += _faults_of(kind, variant, members, family)
        return Listed(tuple(found))

    def fine(self, family: Family) -> Iterator[Block]:
        sample = self.board.member(family, (0,) * len(family.dimensions))
        cell = isinstance(sample.role, CellBit)
        first = range(self.region[0], self.region[1] + 1) if cell and self.region else None
        for kind in all_kinds().values():
            variants = tuple(v for v in self.variants(kind) if _applies(kind, v, sample))
            if variants:
                yield CellBlock(family, kind.name, variants, first)
            elif cell and kind.pair and issubclass(CellBit, kind.roles) and self.variants(kind):
                rows = first if first is not None else range(len(family.dimensions[0]))
                yield NeighbourBlock(family, kind.name, self.variants(kind), rows)


def _applies(kind: Kind, variant: tuple[str, ...], site: Site) -> bool:
    return not kind.pair and not kind.reason_against((site,), variant) and kind.listed(site, variant)


def _faults_of(kind: Kind, variant: tuple[str, ...], members: list[Site], family: Family) -> Iterator[Fault]:
    if kind.pair:
        along = len(family.dimensions[-1]) if family.dimensions else 1
        for number, (one, other) in enumerate(pairwise(members), 1):
            if number % along and not kind.reason_against((one, other), variant):
                paths = tuple(sorted((one.path, other.path), key=natural))
                yield Fault((FaultPart(kind.name, paths, variant),))
        return
    for site in members:
        if _applies(kind, variant, site):
            yield Fault((FaultPart(kind.name, (site.path,), variant),))
