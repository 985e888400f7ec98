"""The fewest expected minutes by trying every order of steps, with exact fractions and plain sets.

Causes are numbered; a step is (cost, outcomes by cause). Nothing is remembered, nothing is skipped.
"""

from fractions import Fraction


def best_cost(weights, steps):
    """Return the least expected cost of telling all causes apart that can be told apart."""
    everything = frozenset(range(len(weights)))
    total = sum(weights)
    return _sum(everything, weights, steps) / total


def _sum(left, weights, steps):
    """Return expected cost times the weight of the causes left."""
    choices = []
    for cost, outcomes in steps:
        parts = {}
        for cause in left:
            parts.setdefault(outcomes[cause], set()).add(cause)
        if len(parts) > 1:
            weight = sum(weights[c] for c in left)
            choices.append(cost * weight + sum(_sum(frozenset(p), weights, steps) for p in parts.values()))
    return min(choices, default=Fraction(0))


def mean_cost_of_random_order(weights, steps):
    """Return the expected cost of taking, each time, any step that still tells something, all alike."""
    return _random(frozenset(range(len(weights))), weights, steps) / sum(weights)


def _random(left, weights, steps):
    costs = []
    for cost, outcomes in steps:
        parts = {}
        for cause in left:
            parts.setdefault(outcomes[cause], set()).add(cause)
        if len(parts) > 1:
            weight = sum(weights[c] for c in left)
            costs.append(cost * weight + sum(_random(frozenset(p), weights, steps) for p in parts.values()))
    return sum(costs) / len(costs) if costs else Fraction(0)
