"""Candidate laws: which are worth trying, sieved by a sample of the failing words."""

from collections.abc import Sequence
from itertools import combinations, permutations, product
from typing import Final

import numpy as np

from faults.pattern.evidence import Addresses, Evidence, Flags, all_ones, any_ones, bits_of
from faults.pattern.fit import failing_in
from faults.pattern.law import DataLaw, EchoLaw, Law, MapLaw, Prediction, ShiftLaw, WholeLaw, fetched
from faults.pattern.merging import Gate, JoinLaw, MergeLaw, PairLaw, combined
from faults.pattern.piling import PileLaw
from faults.pattern.region import enclosing_cube

SAMPLE: Final = 64
ENOUGH: Final = 0.9
TRIPLES_UP_TO: Final = 20
PLAIN: Final = 4
LONGEST_RUN: Final = 8
ALIKE: Final = 0.98
FEWEST_UNSEEN: Final = 4
PILE_STEP: Final = 8


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
    many = {*_many_stuck(part, evidence), *_unseen_bits(part, evidence)}
    return [*_stuck(part, evidence), *sorted(many, key=repr), *laws]


def _groups(evidence: Evidence, bits: tuple[int, ...]) -> list[tuple[int, ...]]:
    """All sets of one, two or three of the address bits (one only where there are very many)."""
    most = 3 if len(evidence.varying) <= TRIPLES_UP_TO else 1
    return [group for count in range(1, most + 1) for group in combinations(bits, count)]


def _mask(group: tuple[int, ...]) -> int:
    return sum(1 << n for n in group)


def _stuck(part: int, evidence: Evidence) -> list[Law]:
    table = _settings(_groups(evidence, evidence.varying))
    if not table.size:
        return []
    at = sampled(part, evidence)
    good = _matching(fetched(evidence, _moved(table, at, evidence)), at, part, evidence)
    return [MapLaw("stuck", int(bits), int(value)) for bits, value in table[good]]


def _settings(groups: Sequence[tuple[int, ...]]) -> Addresses:
    """Return every way of setting the bits of each group: rows (mask, value)."""
    pairs = [
        (_mask(group), sum(v << n for v, n in zip(values, group, strict=True)))
        for group in groups
        for values in product((0, 1), repeat=len(group))
    ]
    return np.array(pairs, dtype=np.int64).reshape(-1, 2)


def _moved(table: Addresses, at: Addresses, evidence: Evidence) -> Addresses:
    """Return the addresses at ``at`` (rows) under each setting (columns)."""
    moved: Addresses = evidence.addresses[at][:, None] & ~table[:, 0] | table[:, 1]
    return moved


def _matching(foretold: Prediction, at: Addresses, part: int, evidence: Evidence) -> Flags:
    """Return for which columns of what is foretold it is (mostly) what was read at ``at`` (rows)."""
    words = evidence.need_words()
    values, care = foretold
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


def _unseen_bits(part: int, evidence: Evidence) -> list[Law]:
    """Derive stuck laws of four to eight bits: what is read does not depend on a bit that is stuck."""
    words, at = evidence.need_words(), sampled(part, evidence)
    near = enclosing_cube(evidence.addresses[failing_in(part, evidence)], evidence.varying)
    inside = np.flatnonzero(near.contains(evidence.addresses))
    slice_mask = np.uint64(part)
    unseen = []
    for n in evidence.varying:
        other = evidence.places(evidence.addresses[inside] ^ (1 << n))
        here, there = inside[other >= 0], other[other >= 0]
        both = words.known[here] & words.known[there] & slice_mask
        alike = (words.observed[here] ^ words.observed[there]) & both == 0
        if alike.size and float(alike.mean()) >= ALIKE:
            unseen.append(n)
    if not FEWEST_UNSEEN <= len(unseen) <= LONGEST_RUN:
        return []
    table = _settings([tuple(unseen)])
    good = _matching(fetched(evidence, _moved(table, at, evidence)), at, part, evidence)
    return [MapLaw("stuck", int(bits), int(value)) for bits, value in table[good]]


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
            laws += [*_joined(gate, part, evidence), *_paired(gate, part, evidence)]
    return laws


def _select_groups(evidence: Evidence) -> list[tuple[int, ...]]:
    """Return sets of address bits that may choose a line: two or three of them, or a run of up to eight."""
    bits = evidence.varying
    starts = [(i, n) for n in range(4, LONGEST_RUN + 1) for i in range(len(bits) - n + 1)]
    runs = [bits[i : i + n] for i, n in starts]
    return [g for g in _groups(evidence, bits) if len(g) > 1] + runs


def _joined(gate: Gate, part: int, evidence: Evidence) -> list[Law]:
    """Return the laws by which the words of some line are read besides all others."""
    table = _settings(_select_groups(evidence))
    if not table.size:
        return []
    at = sampled(part, evidence)
    values, care = fetched(evidence, _moved(table, at, evidence))
    own = evidence.need_words().expected[at][:, None]
    good = _matching((combined(gate, own, values), care), at, part, evidence)
    return [JoinLaw(gate, int(bits), int(value)) for bits, value in table[good]]


def _paired(gate: Gate, part: int, evidence: Evidence) -> list[Law]:
    """Return the laws by which two lines are read together: where all failures lie on two of a kind."""
    own = evidence.addresses[failing_in(part, evidence)]
    laws: list[Law] = []
    for bits in map(_mask, _select_groups(evidence)):
        first = int(own[0]) & bits
        there = own & bits
        if np.all((there == first) | (there == first ^ bits)) and np.any(there != first):
            laws.append(PairLaw(gate, bits, min(first, first ^ bits)))
    return laws


def piles(part: int, evidence: Evidence) -> list[Law]:
    """Return the laws by which words pile up: where in the groups looked at no bit is ever lost again."""
    words, at = evidence.need_words(), sampled(part, evidence)[::PILE_STEP]
    if np.any(words.expected[at] & ~words.observed[at] & words.known[at] & np.uint64(part)):
        return []
    singles = [(n,) for n in evidence.varying]
    laws: list[Law] = []
    for group in singles + _select_groups(evidence):
        laws += _piled(group, evidence.addresses[at], part, evidence)
    return laws


def _piled(group: tuple[int, ...], at: Addresses, part: int, evidence: Evidence) -> list[Law]:
    """Return the laws of one group of address bits: one for each word that may be the one that collects."""
    words, table = evidence.need_words(), _settings([group])
    places = np.sort(evidence.places(at[:, None] & ~table[:, 0] | table[:, 1]), axis=1)
    if places.min() < 0:
        return []
    read, known = words.observed[places], words.known[places] & np.uint64(part)
    if np.any(read[:, :-1] & ~read[:, 1:] & known[:, :-1] & known[:, 1:]):
        return []
    first = places[:, :1]  # read before all others of its group: with the collector's word only
    line = evidence.places(evidence.addresses[first] & ~table[:, 0] | table[:, 1])
    foretold = words.expected[first] | words.expected[line], words.known[line]
    good = _matching(foretold, first[:, 0], part, evidence)
    return [PileLaw(int(bits), int(value)) for bits, value in table[good]]


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
