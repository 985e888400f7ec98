"""Who is suspected: every single fault of the board, those of single cells where the evidence points at them.

A board has thousands of lines and hundreds of thousands of cells. All that is not fine (lines, amplifiers,
drivers, chips, nets) is listed whole. Of the fine families (single cells, single cores, rows and columns
inside chips) those are listed that the evidence names, and of the rest a sample drawn by a fixed seed, each
standing for many: the prior of the whole family is kept, only its members are not all tried.
"""

from collections.abc import Collection, Iterator
from typing import Final

import numpy as np
from attrs import frozen

from emu.memory import MemoryPlan
from faults.boards.board import Board
from faults.fault import Fault, FaultPart
from faults.hypotheses import Hypothesis, spread
from faults.kinds import kind_named
from faults.lower import plan_of
from faults.notation import fault_text
from faults.predictions.clues import Clues
from faults.priors import Priors
from faults.sites import CellBit, SelectLine, Site
from faults.universe import CellBlock, universe_of

SAMPLE: Final = 60
"""How many members of a fine family and kind are tried beside those that the evidence names."""

INTERMITTENT_SHARE: Final = 0.5
_MOST_NAMED: Final = 4000


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
            text += f"; {self.sampled:,} of single cells and other small parts by a sample that stands for all"
        return text


def suspects_of(board: Board, priors: Priors, clues: Clues, *, sample: int = SAMPLE) -> Suspects:
    """Return the suspects of a board under a table of priors. ``clues``: what points at fine sites."""
    maker = _Maker(board, priors)
    blocks = universe_of(board).faults.blocks
    found: list[Suspect] = []
    skipped = 0
    for block in blocks:
        if isinstance(block, CellBlock):
            listed = list(maker.fine(block, clues, sample))
            skipped += len(block) - len(listed)
            found += listed
        else:
            found += [maker.suspect(fault) for fault in block.all()]
    if clues.comes_and_goes:
        found += [maker.chancy(s) for s in tuple(found) if s.stands_for == 1]
    total = spread([s.hypothesis for s in found], healthy_share=priors.healthy)
    found.append(Suspect(None, total[-1]))
    return Suspects(board, tuple(found), sum(len(b) for b in blocks), skipped)


@frozen(eq=False)
class _Maker:
    board: Board
    priors: Priors

    def suspect(self, fault: Fault, stands_for: int = 1) -> Suspect:
        part = fault.parts[0]
        site = self.board.site(part.sites[0])
        kind = kind_named(part.kind)
        weight = self.priors.weight(site.part, part.kind, kind.weight) * stands_for
        text = fault_text(fault, self.board)
        return Suspect(fault, Hypothesis(text, weight, site.part, _label(self.board, part, site)), stands_for)

    def chancy(self, steady: Suspect) -> Suspect:
        """Return the same fault, coming and going. Its rate is not known: it is written as half the time."""
        one = steady.hypothesis
        factor = self.priors.way.get("intermittent", INTERMITTENT_SHARE)
        twin = Hypothesis(f"{one.fault}@50%", one.weight * factor, one.part, f"{one.label} (comes and goes)")
        return Suspect(steady.fault, twin, chancy=True)

    def fine(self, block: CellBlock, clues: Clues, sample: int) -> Iterator[Suspect]:
        named = sorted(set(self._named(block, clues)))[:_MOST_NAMED]
        yield from (self.suspect(block.fault(n)) for n in named)
        rest = len(block) - len(named)
        count = min(sample, rest)
        if not count:
            return
        draws = np.random.default_rng(len(block)).permutation(min(len(block), 1 << 22))
        known = set(named)
        chosen = [n for n in draws[: count + len(named)].tolist() if n not in known][:count]
        for place, number in enumerate(sorted(chosen)):
            stands_for = rest // count + (place < rest % count)
            yield self.suspect(block.fault(number), stands_for)

    def _named(self, block: CellBlock, clues: Clues) -> Iterator[int]:
        """Yield the members of a fine family that the evidence points at."""
        family, several = block.family, len(block.variants)
        store = family.store
        addresses = clues.addresses.get(store, frozenset())
        if not addresses:
            return
        sample = self.board.member(family, (0,) * len(family.dimensions))
        if isinstance(sample.role, CellBit):
            width = len(family.dimensions[1])
            for address in addresses:
                if address in block.rows:
                    first = block.rows.index(address) * width * several
                    yield from range(first, first + width * several)
            return
        for member in range(len(block) // several):
            row, rest = divmod(member, block.per_row)
            site = family.site(family.indices(block.rows[row] * block.per_row + rest))
            if _holds(site, addresses):
                yield from range(member * several, (member + 1) * several)


def _holds(site: Site, addresses: Collection[int]) -> bool:
    return isinstance(site.role, SelectLine) and any(a in site.role.region for a in addresses)


def _label(board: Board, part: FaultPart, site: Site) -> str:
    sites = [site, *(board.site(path) for path in part.sites[1:])]
    said = " and ".join(s.noun for s in sites)
    marks = list(dict.fromkeys(text for s in sites if (text := s.labels.text())))
    return f"{said} ({'; '.join(marks)})" if marks else said


def plans_of(board: Board, faults: Collection[Fault | None]) -> list[MemoryPlan | None]:
    """Return the plan of each fault, None for none."""
    return [None if fault is None else plan_of(board, fault) for fault in faults]
