"""What may be wrong: one hypothesis per fault, per pair of faults, and one for "nothing is wrong"."""

import math
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from attrs import evolve, field, frozen

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
HypothesisKind = Literal["single", "pair", "healthy"]

KINDS: Final[tuple[HypothesisKind, ...]] = ("single", "pair", "healthy")
HEALTHY_TEXT: Final = "healthy"


@frozen
class Hypothesis:
    """One thing that may be wrong.

    ``fault``: notation, two of them joined by `` & `` for a pair, ``healthy`` for none. ``part``: the class
    whose prior it takes. ``weight``: prior odds, any scale, the same for all hypotheses ranked together.
    ``label``: card, pin or wire in the reader's words. ``parts``: for a pair, the faults that make it up.
    """

    fault: str
    weight: float = field(default=1.0)
    part: str = ""
    label: str = ""
    kind: HypothesisKind = "single"
    parts: tuple[str, ...] = ()

    @weight.validator
    def _is_weight(self, _attribute: object, value: float) -> None:
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"a prior weight is a number of at least 0; given {value!r} for {self.fault!r}")


def healthy(weight: float) -> Hypothesis:
    """Return the hypothesis that nothing is wrong (any more)."""
    return Hypothesis(HEALTHY_TEXT, weight, label="nothing is wrong", kind="healthy")


def pair(one: Hypothesis, other: Hypothesis, *, total: float, second: float) -> Hypothesis:
    """Return the hypothesis that both faults are there.

    ``total``: sum of the weights of all single faults; ``second``: chance that a second fault is there as
    well. With shares s = weight/total the weight is ``second * 2 * s1 * s2 * total``: two independent draws.
    """
    weight = second * 2 * one.weight * other.weight / total if total > 0 else 0.0
    label = "; ".join(h.label for h in (one, other) if h.label)
    return Hypothesis(
        f"{one.fault} & {other.fault}", weight, label=label, kind="pair", parts=(one.fault, other.fault)
    )


def weights_of(hypotheses: Sequence[Hypothesis]) -> FloatArray:
    """Return the prior weights (float64[n])."""
    return np.fromiter((h.weight for h in hypotheses), np.float64, len(hypotheses))


def kinds_of(hypotheses: Sequence[Hypothesis]) -> IntArray:
    """Return the place of each hypothesis' kind in :data:`KINDS` (int64[n])."""
    codes = {kind: code for code, kind in enumerate(KINDS)}
    return np.fromiter((codes[h.kind] for h in hypotheses), np.int64, len(hypotheses))


def spread(hypotheses: Sequence[Hypothesis], *, healthy_share: float) -> tuple[Hypothesis, ...]:
    """Return the hypotheses with one added for "nothing is wrong", which has the given share of the prior."""
    if not 0 <= healthy_share < 1:
        raise ValueError(f"a share lies in 0..1, below 1; given {healthy_share!r}")
    total = float(weights_of(hypotheses).sum())
    return (*hypotheses, healthy(total * healthy_share / (1 - healthy_share)))


def reweighted(hypothesis: Hypothesis, weight: float) -> Hypothesis:
    """Return the hypothesis with another prior weight."""
    return evolve(hypothesis, weight=weight)
