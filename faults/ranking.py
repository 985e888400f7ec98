"""The answer of a match: how likely each hypothesis is, in groups that no observation can tell apart."""

from collections.abc import Iterator
from functools import cached_property
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from attrs import frozen

from faults.hypotheses import FloatArray, Hypothesis, HypothesisKind, IntArray
from faults.likelihood import Column

VerdictWord = Literal["agrees", "contradicts", "silent"]
Outcome = Literal["fits", "healthy", "misread", "nothing"]

_WORDS: Final[dict[int, VerdictWord]] = {1: "agrees", -1: "contradicts", 0: "silent"}
_BLANK: Final[dict[VerdictWord, str]] = {
    "agrees": "foretold",
    "contradicts": "not what this would show",
    "silent": "the model says nothing, or nothing much, about this",
}


@frozen
class Verdict:
    """What one hypothesis says of one observation (``column``), why, and how likely it was misread then."""

    column: int
    word: VerdictWord
    reason: str
    misread: float


@frozen
class Group:
    """Hypotheses of one kind that foretell every observation alike.

    ``rank`` counts from 1. ``members``: their numbers, the likeliest first (then in the order given).
    """

    rank: int
    kind: HypothesisKind
    members: tuple[int, ...]
    posterior: float
    contradicted: int


@frozen(eq=False)
class Ranking:
    """What the observations leave of the hypotheses.

    ``posterior``: float64[n] and ``nothing``, the share of a cause outside the model, sum to 1. ``group_of``:
    int64[n]. ``before``: for each earlier epoch the ranking as it stood then. ``note``: what was searched.
    """

    hypotheses: tuple[Hypothesis, ...]
    columns: tuple[Column, ...]
    posterior: FloatArray
    nothing: float
    group_of: IntArray
    epoch: int = 0
    before: tuple["Ranking", ...] = ()
    note: str = ""

    @cached_property
    def shares(self) -> FloatArray:
        """The posterior of each group, in the order of the groups' numbers (float64[groups])."""
        return np.bincount(self.group_of, self.posterior).astype(np.float64)

    @cached_property
    def order(self) -> IntArray:
        """Group numbers, the likeliest first; equals in the order in which their members were given."""
        return np.argsort(-self.shares, kind="stable")

    @cached_property
    def _by_group(self) -> tuple[IntArray, IntArray]:
        order = np.lexsort((-self.posterior, self.group_of))
        starts = np.searchsorted(self.group_of[order], np.arange(len(self.shares) + 1))
        return order, starts

    @cached_property
    def verdicts(self) -> npt.NDArray[np.int8]:
        """Verdict of every hypothesis (row) on every observation (column): int8[n, k], see `Column`."""
        if not self.columns:
            return np.zeros((len(self.hypotheses), 0), np.int8)
        return np.stack([column.verdicts() for column in self.columns], axis=1)

    @cached_property
    def contradictions(self) -> IntArray:
        """How many observations of this epoch each hypothesis contradicts (int64[n])."""
        now = np.array([column.epoch == self.epoch for column in self.columns], np.bool_)
        counted: IntArray = (self.verdicts[:, now] < 0).sum(axis=1, dtype=np.int64)
        return counted

    @property
    def group_count(self) -> int:
        """How many groups there are."""
        return len(self.shares)

    def group(self, rank: int) -> Group:
        """Return the group of that rank, from 1. IndexError if there is none."""
        if not 1 <= rank <= self.group_count:
            raise IndexError(f"there are {self.group_count} groups; asked for number {rank}")
        number = int(self.order[rank - 1])
        order, starts = self._by_group
        members = order[starts[number] : starts[number + 1]]
        first = int(members[0])
        wrong, kind = int(self.contradictions[first]), self.hypotheses[first].kind
        return Group(rank, kind, tuple(members.tolist()), float(self.shares[number]), wrong)

    def groups(self, most: int | None = None) -> Iterator[Group]:
        """Yield the groups by rank, all of them or the first ``most``."""
        count = self.group_count if most is None else min(most, self.group_count)
        return (self.group(rank) for rank in range(1, count + 1))

    def holding(self, share: float) -> tuple[Group, ...]:
        """Return the fewest groups, by rank, that hold ``share`` of all belief together (or all)."""
        held = np.cumsum(self.shares[self.order])
        count = int(np.searchsorted(held, share - 1e-12)) + 1
        return tuple(self.groups(count))

    def rank_of(self, fault: str) -> int | None:
        """Return the rank of the group that holds a fault, or None if it is not among the hypotheses."""
        for number, hypothesis in enumerate(self.hypotheses):
            if hypothesis.fault == fault:
                return int(np.flatnonzero(self.order == self.group_of[number])[0]) + 1
        return None

    def agreement(self, hypothesis: int) -> tuple[Verdict, ...]:
        """Return what one hypothesis says of each observation, with the reason."""
        return tuple(self._verdict(hypothesis, number) for number in range(len(self.columns)))

    def _verdict(self, hypothesis: int, number: int) -> Verdict:
        column = self.columns[number]
        word = _WORDS[int(self.verdicts[hypothesis, number])]
        reason = (column.why(hypothesis) if column.why else "") or _BLANK[word]
        if column.epoch != self.epoch:
            return self._of_the_past(hypothesis, number, word, reason)
        return Verdict(number, word, reason, float(column.was_misread()[hypothesis]))

    def _of_the_past(self, hypothesis: int, number: int, word: VerdictWord, reason: str) -> Verdict:
        """Return what is said of an observation from before a mend: it spoke of what was there then.

        A fault that would have shown it may have been there all along; nothing contradicts one that would
        not, for something else was mended meanwhile. Nor is it said that it was misread.
        """
        if word == "agrees" and self.hypotheses[hypothesis].kind != "healthy":
            return Verdict(number, word, f"seen before a later mend; {reason}", 0.0)
        return Verdict(number, "silent", "seen before a later mend: it speaks of what was there then", 0.0)

    def misread(self, column: int) -> float:
        """Return the chance that an observation was misread, over all hypotheses.

        For observations of this epoch; an earlier epoch's ranking answers for its own.
        """
        one = self.columns[column]
        unknown = (1 - one.certainty) * one.misread_by_nobody / one.unknown_cause
        return float(np.dot(self.posterior, one.was_misread())) + self.nothing * unknown

    @property
    def doubted(self) -> tuple[tuple[int, float], ...]:
        """Observations of this epoch more likely misread than not, the worst first: (column, chance)."""
        now = [k for k, column in enumerate(self.columns) if column.epoch == self.epoch]
        chances = [(k, self.misread(k)) for k in now]
        return tuple(sorted(((k, c) for k, c in chances if c > 0.5), key=lambda pair: -pair[1]))

    @property
    def outcome(self) -> Outcome:
        """What the answer amounts to.

        ``nothing``: a cause outside the model is likelier than any group. ``misread``: the best group
        contradicts an observation, so it is the answer only if that was misread. ``healthy``: nothing is
        wrong. ``fits``: the best group contradicts nothing.
        """
        if not self.group_count:
            return "nothing"
        best = self.group(1)
        if self.nothing > best.posterior:
            return "nothing"
        if best.contradicted:
            return "misread"
        return "healthy" if best.kind == "healthy" else "fits"

    @property
    def negative(self) -> bool:
        """Whether nothing fits everything as it was written down: the command then ends with status 1."""
        return self.outcome in {"misread", "nothing"}

    @property
    def single_fits(self) -> bool:
        """Whether some single fault, however unlikely, contradicts no observation of this epoch."""
        single = np.array([h.kind == "single" for h in self.hypotheses], np.bool_)
        return bool(np.any(single & (self.contradictions == 0)))
