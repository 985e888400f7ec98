"""What happened to the words: which bits, which way, parity, second readings, repeats."""

from typing import ClassVar

import numpy as np
from attrs import frozen

from faults.counts import counted, times, verb
from faults.pattern.evidence import Evidence, Flags, Parity, Patterns, ones_in
from faults.pattern.finding import Finding
from faults.pattern.fit import failing_in, flips
from faults.pattern.region import Cube, enclosing_cube, named_bits, region_text

MIN_ONE_WAY = 8  # as many changes that all go one way are no chance: 1 in 128


@frozen
class TallyFinding(Finding):
    """All differing bits: ``dropped`` read 0 for 1, ``picked`` read 1 for 0; flips per failing word."""

    kind: ClassVar[str] = "tally"
    total: int
    bits: int
    dropped: int
    picked: int
    flips: tuple[int, int]

    def holds(self, evidence: Evidence) -> bool:
        """Count anew."""
        return self == tally(evidence)


@frozen
class BitFinding(Finding):
    """One data bit that differs: which way, how often, and in which part of the addresses.

    ``cube`` is the smallest that holds its failures; ``inside`` counts the words read there.
    """

    kind: ClassVar[str] = "bit"
    bit: int
    dropped: int
    picked: int
    cube: Cube
    inside: int

    def holds(self, evidence: Evidence) -> bool:
        """Count anew."""
        return self == bit_errors(self.bit, evidence)


@frozen
class ParityFinding(Finding):
    """How many failing words pass their parity check, fail it, or cannot be judged for unread digits."""

    kind: ClassVar[str] = "parity"
    parity: Parity
    valid: int
    broken: int
    unknown: int
    zeros: int

    def holds(self, evidence: Evidence) -> bool:
        """Count anew."""
        return self == parity_of_failures(evidence)


@frozen
class SecondFinding(Finding):
    """A second reading of the same addresses, against the first and against what was expected.

    ``changed`` words differ between the readings, ``zeroed`` of them read all zeros the second time;
    ``lost`` were right at first and wrong then, ``cured`` the other way, ``steady`` fail alike twice.
    """

    kind: ClassVar[str] = "second-reading"
    compared: int
    changed: int
    zeroed: int
    lost: int
    cured: int
    steady: int

    def holds(self, evidence: Evidence) -> bool:
        """Count anew."""
        return self == second_reading(evidence)


@frozen
class RepeatFinding(Finding):
    """The words read repeat with ``period`` (a power of two), those expected do not.

    ``pairs`` words could be compared with the one a period on; ``differ`` of the expected pairs differ.
    """

    kind: ClassVar[str] = "repeat"
    period: int
    pairs: int
    differ: int

    def holds(self, evidence: Evidence) -> bool:
        """Compare every pair again."""
        pairs, same, differ = _repeats(self.period, evidence)
        failing = int(evidence.failing.sum())
        return same and (pairs, differ, failing) == (self.pairs, self.differ, self.failing)


def tally(evidence: Evidence) -> TallyFinding:
    """Count the differing bits of all failing words."""
    words = evidence.need_words()
    dropped = int(ones_in(words.wrong & words.expected).sum())
    picked = int(ones_in(words.wrong & words.observed).sum())
    failing, total, span = int(evidence.failing.sum()), evidence.addresses.size, flips(evidence)
    bits, per = words.damaged, f"{span[0]} to {span[1]}" if span[0] < span[1] else f"{span[0]}"
    unread = bool((words.known[evidence.failing] != np.uint64(words.full)).any())
    among = " among the digits that could be read" if unread else ""
    sentence = (
        f"{failing:,} of {counted(total, 'word')} {verb(failing, 'differs', 'differ')}, in "
        f"{named_bits('data', bits, evidence.word)} (0 for 1: {times(dropped)}; 1 for 0: {times(picked)}); "
        f"{per} {'bits differ' if per != '1' else 'bit differs'} per failing word{among}."
    )
    return TallyFinding(failing, True, sentence, total, bits, dropped, picked, span)


def bit_errors(bit: int, evidence: Evidence) -> BitFinding:
    """Count the errors of one data bit and find where they lie."""
    words, fails = evidence.need_words(), failing_in(1 << bit, evidence)
    high = words.expected[fails] >> np.uint64(bit) & np.uint64(1)
    dropped = int(high.sum())
    count = int(fails.sum())
    cube = enclosing_cube(evidence.addresses[fails], evidence.varying)
    inside = int(cube.contains(evidence.addresses).sum())
    sentence = _bit_sentence(evidence.word.label(bit), dropped, count - dropped, cube, inside, evidence)
    return BitFinding(count, True, sentence, bit, dropped, count - dropped, cube, inside)


def _bit_sentence(name: str, dropped: int, picked: int, cube: Cube, inside: int, evidence: Evidence) -> str:
    where = f"{region_text(cube, evidence)} ({dropped + picked:,} of {counted(inside, 'word')} there)"
    if picked == 0:
        return f"Data bit {name} reads 0 for 1 ({times(dropped)}) and never 1 for 0, {where}."
    if dropped == 0:
        return f"Data bit {name} reads 1 for 0 ({times(picked)}) and never 0 for 1, {where}."
    both = f"reads 0 for 1 ({times(dropped)}) and 1 for 0 ({times(picked)})"
    return f"Data bit {name} {both}, {where}: it errs both ways, so it is not simply stuck."


def parity_of_failures(evidence: Evidence) -> ParityFinding | None:
    """Judge the parity of the failing words, where the check is known."""
    words = evidence.need_words()
    if words.parity is None:
        return None
    judged = evidence.failing & _whole(words.known, words.full)
    passes = words.parity.valid(words.observed, words.bits)
    valid, broken = int((judged & passes).sum()), int((judged & ~passes).sum())
    unknown = int(evidence.failing.sum()) - valid - broken
    zeros = int((judged & (words.observed == 0)).sum())
    sentence = _parity_sentence(words.parity, valid, broken, unknown, zeros)
    return ParityFinding(valid + broken, unknown == 0, sentence, words.parity, valid, broken, unknown, zeros)


def _whole(known: Patterns, full: int) -> Flags:
    flags: Flags = known == np.uint64(full)
    return flags


def _parity_sentence(parity: Parity, valid: int, broken: int, unknown: int, zeros: int) -> str:
    checked = valid + broken
    passes = verb(valid, "passes", "pass")
    parts = [f"{valid:,} of {counted(checked, 'failing word')} {passes} {parity.kind} parity"]
    if checked and valid == checked:
        parts.append("no alarm shows this; whole valid words, or an even number of wrong bits")
    elif checked and broken == checked:
        alarm = verb(broken, "it alarms", "all alarm")
        parts.append(f"{alarm}; an odd number of bits is wrong, which need not be one bit")
    elif checked:
        parts.append("parity sees the rest only: even numbers of wrong bits raise no alarm")
    if zeros:
        rule = "breaks odd parity and so alarms" if parity.kind == "odd" else "passes even parity unseen"
        parts.append(f"{zeros:,} {verb(zeros, 'reads', 'read')} all zeros, which {rule}")
    if unknown:
        have = verb(unknown, "has", "have")
        parts.append(f"{unknown:,} {have} unread digits and cannot be judged")
    return f"{'; '.join(parts)}."


def second_reading(evidence: Evidence) -> SecondFinding | None:
    """Compare a second reading, where there is one, with the first."""
    words = evidence.need_words()
    if words.again is None or words.again_known is None:
        return None
    both = words.known & words.again_known
    changed = (words.observed ^ words.again) & both != 0
    first = (words.expected ^ words.observed) & both != 0
    then = (words.expected ^ words.again) & both != 0
    zeroed = int((changed & (words.again & both == 0)).sum())
    counts = (int((then & ~first).sum()), int((first & ~then).sum()), int((first & then & ~changed).sum()))
    compared, differ = int((both != 0).sum()), int(changed.sum())
    sentence = _second_sentence(compared, differ, zeroed, *counts, one_way=_one_way(evidence, both))
    failing = int((first | then).sum())
    return SecondFinding(failing, True, sentence, compared, differ, zeroed, *counts)


def _one_way(evidence: Evidence, both: Patterns) -> str:
    """Say which bits changed from the first reading to the second, if all changes go the same way."""
    words = evidence.need_words()
    assert words.again is not None, "asked only where there is a second reading"
    differ = (words.observed ^ words.again) & both
    risen, fallen = differ & words.again, differ & words.observed
    if int((differ != 0).sum()) < MIN_ONE_WAY or (risen.any() and fallen.any()):
        return ""
    level = 1 if risen.any() else 0
    bits = named_bits("data", int(np.bitwise_or.reduce(differ)), evidence.word)
    lost = 1 - level
    return (
        f"every change is from {lost} to {level}, in {bits}. Where reading destroys, that speaks for reading "
        f"that alters what is stored: a {lost} that is not written back, or is misread now and then and "
        "written back so, or several words opened at once; else for something that broke in between. "
        "Stop reading: the first dump may be the best one."
    )


def _second_sentence(
    compared: int, changed: int, zeroed: int, lost: int, cured: int, steady: int, *, one_way: str
) -> str:
    if not changed:
        everywhere = "the one word" if compared == 1 else f"all {compared:,} words"
        return f"The second reading equals the first in {everywhere}: the failures are steady."
    start = f"The second reading differs in {changed:,} of {counted(compared, 'word')}"
    were, these = verb(lost, "was", "were"), verb(changed, "it reads", "all of these read")
    more = f"{lost:,} {were} right at first and wrong then, {cured:,} the other way, {steady:,} wrong alike"
    if zeroed == changed and lost and not cured:
        return (
            f"{start}, and {these} zero the second time ({more}): reading destroys what is stored and "
            "nothing restores it. Stop reading: the first dump may be the only one."
        )
    if one_way:
        return f"{start} ({more}), and {one_way}"
    if cured == changed >= MIN_ONE_WAY and not (lost or steady):
        return (
            f"{start}: every word that was wrong at first was right then. Either the failures come and go, "
            "or reading alters what is stored and the second reading undoes it, as with exchanged sense "
            "wires. Stop reading: the first dump may be the only one that shows it."
        )
    return (
        f"{start}, {zeroed:,} of these now zero ({more}): the failures change, which speaks "
        "for selection, timing or noise rather than a dead part (a rule of thumb)."
    )


def repeats(evidence: Evidence) -> RepeatFinding | None:
    """Return the smallest power-of-two period of what was read, if what was expected has no such period."""
    for bit in evidence.varying:
        pairs, same, differ = _repeats(1 << bit, evidence)
        if same and pairs >= 8 and differ * 4 >= pairs:
            text = f"What was read repeats every {counted(1 << bit, 'word')}"
            counts = f"{pairs:,} pairs compared, {differ:,} should differ"
            sentence = f"{text} ({counts}), as with mirrored addresses."
            return RepeatFinding(int(evidence.failing.sum()), True, sentence, 1 << bit, pairs, differ)
    return None


def _repeats(period: int, evidence: Evidence) -> tuple[int, bool, int]:
    words = evidence.need_words()
    places = evidence.places(evidence.addresses + period)
    here = np.flatnonzero(places >= 0)
    there = places[here]
    care = words.known[here] & words.known[there]
    same = bool(((words.observed[here] ^ words.observed[there]) & care == 0).all())
    varied = (words.observed[here] != words.observed[here[:1]]).any() if here.size else False
    differ = int(((words.expected[here] ^ words.expected[there]) & care != 0).sum())
    return here.size, same and bool(varied), differ
