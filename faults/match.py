"""Which faults explain everything that was seen, and everything that passed.

Bayes' rule in logarithms over the hypotheses given, "healthy" and pairs among them, and always over one more:
a cause outside the model. Pure: what each hypothesis foretells comes in as columns. Observations are taken to
be independent given the hypothesis, an approximation (``docs/explanation/probabilities.md``).
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from faults.epochs import Belief, Mend, after_mend
from faults.hypotheses import FloatArray, Hypothesis, IntArray, kinds_of, weights_of
from faults.likelihood import Column
from faults.ranking import Ranking
from faults.rows import alike

NOTHING: Final = 0.02
"""Prior share of "nothing in the model explains this", if not stated: a guess."""


def rank(
    hypotheses: Sequence[Hypothesis],
    columns: Sequence[Column],
    *,
    mends: Sequence[Mend] = (),
    nothing: float = NOTHING,
    note: str = "",
) -> Ranking:
    """Return the posterior over ``hypotheses`` and over a cause outside the model.

    ``columns`` have one chance per hypothesis, in their order; their epochs run from 0 to the number of
    ``mends``, whose order they follow. ``nothing``: prior share of a cause outside the model. If no
    hypothesis can make the observations, such a cause gets all. ValueError for rows of other lengths, for
    epochs without a mend, or if all weights are 0 while ``nothing`` is 0.
    """
    _check(hypotheses, columns, mends, nothing)
    hypotheses, columns, kinds = tuple(hypotheses), tuple(columns), kinds_of(hypotheses)
    prior = _prior(weights_of(hypotheses), nothing)
    start, before = prior, list[Ranking]()
    for epoch in range(len(mends) + 1):
        belief = _update(start, [c for c in columns if c.epoch == epoch])
        past = tuple(c for c in columns if c.epoch <= epoch)
        group, _ = alike(_rows(past, mends[:epoch], kinds), len(hypotheses))
        known = tuple(before)
        before.append(Ranking(hypotheses, past, belief.known, belief.nothing, group, epoch, known, note))
        if epoch < len(mends):
            start = after_mend(belief, mends[epoch], prior, kinds)
    return before[-1]


def _check(
    hypotheses: Sequence[Hypothesis], columns: Sequence[Column], mends: Sequence[Mend], nothing: float
) -> None:
    if not 0 <= nothing <= 1:
        raise ValueError(f"the share of a cause outside the model lies in 0..1; given {nothing!r}")
    for column in columns:
        if len(column.chance) != len(hypotheses):
            raise ValueError(f"{column.label!r}: {len(column.chance)} chances, {len(hypotheses)} hypotheses")
        if not 0 <= column.epoch <= len(mends):
            raise ValueError(f"{column.label!r}: epoch {column.epoch} after {len(mends)} mends")
    for mend in mends:
        if len(mend.works) != len(hypotheses):
            raise ValueError(f"{mend.label!r}: {len(mend.works)} chances, {len(hypotheses)} hypotheses")


def _prior(weights: FloatArray, nothing: float) -> Belief:
    total = float(weights.sum())
    if total <= 0:
        if nothing <= 0:
            raise ValueError("no hypothesis has any weight, and a cause outside the model has none either")
        return Belief(np.zeros_like(weights), 1.0)
    return Belief(weights / total * (1 - nothing), nothing)


def _update(start: Belief, columns: Sequence[Column]) -> Belief:
    """Return the belief after the observations of one epoch."""
    with np.errstate(divide="ignore"):
        logs = np.log(start.known)
        unknown = float(np.log(start.nothing))
        for column in columns:
            logs += np.log(column.likelihood())
            unknown += float(np.log(column.unknown_cause))
    top = max(float(logs.max(initial=-np.inf)), unknown)
    if top == -np.inf:
        return Belief(np.zeros_like(logs), 1.0)
    known, rest = np.exp(logs - top), float(np.exp(unknown - top))
    total = float(known.sum()) + rest
    return Belief(known / total, rest / total)


def _rows(columns: Sequence[Column], mends: Sequence[Mend], kinds: IntArray) -> list[npt.NDArray[Any]]:
    rows: list[npt.NDArray[Any]] = [kinds]
    for column in columns:
        rows.append(column.chance)
        if isinstance(column.misread, np.ndarray):
            rows.append(column.misread)
    for mend in mends:
        rows += [mend.works, mend.becomes]
    return rows
