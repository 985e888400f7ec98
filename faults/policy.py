"""In which order to measure so that the bench minutes to the answer are fewest on average.

Exactly, by dynamic programming over the sets of causes that may be left, where these are few; otherwise by
bounded look-ahead: each promising first step is followed to the end by the greedy rule (most information per
minute), and the cheapest is taken. Which it was is said. The greedy rule alone is known to lose: the example
of Pattipati and Alexandridis, IEEE Trans. SMC 20(4), 1990, costs 2.86 that way and 2.18 at best.
"""

import math
from collections.abc import Sequence
from functools import cached_property
from typing import Final

import numpy as np
from attrs import define, field, frozen

from faults.hypotheses import FloatArray
from faults.information import Forecast, entropy

EXACT_CAUSES: Final = 12
"""Most causes (classes that some step can tell apart) for which the optimum is worked out."""

ENOUGH: Final = 0.999
"""Look-ahead stops following a branch when one cause has this share of it."""

_LEAST_BITS: Final = 1e-9
_DEEPEST: Final = 60


@frozen(eq=False)
class Step:
    """A measurement as the policy sees it: over causes, not hypotheses. ``risk`` breaks ties."""

    forecast: Forecast
    minutes: float
    powered: bool
    risk: int


@frozen
class Node:
    """What to do in a situation. ``step`` is -1 where nothing more is to be done or can be told.

    ``minutes``: expected, from here to the end; ``risk``: expected sum of the risks of the steps.
    ``then``: (outcome, what to do after it) for each outcome that can come.
    """

    step: int
    minutes: float
    risk: float
    then: tuple[tuple[int, "Node"], ...] = ()


def allowed(gains: Sequence[float], steps: Sequence[Step]) -> list[int]:
    """Return the steps that tell something and may be proposed.

    Never a powered step where an unpowered one tells as much.
    """
    unpowered = max((g for g, s in zip(gains, steps, strict=True) if not s.powered), default=-math.inf)
    return [
        number
        for number, (gain, step) in enumerate(zip(gains, steps, strict=True))
        if gain > _LEAST_BITS and not (step.powered and gain <= unpowered + _LEAST_BITS)
    ]


@define(eq=False)
class Exact:
    """The optimum over sure forecasts. ``shares``: float64[causes]; all sets are bit masks over causes."""

    shares: FloatArray
    steps: Sequence[Step]
    _known: dict[int, Node] = field(factory=dict, init=False)

    @cached_property
    def parts(self) -> list[list[tuple[int, int]]]:
        """For each step its outcomes with the set of causes that show it."""
        found = []
        for step in self.steps:
            masks: dict[int, int] = {}
            for cause, outcome in enumerate(step.forecast.outcome_of().tolist()):
                masks[outcome] = masks.get(outcome, 0) | 1 << cause
            found.append(sorted(masks.items()))
        return found

    @cached_property
    def mass(self) -> list[float]:
        """Share of every set of causes."""
        sums = [0.0] * (1 << len(self.shares))
        for number in range(1, len(sums)):
            low = number & -number
            sums[number] = sums[number ^ low] + float(self.shares[low.bit_length() - 1])
        return sums

    def best(self, left: int | None = None) -> Node:
        """Return the best thing to do when the causes ``left`` (all, if not given) are possible."""
        left = (1 << len(self.shares)) - 1 if left is None else left
        if left & (left - 1) == 0:
            return Node(-1, 0.0, 0.0)
        if left not in self._known:
            self._known[left] = self._choose(left)
        return self._known[left]

    def _choose(self, left: int) -> Node:
        splits = [[(o, left & part) for o, part in parts if left & part] for parts in self.parts]
        gains = [self._gain(left, split) for split in splits]
        nodes = [self._node(left, number, splits[number]) for number in allowed(gains, self.steps)]
        return min(nodes, key=_cost, default=Node(-1, 0.0, 0.0))

    def _gain(self, left: int, split: list[tuple[int, int]]) -> float:
        if len(split) < 2:
            return 0.0
        return entropy([self.mass[part] / self.mass[left] for _, part in split])

    def _node(self, left: int, number: int, split: list[tuple[int, int]]) -> Node:
        minutes, risk = self.steps[number].minutes, float(self.steps[number].risk)
        then = []
        for outcome, part in split:
            after = self.best(part)
            share = self.mass[part] / self.mass[left]
            minutes += share * after.minutes
            risk += share * after.risk
            then.append((outcome, after))
        return Node(number, minutes, risk, tuple(then))


def _cost(node: Node) -> tuple[float, float]:
    return round(node.minutes, 9), node.risk


@frozen(eq=False)
class LookAhead:
    """Greedy to the end, and the same tried out after each of the most promising first steps.

    ``tried``: how many first steps are tried out.
    """

    shares: FloatArray
    steps: Sequence[Step]
    tried: int = 8

    def best(self) -> Node:
        """Return the best first step found, with the greedy continuation after each outcome."""
        ranked = self._ranked(self.shares, frozenset())
        nodes = [self._node(self.shares, number, frozenset(), 0) for number in ranked[: self.tried]]
        return min(nodes, key=_cost, default=Node(-1, 0.0, 0.0))

    def greedy(self, shares: FloatArray, done: frozenset[int] = frozenset(), depth: int = 0) -> Node:
        """Return what taking the most information per minute, again and again, leads to."""
        if _settled(shares) or depth > _DEEPEST:
            return Node(-1, 0.0, 0.0)
        ranked = self._ranked(shares, done)
        return self._node(shares, ranked[0], done, depth) if ranked else Node(-1, 0.0, 0.0)

    def _ranked(self, shares: FloatArray, done: frozenset[int]) -> list[int]:
        gains = [0.0 if n in done else step.forecast.gain(shares) for n, step in enumerate(self.steps)]
        able = allowed(gains, self.steps)
        return sorted(able, key=lambda n: (-gains[n] / self.steps[n].minutes, self.steps[n].risk, n))

    def _node(self, shares: FloatArray, number: int, done: frozenset[int], depth: int) -> Node:
        step = self.steps[number]
        minutes, risk, then = step.minutes, float(step.risk), []
        total = float(shares.sum())
        # A step done again shows the same again: it is done once.
        used = done | {number}
        for outcome in np.flatnonzero(step.forecast.chances(shares) > 0).tolist():
            left = shares * step.forecast.weights(outcome)
            after = self.greedy(left, used, depth + 1)
            share = float(left.sum()) / total
            minutes += share * after.minutes
            risk += share * after.risk
            then.append((outcome, after))
        return Node(number, minutes, risk, tuple(then))


def _settled(shares: FloatArray) -> bool:
    return float(shares.max(initial=0.0)) >= ENOUGH * float(shares.sum())
