"""How well a law fits: what it explains, where it makes no difference, and its exceptions."""

from typing import ClassVar

import numpy as np
from attrs import frozen

from faults.counts import counted, verb
from faults.pattern.evidence import Addresses, Evidence, Flags, ones_in
from faults.pattern.finding import Finding
from faults.pattern.law import Law
from faults.pattern.region import Cube, named_bits, region_text

NAMES_ITS_BITS = ("mask", "data-")  # kinds of laws whose own text says which data bits they act on


@frozen
class Score:
    """Counts of a law over part of the evidence, for the data bits of a slice.

    ``explained`` failing words read as predicted; ``silent`` right words are predicted to be right;
    ``wrong`` failing words are predicted otherwise; ``against`` right words are predicted to fail;
    ``open`` words could not be predicted wholly (another address was not read, or digits unknown).
    """

    explained: int
    silent: int
    wrong: int
    against: int
    open: int

    @property
    def exceptions(self) -> int:
        """Words that contradict the law."""
        return self.wrong + self.against


@frozen
class LawFinding(Finding):
    """A law of what is read, in the data bits of ``slice``, at all addresses of ``cube``.

    ``cube`` None: nothing is claimed of the words that are right (the fault comes and goes).
    ``total`` counts all failing words of the evidence in those data bits.
    """

    kind: ClassVar[str] = "law"
    law: Law
    cube: Cube | None
    slice: int
    score: Score
    total: int

    def holds(self, evidence: Evidence) -> bool:
        """Count anew."""
        again = score(self.law, self.cube, self.slice, evidence)
        exact = again.exceptions == 0
        failing = int(failing_in(self.slice, evidence).sum())
        same = (again, failing, exact) == (self.score, self.total, self.exact)
        return same and self.failing == again.explained


def failing_in(part: int, evidence: Evidence) -> Flags:
    """Return which words fail in the data bits of a slice."""
    flags: Flags = (evidence.need_words().wrong & np.uint64(part)) != 0
    return flags


def score(law: Law, cube: Cube | None, part: int, evidence: Evidence) -> Score:
    """Count how the law fares at the addresses of the cube (None: at the failing words only)."""
    fails = failing_in(part, evidence)
    inside = fails if cube is None else cube.contains(evidence.addresses)
    at = np.flatnonzero(inside)
    return score_at(law, at, part, evidence)


def score_at(law: Law, at: Addresses, part: int, evidence: Evidence) -> Score:
    """Count how the law fares at the given places."""
    words, fails = evidence.need_words(), failing_in(part, evidence)[at]
    values, care = law.predict(evidence, at)
    slice_mask = np.uint64(part)
    care = care & words.known[at] & slice_mask
    differs = (values ^ words.observed[at]) & care != 0
    unsure = ~differs & (care != words.known[at] & slice_mask)
    agrees = ~differs & ~unsure
    return Score(
        int((agrees & fails).sum()),
        int((agrees & ~fails).sum()),
        int((differs & fails).sum()),
        int((differs & ~fails).sum()),
        int(unsure.sum()),
    )


def silent_words(law: Law, part: int, evidence: Evidence) -> Flags:
    """Return which right words the law predicts to be right: a fault there would not show."""
    words = evidence.need_words()
    values, care = law.predict(evidence, np.arange(evidence.addresses.size))
    care = care & words.known & np.uint64(part)
    silent: Flags = ~evidence.failing & ((values ^ words.expected) & care == 0)
    return silent


def law_finding(law: Law, cube: Cube | None, part: int, evidence: Evidence) -> LawFinding:
    """Measure a law and put it into words."""
    counts = score(law, cube, part, evidence)
    total = int(failing_in(part, evidence).sum())
    sentence = _law_sentence(law, cube, part, evidence, counts, total)
    return LawFinding(counts.explained, counts.exceptions == 0, sentence, law, cube, part, counts, total)


def _law_sentence(law: Law, cube: Cube | None, part: int, evidence: Evidence, s: Score, total: int) -> str:
    what = law.text(evidence)
    words = evidence.need_words()
    if law.kind == "mask" and words.parity is not None and part == words.full and "all" in what:
        what += ", parity bits included"
    if part == words.full != words.damaged and law.touched:
        what += f", in the whole word or in {named_bits('data', words.damaged, evidence.word)} only: "
        what += "these contents do not tell"
    elif part != words.full and not law.kind.startswith(NAMES_ITS_BITS):
        names = named_bits("data", part, evidence.word)
        what += f", but in {names} only: a fault of a slice, not of the whole word"
    if cube is None:
        return f"{_share(s.explained, total)} {what}; this does not say which words it strikes."
    every = "nearly every word" if s.exceptions else "every word"
    start = f"{region_text(cube, evidence)} {every} {what}".removeprefix("at every address read ")
    tail = [f"{counted(s.explained, 'failing word')} of {total:,} explained"]
    if s.silent:
        tail.append(f"{s.silent:,} more read right because there it makes no difference")
    if s.exceptions:
        tail.append(f"{counted(s.exceptions, 'exception')}")
    if s.open:
        tail.append(f"{s.open:,} could not be checked")
    return f"{start[0].upper()}{start[1:]} ({'; '.join(tail)})."


def _share(part: int, total: int) -> str:
    if part == total:
        return f"Every failing word ({total:,})" if total > 1 else "The one failing word"
    return f"Of the {total:,} failing words {verb(part, 'one', f'each of {part:,}')}"


def word_information(part: int, evidence: Evidence) -> float:
    """Return how many bits one expected word tells at most, in the data bits of a slice."""
    words = evidence.need_words()
    some = words.expected[:: max(1, words.expected.size // 4096)] & np.uint64(part)
    kinds = int(np.unique(some).size)
    return min(float(part.bit_count()), float(np.log2(kinds)))


def words_needed(candidates: int, part: int, evidence: Evidence) -> int:
    """Return how many explained words make a fit by chance unlikely (about 1 in 1,000 at best)."""
    told = word_information(part, evidence)
    if told == 0:
        return evidence.addresses.size + 1
    return max(3, int(np.ceil((np.log2(candidates) + 10) / told)))


def flips(evidence: Evidence) -> tuple[int, int]:
    """Return the least and the greatest number of differing bits in a failing word."""
    counts = ones_in(evidence.need_words().wrong[evidence.failing])
    return int(counts.min()), int(counts.max())
