"""Bayes' rule by counting, in exact fractions, one world at a time: no arrays, no logarithms.

A world is (what is wrong, which observations were misread). Its weight is the product of everything in it.
"""

from fractions import Fraction
from itertools import product

OUTSIDE = "outside the model"


def posterior(prior, observations):
    """Return {cause: probability} and the chance of misreading for each observation.

    ``prior``: {cause: Fraction}, :data:`OUTSIDE` among them. Each observation is a dict with ``chance``
    {cause: Fraction or None}, ``broad``, ``misread`` and ``certainty``.
    """
    causes = dict.fromkeys(prior, Fraction(0))
    misread = [Fraction(0) for _ in observations]
    everything = Fraction(0)
    for cause in prior:
        for wrongly in product((False, True), repeat=len(observations)):
            weight = prior[cause]
            for wrong, seen in zip(wrongly, observations, strict=True):
                if wrong:
                    weight *= (1 - seen["certainty"]) * seen["misread"]
                    continue
                chance = None if cause == OUTSIDE else seen["chance"][cause]
                weight *= seen["certainty"] * (seen["broad"] if chance is None else chance)
            everything += weight
            causes[cause] += weight
            for number, wrong in enumerate(wrongly):
                if wrong:
                    misread[number] += weight
    return {c: w / everything for c, w in causes.items()}, [m / everything for m in misread]


def posterior_with_mend(prior, before, after, works, another):
    """Return {cause: probability} of what is wrong after one mend, by listing (before, mended, after).

    ``works``: {cause: chance that the mend removed it}; causes are single faults, "healthy" and
    :data:`OUTSIDE`. What is removed leaves "healthy", or with chance ``another`` a cause drawn from the prior
    without "healthy".
    """
    faulty = sum(w for c, w in prior.items() if c != "healthy")
    found = dict.fromkeys(prior, Fraction(0))
    for first in prior:
        start = prior[first] * _likelihood(first, before)
        kept = start * (1 - works[first])
        found[first] += kept * _likelihood(first, after)
        freed = start * works[first]
        found["healthy"] += freed * (1 - another) * _likelihood("healthy", after)
        for fresh in prior:
            if fresh != "healthy":
                share = another * prior[fresh] / faulty
                found[fresh] += freed * share * _likelihood(fresh, after)
    total = sum(found.values())
    return {c: w / total for c, w in found.items()}


def _likelihood(cause, observations):
    weight = Fraction(1)
    for seen in observations:
        chance = None if cause == OUTSIDE else seen["chance"][cause]
        right = seen["broad"] if chance is None else chance
        weight *= seen["certainty"] * right + (1 - seen["certainty"]) * seen["misread"]
    return weight
