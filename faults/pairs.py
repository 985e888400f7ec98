"""Two faults at once: which pairs are worth predicting, and the ranking with them.

The bound: pairs are built only from the likeliest groups that agree with an observation, one member standing
for its group (or a few of different sorts), and only where each partner agrees with something that the other
contradicts and no observation is contradicted by both; besides those, only of the best single faults, or near
a pair that was found. Faults that hide each other completely are therefore not found; the note says so.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from attrs import evolve, frozen

from faults.hypotheses import FloatArray, Hypothesis, IntArray, pair, reweighted, weights_of
from faults.likelihood import Column
from faults.match import NOTHING, rank
from faults.ranking import Ranking

SECOND_FAULT: Final = 0.05
"""Chance that a machine with one fault has a second, independent one: a guess."""

PER_OBSERVATION: Final = 40
MOST_PAIRS: Final = 2000

Predict = Callable[[Sequence[Hypothesis]], Sequence[Column]]
"""Hypotheses -> one column per observation, in the order of the columns of the ranking."""


@frozen(eq=False)
class PairPlan:
    """Pairs worth predicting: ``pairs`` int64[m, 2] are numbers of hypotheses, the most promising first.

    ``considered``: how many pairs met the conditions, before the cut; ``note``: of which they are, in words.
    """

    pairs: IntArray
    considered: int
    note: str


def propose(
    ranking: Ranking, *, per_observation: int = PER_OBSERVATION, most: int = MOST_PAIRS, varied: int = 1
) -> PairPlan:
    """Return the pairs to try, at most ``most``, from ``per_observation`` groups for each observation.

    ``varied``: how many members stand for a group, each of another sort of site or kind: alone they foretell
    the same, but beside a second fault they need not.
    """
    pool = _varied(ranking, _pool(ranking, per_observation), varied)
    one, other = np.triu_indices(len(pool), 1)
    verdicts = ranking.verdicts[pool]
    agrees, contradicts = verdicts > 0, verdicts < 0
    helps = np.any(agrees[one] & contradicts[other], axis=1) & np.any(
        agrees[other] & contradicts[one], axis=1
    )
    covered = ~np.any(contradicts[one] & contradicts[other], axis=1)
    kept = np.flatnonzero(helps & covered)
    scores = _promise(ranking, pool, one[kept], other[kept])
    best = kept[np.argsort(-scores, kind="stable")[:most]]
    pairs = np.stack([pool[one[best]], pool[other[best]]], axis=1).astype(np.int64)
    groups = len(set(ranking.group_of[pool].tolist()))
    note = (
        f"{len(kept)} possible among the {groups} likeliest groups "
        f"(at most {per_observation} for each observation, {_standing(varied)} standing for its group)"
    )
    return PairPlan(pairs, len(kept), note)


def _pool(ranking: Ranking, per_observation: int) -> IntArray:
    """Return one single fault for each promising group (hypothesis numbers, ascending)."""
    _, first = np.unique(ranking.group_of, return_index=True)
    single = np.array([ranking.hypotheses[i].kind == "single" for i in first], np.bool_)
    stands = first[single]
    scores = _best_case(ranking, stands)
    chosen: set[int] = set()
    for k in range(len(ranking.columns)):
        agreeing = np.flatnonzero(ranking.verdicts[stands, k] > 0)
        ordered = agreeing[np.argsort(-scores[agreeing], kind="stable")[:per_observation]]
        chosen.update(int(stands[i]) for i in ordered)
    return np.array(sorted(chosen), np.int64)


def _standing(varied: int) -> str:
    return "one fault" if varied == 1 else f"up to {varied} faults of different sorts"


def _varied(ranking: Ranking, stands: IntArray, most: int) -> IntArray:
    """Return up to ``most`` members of each group that one stands for, no two of the same sort."""
    if most == 1:
        return stands
    groups, taken = set(ranking.group_of[stands].tolist()), Counter[int]()
    seen: set[tuple[int, str, str]] = set()
    found = []
    for number in [*stands.tolist(), *np.argsort(-weights_of(ranking.hypotheses), kind="stable").tolist()]:
        group, one = int(ranking.group_of[number]), ranking.hypotheses[number]
        sort = (group, *_sort(one.fault))
        if group in groups and taken[group] < most and one.kind == "single" and sort not in seen:
            taken[group] += 1
            seen.add(sort)
            found.append(number)
    return np.array(sorted(found), np.int64)


def _sort(fault: str) -> tuple[str, str]:
    """Return the sort of place and the kind of a single fault in notation: ``rope/wire``, ``open``."""
    place, kind = _place(fault)
    return "/".join(place[:2]), kind.partition("(")[0]


def _best_case(ranking: Ranking, chosen: IntArray) -> FloatArray:
    """Return how well each fault could do with an ideal partner that sees to all it contradicts."""
    group_weights = np.bincount(ranking.group_of, weights_of(ranking.hypotheses))
    with np.errstate(divide="ignore"):
        scores = np.log(group_weights[ranking.group_of[chosen]])
        for column in ranking.columns:
            ratio = np.log(column.likelihood()[chosen] / column.unknown_cause)
            scores += np.maximum(ratio, 0.0)
    return scores


def _promise(ranking: Ranking, pool: IntArray, one: IntArray, other: IntArray) -> FloatArray:
    """Return a rough score: a failure is explained by the better partner, a pass needs both."""
    group_weights = np.bincount(ranking.group_of, weights_of(ranking.hypotheses))[ranking.group_of[pool]]
    with np.errstate(divide="ignore"):
        scores = np.log(group_weights[one]) + np.log(group_weights[other])
        for column in ranking.columns:
            logs = np.log(column.likelihood()[pool])
            choose = np.minimum if column.passed else np.maximum
            scores += choose(logs[one], logs[other])
    return scores


def among_the_best(ranking: Ranking, groups: int) -> IntArray:
    """Return all pairs (int64[m, 2]) of the single faults that alone explain most, one for its group.

    Two faults may do together what neither does alone, so that an observation may contradict both.
    """
    _, first = np.unique(ranking.group_of, return_index=True)
    single = np.array([ranking.hypotheses[i].kind == "single" for i in first], np.bool_)
    stands = first[single]
    best = stands[np.argsort(-_best_case(ranking, stands), kind="stable")[:groups]]
    one, other = np.triu_indices(len(best), 1)
    return np.stack([best[one], best[other]], axis=1).astype(np.int64)


def hypotheses_of(ranking: Ranking, plan: PairPlan, second: float = SECOND_FAULT) -> list[Hypothesis]:
    """Return the planned pairs as hypotheses; those who stand for a group share its weight by their odds."""
    single = [h.weight for h in ranking.hypotheses if h.kind == "single"]
    weights, group_of = weights_of(ranking.hypotheses), ranking.group_of
    whole, standing = np.bincount(group_of, weights), np.unique(plan.pairs)
    told = np.bincount(group_of[standing], weights[standing], minlength=len(whole))
    stands = {
        i: reweighted(ranking.hypotheses[i], float(weights[i] * whole[group_of[i]] / told[group_of[i]]))
        for i in standing.tolist()
    }
    return [pair(stands[i], stands[j], total=sum(single), second=second) for i, j in plan.pairs.tolist()]


def with_pairs(
    ranking: Ranking,
    plan: PairPlan,
    predict: Predict,
    *,
    second: float = SECOND_FAULT,
    nothing: float = NOTHING,
) -> Ranking:
    """Return the ranking over all hypotheses and the planned pairs, which come last, in order.

    ``predict`` says what each hypothesis foretells: all together, since the chances of a dump are scaled by
    the best of those compared. For the current state of the machine only: ValueError if there were mends
    (search the last epoch's observations on their own).
    """
    if ranking.before:
        raise ValueError("pairs are searched among the observations of one epoch")
    found = hypotheses_of(ranking, plan, second)
    if not found:
        return evolve(ranking, note=plan.note)
    everybody = [*ranking.hypotheses, *found]
    return rank(everybody, predict(everybody), nothing=nothing, note=plan.note)


def near(ranking: Ranking, number: int, most: int) -> list[int]:
    """Return the single faults (numbers) of the family of sites of one, at most ``most``, the nearest first.

    Nearer are those of the same kind, then those whose paths part later.
    """
    place, kind = _place(ranking.hypotheses[number].fault)
    found = []
    for other, hypothesis in enumerate(ranking.hypotheses):
        where, what = _place(hypothesis.fault)
        if hypothesis.kind == "single" and where[:2] == place[:2] and other != number:
            alike = next(
                (n for n, (a, b) in enumerate(zip(place, where, strict=False)) if a != b), len(place)
            )
            found.append((what != kind, -alike, other))
    return [other for _, _, other in sorted(found)[:most]]


def _place(fault: str) -> tuple[tuple[str, ...], str]:
    place, _, kind = fault.partition(":")
    return tuple(place.split("/")), kind
