"""Candidate laws: which are worth trying, sieved by a sample of the failing words."""

from itertools import combinations, permutations, product
from typing import Final

import numpy as np

from faults.pattern.evidence import Addresses, Evidence, Flags, all_ones, any_ones, bits_of
from faults.pattern.fit import failing_in
from faults.pattern.law import DataLaw, EchoLaw, Gate, Law, MapLaw, MergeLaw, ShiftLaw, WholeLaw, fetched

SAMPLE: Final = 64
ENOUGH: Final = 0.9
TRIPLES_UP_TO: Final = 20
PLAIN: Final = 4


def sampled(part: int, evidence: Evidence) -> Addresses:
    """Return the places of at most 64 failing words, spread evenly."""
    failing = np.flatnonzero(failing_in(part, evidence))
    chosen: Addresses = failing[np.linspace(0, failing.size - 1, min(SAMPLE, failing.size)).astype(np.int64)]
    return chosen


def tried(evidence: Evidence) -> int:
    """Return about how many laws of address bits there are, for judging a fit by chance."""
    n = len(evidence.varying)
    return 8 * n**3 + 16 * n + 16


def maps(part: int, evidence: Evidence) -> list[Law]:
    """Return the laws by which another address is read: stuck, inverted, exchanged, tied, copied bits."""
    bits = evidence.varying
    laws: list[Law] = [MapLaw("flip", 1 << n) for n in bits]
    for a, b in combinations(bits, 2):
        laws += [MapLaw(kind, 1 << a | 1 << b, 0, a, b) for kind in ("swap", "and", "or")]
    laws += [MapLaw("copy", 1 << a | 1 << b, 0, a, b) for a, b in permutations(bits, 2)]
    return [*_stuck(part, evidence), *_many_stuck(part, evidence), *laws]


def _groups(evidence: Evidence, bits: tuple[int, ...]) -> list[tuple[int, ...]]:
    """All sets of one, two or three of the address bits (one only where there are very many)."""
    most = 3 if len(evidence.varying) <= TRIPLES_UP_TO else 1
    return [group for count in range(1, most + 1) for group in combinations(bits, count)]


def _mask(group: tuple[int, ...]) -> int:
    return sum(1 << n for n in group)


def _stuck(part: int, evidence: Evidence) -> list[Law]:
    pairs = [
        (_mask(group), sum(v << n for v, n in zip(values, group, strict=True)))
        for group in _groups(evidence, evidence.varying)
        for values in product((0, 1), repeat=len(group))
    ]
    if not pairs:
        return []
    at, table = sampled(part, evidence), np.array(pairs, dtype=np.int64)
    good = _matching(evidence.addresses[at][:, None] & ~table[:, 0] | table[:, 1], at, part, evidence)
    return [MapLaw("stuck", int(bits), int(value)) for bits, value in table[good]]


def _matching(sources: Addresses, at: Addresses, part: int, evidence: Evidence) -> Flags:
    """Return for which columns of ``sources`` the expected words there are (mostly) those read at ``at``."""
    words = evidence.need_words()
    values, care = fetched(evidence, sources)
    known = words.known[at][:, None] & np.uint64(part)
    differs = (values ^ words.observed[at][:, None]) & care & known != 0
    right = (~differs & (care & known == known)).sum(axis=0)
    flags: Flags = (right > 0) & (right >= ENOUGH * (right + differs.sum(axis=0)))
    return flags


def _many_stuck(part: int, evidence: Evidence) -> list[Law]:
    """Derive a stuck law of any number of bits from the words whose true address is plain.

    Where the word read is expected at one address only, that address is where it came from; bits that are
    the same in all these addresses may be stuck.
    """
    words, failing = evidence.need_words(), np.flatnonzero(failing_in(part, evidence))
    values, first, counts = np.unique(words.expected, return_index=True, return_counts=True)
    at = np.minimum(np.searchsorted(values, words.observed[failing]), values.size - 1)
    plain = (values[at] == words.observed[failing]) & (counts[at] == 1)
    if int(plain.sum()) < PLAIN:
        return []
    came = evidence.addresses[first[at[plain]]].astype(np.uint64)
    over = sum(1 << n for n in evidence.varying)
    ones, zeros = all_ones(came) & over, over & ~any_ones(came)
    return [MapLaw("stuck", ones | zeros, ones)] if (ones | zeros).bit_count() > 3 else []


def merges(part: int, evidence: Evidence) -> list[Law]:
    """Return the laws by which several words are read at once, combined by OR or AND."""
    words, at = evidence.need_words(), sampled(part, evidence)
    known = words.known[at] & np.uint64(part)
    lost = np.mean(words.expected[at] & ~words.observed[at] & known != 0)
    gained = np.mean(~words.expected[at] & words.observed[at] & known != 0)
    gates: list[tuple[Gate, bool]] = [("or", bool(lost <= 1 - ENOUGH)), ("and", bool(gained <= 1 - ENOUGH))]
    laws: list[Law] = []
    for gate, possible in gates:
        if possible:
            laws += [MergeLaw(gate, _mask(group)) for group in _groups(evidence, evidence.varying)]
            some = tuple(n for n in evidence.varying if _swallowed(gate, n, at, part, evidence))
            groups = (
                _groups(evidence, some) if part.bit_count() > 1 else []
            )  # the OR of many bits is a mere 1
            laws += [MergeLaw(gate, _mask(g), group=True) for g in groups if len(g) > 1]
    return laws


def _swallowed(gate: Gate, bit: int, at: Addresses, part: int, evidence: Evidence) -> bool:
    """Whether the word with this address bit inverted may be part of what was read."""
    words = evidence.need_words()
    other, care = fetched(evidence, evidence.addresses[at] ^ (1 << bit))
    beyond = other & ~words.observed[at] if gate == "or" else ~other & words.observed[at]
    return bool(np.mean(beyond & care & words.known[at] & np.uint64(part) != 0) <= 1 - ENOUGH)


def shifts(evidence: Evidence) -> list[Law]:
    """Return shifts by 1 to 16 addresses and by powers of two up to 2,048, both ways."""
    steps = [*range(1, 17), *(1 << n for n in range(5, 12))]
    return [ShiftLaw(sign * n) for n in steps if n < evidence.addresses.size for sign in (1, -1)]


def whole_laws(part: int, evidence: Evidence) -> list[Law]:
    """Return the ways in which a whole word may be altered."""
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


def echoes(part: int, evidence: Evidence) -> list[Law]:
    """Return the parts of its address that a word may repeat."""
    if part.bit_count() < 2:
        return []
    bits, top = evidence.word.bits, evidence.address.bits
    laws: list[Law] = [EchoLaw(n, bits) for n in range(top)]
    if bits % 2 == 0:
        laws += [EchoLaw(n, bits // 2, 2) for n in range(top)]
    return laws


def data_laws(part: int, evidence: Evidence) -> list[Law]:
    """Return the ways in which the one or two damaged data bits may depend on another."""
    damaged = bits_of(part)
    if len(damaged) == 2:
        a, b = damaged
        return [DataLaw(kind, a, b) for kind in ("data-swap", "data-or", "data-and")]
    if len(damaged) == 1:
        others = (n for n in range(evidence.word.bits) if n != damaged[0])
        return [DataLaw("data-copy", damaged[0], n) for n in others]
    return []
