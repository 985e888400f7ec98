"""Describe a failing set as a few cubes of addresses, with what is left over counted."""

from typing import ClassVar, Final

import numpy as np
from attrs import frozen

from faults.counts import counted
from faults.pattern.evidence import Addresses, Evidence, Flags
from faults.pattern.finding import Finding
from faults.pattern.region import Cube, region_text

MOST_CUBES: Final = 8
WORTH: Final = 4
COVERED: Final = 0.9
OUTSIDE: Final = 0.02
WIDEST: Final = 20


@frozen
class CoverFinding(Finding):
    """A few cubes in which no address reads wrongly right: each fails or is ``silent`` under the law.

    ``failing`` are covered, ``left`` fail outside the cubes. ``quiet`` lists the silent addresses used.
    """

    kind: ClassVar[str] = "cover"
    cubes: tuple[Cube, ...]
    left: int
    silent: int
    quiet: tuple[int, ...]

    def holds(self, evidence: Evidence) -> bool:
        """Check that all addresses read in the cubes fail, but for the silent ones named."""
        inside = np.zeros(evidence.addresses.size, dtype=np.bool_)
        for cube in self.cubes:
            inside |= cube.contains(evidence.addresses)
        right = evidence.addresses[inside & ~evidence.failing]
        covered, all_failing = int((inside & evidence.failing).sum()), int(evidence.failing.sum())
        counts = (self.failing, self.left) == (covered, all_failing - covered)
        return counts and sorted(right.tolist()) == list(self.quiet) and self.exact == (self.left == 0)


def cover(quiet: Flags, evidence: Evidence) -> CoverFinding | None:
    """Return at most eight cubes that hold nine tenths of the failures, with few failing outside, or None.

    Cubes are grown greedily, so there may be a cover of fewer. ``quiet`` marks right words that would be
    right under the fault too.
    """
    width = max(evidence.varying, default=-1) + 1
    if not 0 < width <= WIDEST:
        return None
    over = (1 << width) - 1
    target, allowed = np.zeros(over + 1, dtype=np.bool_), np.ones(over + 1, dtype=np.bool_)
    allowed[evidence.addresses & over] = evidence.failing | quiet
    target[evidence.failures & over] = True
    cubes = _grow_all(target.copy(), allowed, evidence.varying)
    covered = _members(cubes, over)
    hit = int((target & covered).sum())
    outside = int((~covered[evidence.addresses & over]).sum())
    missed = int(target.sum()) - hit
    if hit < max(COVERED * target.sum(), WORTH * len(cubes)) or missed > OUTSIDE * outside:
        return None
    return _cover_finding(cubes, hit, evidence)


def _grow_all(target: Flags, allowed: Flags, varying: tuple[int, ...]) -> list[Cube]:
    cubes: list[Cube] = []
    while len(cubes) < MOST_CUBES and target.any():
        seed = int(np.flatnonzero(target)[0])
        grown = [_grow(seed, allowed, order) for order in (varying, varying[::-1])]
        members = max(grown, key=lambda m: int(target[m].sum()))
        free = int(np.bitwise_or.reduce(members ^ seed))
        fixed = sum(1 << n for n in varying) & ~free
        cubes.append(Cube(fixed, seed & fixed))
        target[members] = False
    return cubes


def _grow(seed: int, allowed: Flags, order: tuple[int, ...]) -> Addresses:
    """Double the cube of one address bit by bit as long as every address in it may fail."""
    members = np.array([seed], dtype=np.int64)
    for bit in order:
        beyond = members ^ (1 << bit)
        if allowed[beyond].all():
            members = np.concatenate((members, beyond))
    return members


def _members(cubes: list[Cube], over: int) -> Flags:
    every = np.arange(over + 1, dtype=np.int64)
    inside = np.zeros(over + 1, dtype=np.bool_)
    for cube in cubes:
        inside |= cube.contains(every)
    return inside


def _cover_finding(cubes: list[Cube], hit: int, evidence: Evidence) -> CoverFinding:
    inside = np.zeros(evidence.addresses.size, dtype=np.bool_)
    for cube in cubes:
        inside |= cube.contains(evidence.addresses)
    quiet = tuple(sorted(map(int, evidence.addresses[inside & ~evidence.failing])))
    total = int(evidence.failing.sum())
    places = "; ".join(region_text(cube, evidence) for cube in cubes)
    tail = f", {total - hit:,} failing elsewhere" if total > hit else ""
    silent = f", {len(quiet):,} in them would read right anyway" if quiet else ""
    sentence = f"{counted(hit, 'failure')} make up {counted(len(cubes), 'group')}: {places}{tail}{silent}."
    return CoverFinding(hit, total == hit, sentence, tuple(cubes), total - hit, len(quiet), quiet)
