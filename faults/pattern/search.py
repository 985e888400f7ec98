"""Search for laws of damage: constants, address bits, merged, shifted, stale and echoed words."""

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from faults.pattern.candidates import (
    ENOUGH,
    data_laws,
    echoes,
    maps,
    merges,
    piles,
    sampled,
    shifts,
    tried,
    whole_laws,
)
from faults.pattern.evidence import Addresses, Evidence, any_ones, bits_of
from faults.pattern.fit import LawFinding, failing_in, law_finding, score, score_at, words_needed
from faults.pattern.law import DataLaw, EchoLaw, Law, MapLaw, MaskLaw, ShiftLaw, StaleLaw, WholeLaw
from faults.pattern.merging import JoinLaw, MergeLaw, PairLaw
from faults.pattern.piling import PileLaw
from faults.pattern.region import Cube, enclosing_cube

MOST_SLICES: Final = 4
TOLERATED: Final = 0.02
FEW_VALUES: Final = 4
MANY_WORDS: Final = 64


def find_laws(evidence: Evidence) -> tuple[LawFinding, ...]:
    """Return the laws that fit, the simplest family first; several where the dump cannot choose."""
    damaged = evidence.need_words().damaged
    found = _families(damaged, evidence)
    if not any(f.exact for f in found) and 1 < damaged.bit_count() <= MOST_SLICES:
        for n in bits_of(damaged):
            found += _families(1 << n, evidence)
    if not any(f.exact for f in found):
        found += stuck_bits(damaged, evidence, anywhere=True)
    return tuple(found)


def _families(part: int, evidence: Evidence) -> list[LawFinding]:
    """Try the families of laws on a slice; a family is only tried while no simpler one is exact."""
    found = constant_law(evidence) if part == evidence.need_words().damaged else []
    found += [] if found else stuck_bits(part, evidence)
    constant = any(f.exact and f.cube for f in found)
    found += _simplest(_fitting(maps(part, evidence), part, evidence), constant=constant)
    if constant:
        return found + _beside_constant(found, part, evidence)
    for candidates in (data_laws, whole_laws, merges, piles, echoes):
        if not any(f.exact for f in found):
            found += _simplest(_fitting(candidates(part, evidence), part, evidence), constant=False)
    sure = any(f.exact for f in found)
    lags = [StaleLaw(lag) for lag in (1, 2, 3, 4, 8)] if _varied(part, evidence) else []
    loose = _fitting(lags, part, evidence)
    loose += [] if sure else _fitting(shifts(evidence), part, evidence)
    return found + [f for f in loose if f.exact or not (sure or any(g.exact for g in loose))]


def _varied(part: int, evidence: Evidence) -> bool:
    """Whether failing words read enough different values for a repetition to tell anything."""
    words = evidence.need_words()
    read = words.observed[failing_in(part, evidence)] & np.uint64(part)
    return read.size < MANY_WORDS or np.unique(read).size > FEW_VALUES


def _beside_constant(found: list[LawFinding], part: int, evidence: Evidence) -> list[LawFinding]:
    """Return look-alikes of a constant: one stuck address bit, however few words fail, and an echo."""
    out: list[LawFinding] = []
    if not any(isinstance(f.law, MapLaw) for f in found):
        stuck = [MapLaw("stuck", 1 << n, value << n) for n in evidence.varying for value in (0, 1)]
        out += _fitting(stuck, part, evidence, needed=3)
    zeros = any(isinstance(f.law, MaskLaw) and f.law.put == 0 for f in found)
    out += [] if zeros else _fitting(echoes(part, evidence), part, evidence)
    return [f for f in out if f.exact]


def _simplest(found: list[LawFinding], *, constant: bool) -> list[LawFinding]:
    """Keep the laws that act on fewest address bits; beside a constant only exact look-alikes."""
    fewest = min((f.law.touched.bit_count() for f in found), default=0)
    return [f for f in found if f.law.touched.bit_count() == fewest and (f.exact or not constant)]


def constant_law(evidence: Evidence) -> list[LawFinding]:
    """Return the law of failing words that all read one value, where there are at least two of them."""
    words, bad = evidence.need_words(), evidence.failing
    if int(bad.sum()) < 2:
        return []
    known = words.known[bad]
    ones, zeros = any_ones(words.observed[bad] & known), any_ones(~words.observed[bad] & known)
    if ones & zeros or any_ones(known) != words.full:
        return []
    law = MaskLaw(words.full & ~ones, ones)
    return [_best_region(law, words.full, evidence)]


def stuck_bits(part: int, evidence: Evidence, *, anywhere: bool = False) -> list[LawFinding]:
    """Return ``these data bits always read so`` over the cube of their failures, if there it is so.

    With ``anywhere`` it is said of the failing words only: they may lie in several places.
    """
    words = evidence.need_words()
    bad = words.wrong[failing_in(part, evidence)] & np.uint64(part)
    own = words.expected[failing_in(part, evidence)]
    clear, put = any_ones(bad & own), any_ones(bad & ~own)
    often = all(int((bad >> np.uint64(n) & np.uint64(1)).sum()) >= 3 for n in bits_of(part))
    if clear & put or not often:
        return []
    cube = None if anywhere else _cube(part, evidence)
    found = law_finding(MaskLaw(clear, put), cube, part, evidence)
    return [found] if found.exact else []


def _cube(part: int, evidence: Evidence) -> Cube:
    return enclosing_cube(evidence.addresses[failing_in(part, evidence)], evidence.varying)


def _best_region(law: Law, part: int, evidence: Evidence) -> LawFinding:
    """Claim the law over the whole cube of its failures if it holds there, else of the failures only."""
    wide = law_finding(law, _cube(part, evidence), part, evidence)
    return wide if wide.exact else law_finding(law, None, part, evidence)


def _fitting(laws: Sequence[Law], part: int, evidence: Evidence, needed: int = 0) -> list[LawFinding]:
    """Return the laws that explain (nearly) every failing word of the slice, best fits only.

    ``needed`` failing words must be explained; 0 asks for as many as make chance unlikely.
    """
    among = tried(evidence) if laws and laws[0].touched else len(laws)
    needed = needed or words_needed(max(among, 1), part, evidence)
    if int(failing_in(part, evidence).sum()) < needed:
        return []
    sample = sampled(part, evidence)
    likely = [law for law in laws if _promising(law, sample, part, evidence)]
    fits = [f for law in likely if (f := _measured(law, part, evidence)) and f.failing >= needed]
    least = min((f.score.exceptions for f in fits), default=0)
    return [f for f in fits if f.score.exceptions == least]


def _promising(law: Law, sample: Addresses, part: int, evidence: Evidence) -> bool:
    first = score_at(law, sample[::8], part, evidence) if sample.size > 16 else None
    if first and first.wrong > 1 + first.explained // 4:
        return False
    counts = score_at(law, sample, part, evidence)
    return counts.explained > 0 and counts.explained >= ENOUGH * (counts.explained + counts.wrong)


def _measured(law: Law, part: int, evidence: Evidence) -> LawFinding | None:
    """Try the regions a law may claim, the widest first; None if too many words speak against it."""
    if isinstance(law, MapLaw) and law.kind == "stuck" and not _all_moved(law, part, evidence):
        return None
    for cube in _regions(law, part, evidence):
        counts = score(law, cube, part, evidence)
        if counts.exceptions <= TOLERATED * counts.explained:
            return law_finding(law, cube, _widest(law, cube, part, evidence), evidence)
    return None


def _widest(law: Law, cube: Cube | None, part: int, evidence: Evidence) -> int:
    """Return the whole word if the law fits it as well as the slice: undamaged bits agree by chance."""
    words = evidence.need_words()
    if part != words.damaged:
        return part
    return words.full if score(law, cube, words.full, evidence) == score(law, cube, part, evidence) else part


def _regions(law: Law, part: int, evidence: Evidence) -> Iterable[Cube | None]:
    if isinstance(law, StaleLaw | EchoLaw | ShiftLaw):
        yield None
        return
    cube = _cube(part, evidence)
    yield cube.without(law.touched)
    if isinstance(law, MergeLaw | JoinLaw | PairLaw | PileLaw):
        yield cube
    if isinstance(law, WholeLaw | DataLaw):
        yield None


def _all_moved(law: MapLaw, part: int, evidence: Evidence) -> bool:
    """Whether each stuck bit matters at some failing address; if not, a simpler law says the same."""
    own = evidence.addresses[failing_in(part, evidence)]
    return any_ones((own ^ law.source(own)).astype(np.uint64)) == law.bits
