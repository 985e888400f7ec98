"""What a mend does to belief: earlier observations speak of the faults before it, later ones of the rest."""

from typing import Final

import numpy as np
from attrs import field, frozen

from faults.hypotheses import KINDS, FloatArray, IntArray

ANOTHER_FAULT: Final = 0.05
"""Chance that, once a fault is mended, there is another: overlooked before or made by the mend. A guess."""

UNKNOWN_MENDED: Final = 0.5
"""Chance that a mend also cured a cause outside the model. A guess."""


@frozen(eq=False)
class Mend:
    """Something was mended between two epochs.

    ``works``: float64[n], the chance that this mend removed what the hypothesis says. ``becomes``: int64[n],
    the hypothesis that is then left (one fault of a pair), -1 for none.
    """

    label: str
    works: FloatArray = field()
    becomes: IntArray = field()
    another: float = ANOTHER_FAULT

    @works.validator
    def _chances(self, _attribute: object, value: FloatArray) -> None:
        if value.ndim != 1 or not bool(np.all((value >= 0) & (value <= 1))):
            raise ValueError(f"{self.label!r}: chances are one row of numbers in 0..1")

    @becomes.validator
    def _indices(self, _attribute: object, value: IntArray) -> None:
        if value.shape != self.works.shape or not bool(np.all((value >= -1) & (value < len(value)))):
            raise ValueError(f"{self.label!r}: what is left is -1 or the number of a hypothesis")


@frozen(eq=False)
class Belief:
    """Shares of belief: one per hypothesis (float64[n]) and one for a cause outside the model; sum 1."""

    known: FloatArray
    nothing: float


def after_mend(belief: Belief, mend: Mend, prior: Belief, kinds: IntArray) -> Belief:
    """Return the belief with which the epoch after a mend begins.

    What the mend did not remove stays. What it removed leaves the machine healthy, or (``mend.another``) with
    a fault drawn afresh from ``prior``. Raises ValueError if no hypothesis says "healthy".
    """
    sound = np.flatnonzero(kinds == KINDS.index("healthy"))
    if not len(sound):
        raise ValueError("mends need the hypothesis that nothing is wrong")
    works = mend.works.copy()
    works[sound] = 1.0
    removed = belief.known * works
    known = belief.known - removed
    rest = mend.becomes >= 0
    np.add.at(known, mend.becomes[rest], removed[rest])
    freed = float(removed[~rest].sum()) + belief.nothing * UNKNOWN_MENDED
    fresh = np.where(kinds == KINDS.index("single"), prior.known, 0.0)
    total = float(fresh.sum()) + prior.nothing
    another = mend.another if total > 0 else 0.0
    known[sound[0]] += freed * (1 - another)
    nothing = belief.nothing * (1 - UNKNOWN_MENDED)
    if another:
        known += freed * another * fresh / total
        nothing += freed * another * prior.nothing / total
    return Belief(known, nothing)
