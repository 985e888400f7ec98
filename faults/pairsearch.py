"""The search for two faults at once, round by round, each ranked together with the pairs of those before it.

First pairs whose parts agree with what the other contradicts, or that explain a dump together; then with more
faults standing for each group; then what lies near the best pair that was found, since lines of one kind may
be told apart by nothing but what they do beside the second fault. If that explains too little, the fault that
the best pairs share is tried beside the others.
"""

from collections import defaultdict
from collections.abc import Sequence
from typing import Final

import numpy as np
from attrs import define, field

from faults.hypotheses import Hypothesis, IntArray, weights_of
from faults.likelihood import Column
from faults.match import rank
from faults.notation import parse_fault
from faults.pairs import PairPlan, among_the_best, near, propose, with_pairs
from faults.predictions.columns import Columns, Subject
from faults.predictions.scene import Scene
from faults.ranking import Ranking

_WORTH_PAIRS: Final = 300
_WORTH_DUMP_PAIRS: Final = 400
_BEST_GROUPS: Final = 30
_ROUNDS: Final = ((1, _WORTH_PAIRS), (6, 2 * _WORTH_PAIRS))
"""Rounds of pairs: how many faults stand for a group, and how many pairs are tried at most."""
_NEAR: Final = 150  # neighbours of each part of the best pair
_MOST_MOVES: Final = 3
_MOST_EXCHANGED: Final = 3000
_OPEN: Final = ("nothing", "misread")


def search_pairs(
    columns: Columns, single: Ranking, subjects: tuple[Subject, ...], scene: Scene
) -> tuple[Ranking, tuple[Subject, ...]]:
    """Return the ranking with pairs of faults, if there are pairs worth trying, and its subjects."""
    whole = columns.predict(subjects, weights_of(single.hypotheses), sift=False)
    tried = rank(single.hypotheses, whole.columns, nothing=scene.priors.nothing, note=single.note)
    search = _Search(columns, tried, subjects, scene, single)
    for varied, most in _ROUNDS:
        search.propose(varied, most)
        if search.ranking.outcome not in _OPEN:
            break
    search.move()
    if search.ranking.outcome in _OPEN and search.exchange():
        search.move()
    return search.ranking, search.everybody


@define(eq=False)
class _Search:
    columns: Columns
    tried: Ranking  # the single faults, everything predicted
    subjects: tuple[Subject, ...]
    scene: Scene
    ranking: Ranking
    pairs: dict[tuple[int, int], None] = field(factory=dict)  # of numbers of single faults, in order
    everybody: tuple[Subject, ...] = ()
    tries: list[str] = field(factory=list)  # what was tried, in words
    beside: int = 0  # how many near the best
    considered: int = 0
    around: set[tuple[int, int]] = field(factory=set)  # pairs whose neighbours were tried

    def __attrs_post_init__(self) -> None:
        self.everybody = self.subjects

    def propose(self, varied: int, most: int) -> None:
        """Try those proposed, all among the best, those that explain a dump together.

        Of a dump, most faults explain a part: where two strike different words or bits, what both leave wrong
        adds up.
        """
        plan = propose(self.tried, per_observation=20, most=most, varied=varied)
        weights = weights_of(self.tried.hypotheses)
        dumps = self.columns.dumps
        extra = [self.columns.dump_pairs(n, self.subjects, weights, _WORTH_DUMP_PAIRS) for n in dumps]
        found = np.concatenate([among_the_best(self.tried, _BEST_GROUPS), *extra])
        self.considered += plan.considered
        known = self._add(plan.pairs), self._add(found)
        if known[0]:
            self.tries.append(
                f"{known[0]} more of {plan.note}" if self.tries else f"{known[0]} of {plan.note}"
            )
        if known[1]:
            self.tries.append(
                f"{known[1]} among the {_BEST_GROUPS} best groups or of those explaining a dump"
            )
        if any(known):
            self._rank()

    def move(self) -> None:
        """Go to the best pair, a few times."""
        for _ in range(_MOST_MOVES):
            if not self.look_around():
                break

    def exchange(self) -> bool:
        """Try every listed fault beside the one that the best pairs share; return whether any is new."""
        shared = self._shared()
        if shared is None:
            return False
        weights = weights_of(self.tried.hypotheses)
        digests = [self.columns.workshop.plans.digest(s.fault) for s in self.subjects]
        _, first = np.unique(np.array(digests), return_index=True)
        rest = first[np.argsort(-weights[first], kind="stable")]
        one_of = self.tried.hypotheses
        singles = [
            i
            for i in rest.tolist()
            if one_of[i].kind == "single" and i != shared and not self.subjects[i].chancy
        ]
        fresh = self._add(np.array([(shared, i) for i in singles[:_MOST_EXCHANGED]], np.int64).reshape(-1, 2))
        if fresh:
            self.tries.append(f"{fresh} of {one_of[shared].fault} beside the others")
            self._rank()
        return bool(fresh)

    def _shared(self) -> int | None:
        """Return the single fault that stands in most of the best pairs, or alone before them."""
        found: defaultdict[int, float] = defaultdict(float)
        numbers = list(self.pairs)
        for group in self.ranking.groups(_BEST_GROUPS):
            for number in group.members:
                parts = numbers[number - len(self.subjects)] if group.kind == "pair" else (number,)
                for part in parts if group.kind in ("pair", "single") else ():
                    found[part] += float(self.ranking.posterior[number])
        return max(found, key=lambda i: found[i]) if found else None

    def look_around(self) -> bool:
        """Try the neighbours of the best pair; return whether there was one to look around."""
        best = self._best_pair()
        if best is None or best in self.around:
            return False
        self.around.add(best)
        one, other = best
        moved = [(i, other) for i in near(self.tried, one, _NEAR)]
        moved += [(one, j) for j in near(self.tried, other, _NEAR)]
        fresh = self._add(np.array(moved, np.int64).reshape(-1, 2))
        self.beside += fresh
        if fresh:
            self._rank()
        return bool(fresh)

    def _best_pair(self) -> tuple[int, int] | None:
        group = self.ranking.group(1)
        if group.kind != "pair":
            return None
        return list(self.pairs)[group.members[0] - len(self.subjects)]

    def _add(self, pairs: IntArray) -> int:
        """Take in pairs; return how many are new."""
        before = len(self.pairs)
        for i, j in pairs.tolist():
            if i != j and not self.subjects[i].chancy and not self.subjects[j].chancy:
                self.pairs.setdefault((min(i, j), max(i, j)))
        return len(self.pairs) - before

    def _rank(self) -> None:
        tried = [*self.tries, *([f"{self.beside} near the best of these"] if self.beside else [])]
        note = f"pairs tried: {', '.join(tried)}; two faults that hide each other would not be found"
        plan = PairPlan(np.array(list(self.pairs), np.int64), self.considered, note)
        priors = self.scene.priors
        self.ranking = with_pairs(
            self.tried, plan, self._predict, second=priors.second, nothing=priors.nothing
        )

    def _predict(self, hypotheses: Sequence[Hypothesis]) -> Sequence[Column]:
        fresh = hypotheses[len(self.subjects) :]
        made = tuple(Subject(parse_fault(h.fault, self.scene.board)) for h in fresh)
        self.everybody = (*self.subjects, *made)
        return self.columns.predict(self.everybody, weights_of(hypotheses)).columns
