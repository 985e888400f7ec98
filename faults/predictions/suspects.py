"""Who is suspected: every single fault of the board, those of single cells where the evidence points at them.

A board has thousands of lines and hundreds of thousands of cells. All that is not fine (lines, amplifiers,
drivers, chips, nets) is listed whole. Of the fine families (single cells, single cores, rows and columns
inside chips) those are listed that the evidence names, and of the rest a sample drawn by a fixed seed, each
standing for many: the prior of the whole family is kept, only its members are not all tried. The words that
the same programs of the case touch have a sample of their own, so that few but telling ones are not missed.
"""

from collections.abc import Iterator
from typing import Final

import numpy as np
from attrs import define, field, frozen

from faults.boards.board import Board
from faults.fault import Fault, FaultPart
from faults.hypotheses import Hypothesis, IntArray, reweighted, spread
from faults.kinds import kind_named
from faults.notation import fault_text
from faults.predictions.clues import Clues
from faults.priors import Priors
from faults.sites import CellBit, SelectLine, Site
from faults.universe import CellBlock, Listed, NeighbourBlock, universe_of

Block = Listed | CellBlock | NeighbourBlock
SAMPLE: Final = 60
"""How many members of a fine family and kind are tried beside those that the evidence names, of each sort."""

_WHOLE: Final = 600
_EACH_WORD: Final = 4
_FEW_WORDS: Final = 256
"""Of words that some programs touch and others do not: all members if so few, else a few of each word."""

INTERMITTENT_SHARE: Final = 0.5
_MOST_NAMED: Final = 4000
_MOST_PROGRAMS: Final = 20
_MUCH: Final = 0.3
"""A row or column inside a chip is named by a dump if this share of the wrong words lies in it."""


@frozen(eq=False)
class Suspect:
    """One fault that is tried. ``stands_for``: how many like it, itself included, its prior stands for.
    ``chancy``: it comes and goes, at a rate nobody knows. ``fault`` is None where nothing is wrong.
    """  # noqa: D205

    fault: Fault | None
    hypothesis: Hypothesis
    stands_for: int = 1
    chancy: bool = False


@frozen(eq=False)
class Suspects:
    """Everybody who is suspected, "nothing is wrong" last."""

    board: Board
    all: tuple[Suspect, ...]
    universe: int
    sampled: int

    @property
    def hypotheses(self) -> tuple[Hypothesis, ...]:
        """The hypotheses in order."""
        return tuple(s.hypothesis for s in self.all)

    @property
    def note(self) -> str:
        """Say what was tried."""
        text = f"{len(self.all) - 1:,} of {self.universe:,} single faults tried"
        if self.sampled:
            text += (
                f"; {self.sampled:,} of single cells and other small parts by a sample that stands for all"
            )
        return text


@define(eq=False)
class SuspectMaker:
    """Makes the suspects of cases of one board under one table of priors; the same ones only once."""

    board: Board
    priors: Priors
    blocks: tuple[Block, ...] = field(init=False)
    _known: dict[tuple[int, int], Suspect] = field(factory=dict, init=False)
    _regions: dict[int, tuple[IntArray, IntArray]] = field(factory=dict, init=False)

    def __attrs_post_init__(self) -> None:
        self.blocks = universe_of(self.board).faults.blocks

    def suspects(self, clues: Clues, *, sample: int = SAMPLE) -> Suspects:
        """Return the suspects of a case. ``clues``: what points at fine sites."""
        found: list[Suspect] = []
        tried = 0
        for number, block in enumerate(self.blocks):
            if isinstance(block, CellBlock):
                listed = self._fine(number, block, clues, sample)
                tried += len(block) - len(listed)
                found += listed
            else:
                found += [self._suspect(number, place) for place in range(len(block))]
        if clues.comes_and_goes:
            found += [self._chancy(s) for s in tuple(found) if s.stands_for == 1]
        total = spread([s.hypothesis for s in found], healthy_share=self.priors.healthy)
        found.append(Suspect(None, total[-1]))
        return Suspects(self.board, tuple(found), sum(len(b) for b in self.blocks), tried)

    def _suspect(self, number: int, place: int) -> Suspect:
        known = self._known.get((number, place))
        if known is None:
            fault = self.blocks[number].fault(place)
            part = fault.parts[0]
            site = self.board.site(part.sites[0])
            text = fault_text(fault, self.board)
            label = _label(self.board, part, site)
            known = Suspect(fault, Hypothesis(text, self.weight(fault), site.part, label))
            self._known[number, place] = known
        return known

    def weight(self, fault: Fault) -> float:
        """Return the prior weight of a single fault."""
        part = fault.parts[0]
        site = self.board.site(part.sites[0])
        return self.priors.weight(site.part, part.kind, kind_named(part.kind).weight)

    def _chancy(self, steady: Suspect) -> Suspect:
        """Return the same fault, coming and going. Its rate is not known: it is written as half the time."""
        one = steady.hypothesis
        factor = self.priors.way.get("intermittent", INTERMITTENT_SHARE)
        twin = Hypothesis(f"{one.fault}@50%", one.weight * factor, one.part, f"{one.label} (comes and goes)")
        return Suspect(steady.fault, twin, chancy=True)

    def _fine(self, number: int, block: CellBlock, clues: Clues, sample: int) -> list[Suspect]:
        named = sorted(set(self._named(number, block, clues)))[:_MOST_NAMED]
        found = [self._suspect(number, n) for n in named]
        touched, each = self._touched(number, block, clues)
        for sort in np.unique(touched).tolist():
            units = np.flatnonzero(touched == sort)
            found += self._drawn(number, units, each, named, _enough(units, each, sample) if sort else sample)
        return found

    def _drawn(self, number: int, units: IntArray, each: int, named: list[int], count: int) -> list[Suspect]:
        """Return ``count`` members drawn from units of ``each``; they stand for all that are not named."""
        known = set(named)
        inside = int(np.isin(np.array(named, np.int64) // each, units).sum())
        rest = len(units) * each - inside
        size = min(len(units) * each, -(-(count + inside) // 1024) * 1024)  # so that cases share their draws
        draws = np.random.default_rng((number, len(units))).choice(len(units) * each, size, replace=False)
        members = (units[draws // each] * each + draws % each).tolist()
        chosen = sorted([m for m in members if m not in known][:count])
        found = []
        for place, member in enumerate(chosen):
            one = self._suspect(number, member)
            stands_for = rest // len(chosen) + (place < rest % len(chosen))
            weighted = reweighted(one.hypothesis, one.hypothesis.weight * stands_for)
            found.append(Suspect(one.fault, weighted, stands_for))
        return found

    def _touched(self, number: int, block: CellBlock, clues: Clues) -> tuple[IntArray, int]:
        """Return which programs touch each unit of a family (int64[units], a bit each), and its members.

        A unit is a word of a store with all its cells, or a row or column inside a chip.
        """
        programs = clues.touched.get(block.family.store, ())[:_MOST_PROGRAMS]
        sample = self.board.member(block.family, (0,) * len(block.family.dimensions))
        if isinstance(sample.role, CellBit):
            found = np.zeros(len(block.rows), np.int64)
            for bit, addresses in enumerate(programs):
                found |= np.isin(np.array(block.rows), addresses).astype(np.int64) << bit
            return found, block.per_row * len(block.variants)
        masks, values = self._decoded(number, block)
        found = np.zeros(len(masks), np.int64)
        for bit, addresses in enumerate(programs):
            for mask in np.unique(masks).tolist():
                served = (masks == mask) & np.isin(values, addresses & mask)
                found |= served.astype(np.int64) << bit
        return found, len(block.variants)

    def _named(self, number: int, block: CellBlock, clues: Clues) -> Iterator[int]:
        """Yield the members of a fine family that the evidence points at."""
        family, several = block.family, len(block.variants)
        addresses = clues.addresses.get(family.store, frozenset())
        damage = clues.damage.get(family.store)
        if not addresses and damage is None:
            return
        sample = self.board.member(family, (0,) * len(family.dimensions))
        if isinstance(sample.role, CellBit):
            width = len(family.dimensions[1])
            for address in addresses:
                if address in block.rows:
                    first = block.rows.index(address) * width * several
                    yield from range(first, first + width * several)
            return
        masks, values = self._decoded(number, block)
        members = [m for a in addresses for m in np.flatnonzero((a & masks) == values).tolist()]
        if damage is not None:
            members += _holding_much(masks, values, damage)
        for member in members:
            yield from range(member * several, (member + 1) * several)

    def _decoded(self, number: int, block: CellBlock) -> tuple[IntArray, IntArray]:
        """Return which addresses each member of a fine family serves: ``address & mask == value``."""
        if number not in self._regions:
            family = block.family
            roles = []
            for member in range(len(block) // len(block.variants)):
                row, rest = divmod(member, block.per_row)
                indices = family.indices(block.rows[row] * block.per_row + rest)
                roles.append(family.site(indices).role)
            regions = [
                (r.region.mask, r.region.value) if isinstance(r, SelectLine) else (0, -1) for r in roles
            ]
            table = np.array(regions, np.int64).reshape(-1, 2)
            self._regions[number] = table[:, 0].copy(), table[:, 1].copy()
        return self._regions[number]


def _enough(units: IntArray, each: int, sample: int) -> int:
    """Return how many members are drawn of units that some programs touch."""
    if len(units) * each <= _WHOLE:
        return len(units) * each
    return max(sample, _EACH_WORD * len(units)) if len(units) <= _FEW_WORDS else sample


def _holding_much(masks: IntArray, values: IntArray, damage: IntArray) -> list[int]:
    """Return the members of a fine family in which a good part of the damage lies."""
    found: list[int] = []
    for mask in np.unique(masks[values >= 0]).tolist():
        places, counts = np.unique(damage & mask, return_counts=True)
        much = places[counts >= _MUCH * len(damage)]
        found += np.flatnonzero((masks == mask) & np.isin(values, much)).tolist()
    return found


def _label(board: Board, part: FaultPart, site: Site) -> str:
    sites = [site, *(board.site(path) for path in part.sites[1:])]
    said = " and ".join(s.noun for s in sites)
    marks = list(dict.fromkeys(text for s in sites if (text := s.labels.text())))
    return f"{said} ({'; '.join(marks)})" if marks else said
