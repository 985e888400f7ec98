"""Search for laws of damage: constants, address bits, merged, shifted, stale and echoed words."""

from collections.abc import Iterable, Sequence
from itertools import combinations, permutations, product
from typing import Final

import numpy as np

from faults.pattern.evidence import Addresses, Evidence, all_ones, any_ones, bits_of
from faults.pattern.fit import LawFinding, failing_in, law_finding, score, score_at, words_needed
from faults.pattern.law import DataLaw, EchoLaw, Law, MapLaw, MaskLaw, MergeLaw, ShiftLaw, StaleLaw, WholeLaw
from faults.pattern.region import Cube, enclosing_cube

SAMPLE: Final = 64
MOST_SLICES: Final = 4
ENOUGH: Final = 0.9
TOLERATED: Final = 0.02
TRIPLES_UP_TO: Final = 20


def find_laws(evidence: Evidence) -> tuple[LawFinding, ...]:
    """Return the laws that fit, the simplest family first; several where the dump cannot choose."""
    damaged = evidence.need_words().damaged
    found = _families(damaged, evidence)
    if not any(f.exact for f in found) and 1 < damaged.bit_count() <= MOST_SLICES:
        for n in bits_of(damaged):
            found += _families(1 << n, evidence)
    return tuple(found)


def _families(part: int, evidence: Evidence) -> list[LawFinding]:
    """Try the families of laws on a slice; a family is only tried while no simpler one is exact."""
    found = constant_law(evidence) if part == evidence.need_words().damaged else []
    found += [] if found else stuck_bits(part, evidence)
    constant = any(f.exact and f.cube for f in found)
    found += _simplest(
        _fitting([*_maps(evidence), *_many_stuck(part, evidence)], part, evidence), constant=constant
    )
    if constant:
        return found
    later = [
        _data_laws(part, evidence),
        _whole_laws(part, evidence),
        _merges(evidence),
        _echoes(part, evidence),
    ]
    for laws in later:
        if not any(f.exact for f in found):
            found += _simplest(_fitting(laws, part, evidence), constant=False)
    sure = any(f.exact for f in found)
    loose = _fitting([StaleLaw(lag) for lag in (1, 2, 3, 4, 8)], part, evidence)
    loose += [] if sure else _fitting(_shifts(evidence), part, evidence)
    return found + [f for f in loose if f.exact or not (sure or any(g.exact for g in loose))]


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


def stuck_bits(part: int, evidence: Evidence) -> list[LawFinding]:
    """Return ``these data bits always read so`` over the cube of their failures, if there it is so."""
    words = evidence.need_words()
    bad = words.wrong[failing_in(part, evidence)] & np.uint64(part)
    own = words.expected[failing_in(part, evidence)]
    clear, put = any_ones(bad & own), any_ones(bad & ~own)
    often = all(int((bad >> np.uint64(n) & np.uint64(1)).sum()) >= 3 for n in bits_of(part))
    if clear & put or not often:
        return []
    found = law_finding(MaskLaw(clear, put), _cube(part, evidence), part, evidence)
    return [found] if found.exact else []


def _cube(part: int, evidence: Evidence) -> Cube:
    return enclosing_cube(evidence.addresses[failing_in(part, evidence)], evidence.varying)


def _best_region(law: Law, part: int, evidence: Evidence) -> LawFinding:
    """Claim the law over the whole cube of its failures if it holds there, else of the failures only."""
    wide = law_finding(law, _cube(part, evidence), part, evidence)
    return wide if wide.exact else law_finding(law, None, part, evidence)


def _fitting(laws: Sequence[Law], part: int, evidence: Evidence) -> list[LawFinding]:
    """Return the laws that explain (nearly) every failing word of the slice, best fits only."""
    failing = np.flatnonzero(failing_in(part, evidence))
    needed = words_needed(max(len(laws), 1), part, evidence)
    if failing.size < needed:
        return []
    sample = failing[np.linspace(0, failing.size - 1, min(SAMPLE, failing.size)).astype(np.int64)]
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
    if isinstance(law, MergeLaw):
        yield cube
    if isinstance(law, WholeLaw | DataLaw):
        yield None


def _all_moved(law: MapLaw, part: int, evidence: Evidence) -> bool:
    """Whether each stuck bit matters at some failing address; if not, a simpler law says the same."""
    own = evidence.addresses[failing_in(part, evidence)]
    return any_ones((own ^ law.source(own)).astype(np.uint64)) == law.bits


def _maps(evidence: Evidence) -> list[Law]:
    bits = evidence.varying
    laws: list[Law] = [MapLaw("flip", 1 << n) for n in bits]
    for a, b in combinations(bits, 2):
        laws += [MapLaw(kind, 1 << a | 1 << b, 0, a, b) for kind in ("swap", "and", "or")]
    for a, b in permutations(bits, 2):
        laws += [MapLaw(kind, 1 << a | 1 << b, 0, a, b) for kind in ("copy", "xor")]
    return [*_stuck(evidence), *laws]


def _stuck(evidence: Evidence) -> list[Law]:
    most = 3 if len(evidence.varying) <= TRIPLES_UP_TO else 1
    groups = [bits for count in range(1, most + 1) for bits in combinations(evidence.varying, count)]
    return [
        MapLaw("stuck", sum(1 << n for n in bits), sum(v << n for v, n in zip(values, bits, strict=True)))
        for bits in groups
        for values in product((0, 1), repeat=len(bits))
    ]


def _many_stuck(part: int, evidence: Evidence) -> list[Law]:
    """Derive a stuck law of any number of bits from the words whose true address is plain.

    Where the word read is expected at one address only, that address is where it came from; bits that are
    the same in all these addresses may be stuck.
    """
    words, failing = evidence.need_words(), np.flatnonzero(failing_in(part, evidence))
    values, first, counts = np.unique(words.expected, return_index=True, return_counts=True)
    at = np.minimum(np.searchsorted(values, words.observed[failing]), values.size - 1)
    plain = (values[at] == words.observed[failing]) & (counts[at] == 1)
    if int(plain.sum()) < MOST_SLICES:
        return []
    came = evidence.addresses[first[at[plain]]].astype(np.uint64)
    over = sum(1 << n for n in evidence.varying)
    ones, zeros = all_ones(came) & over, over & ~any_ones(came)
    return [MapLaw("stuck", ones | zeros, ones)] if (ones | zeros).bit_count() > 3 else []


def _merges(evidence: Evidence) -> list[Law]:
    most = 3 if len(evidence.varying) <= TRIPLES_UP_TO else 1
    laws: list[Law] = []
    for count in range(1, most + 1):
        for group in combinations(evidence.varying, count):
            whole = sum(1 << n for n in group)
            laws += [MergeLaw("or", whole), MergeLaw("and", whole)]
            laws += (
                [MergeLaw("or", whole, group=True), MergeLaw("and", whole, group=True)] if count > 1 else []
            )
    return laws


def _shifts(evidence: Evidence) -> list[Law]:
    steps = [*range(1, 17), *(1 << n for n in range(5, 12))]
    return [ShiftLaw(sign * n) for n in steps if n < evidence.addresses.size for sign in (1, -1)]


def _whole_laws(part: int, evidence: Evidence) -> list[Law]:
    if part.bit_count() < 2:
        return []
    byte = [WholeLaw("byte-order")] if evidence.word.bits % 8 == 0 and evidence.word.bits > 8 else []
    return [
        WholeLaw("complement"),
        WholeLaw("bit-order"),
        *byte,
        WholeLaw("moved-up"),
        WholeLaw("moved-down"),
    ]


def _echoes(part: int, evidence: Evidence) -> list[Law]:
    if part.bit_count() < 2:
        return []
    bits, top = evidence.word.bits, evidence.address.bits
    laws: list[Law] = [EchoLaw(n, bits) for n in range(top)]
    if bits % 2 == 0:
        laws += [EchoLaw(n, bits // 2, 2) for n in range(top)]
    return laws


def _data_laws(part: int, evidence: Evidence) -> list[Law]:
    damaged = [n for n in range(part.bit_length()) if part >> n & 1]
    if len(damaged) == 2:
        a, b = damaged
        return [DataLaw(kind, a, b) for kind in ("data-swap", "data-or", "data-and")]
    if len(damaged) == 1:
        others = (n for n in range(evidence.word.bits) if n != damaged[0])
        return [DataLaw("data-copy", damaged[0], n) for n in others]
    return []
