"""How well each hypothesis foretold an observation: one column of chances, and the formulas that fill it.

Everything here is a probability over *one* outcome space per observation (all that could have been written
down). The formulas are explained in ``docs/explanation/probabilities.md``.
"""

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from faults.hypotheses import FloatArray

DEFAULT_CERTAINTY: Final = 0.98
"""Chance that an observation was read and written down right, if the case does not say: a guess."""

SHARE_OF_MODEL: Final = 0.5
"""How far an unknown cause is taken to behave like the faults of the model: a guess; see `broad_chance`."""

_CONTRADICTS_BELOW: Final = 0.1


@frozen(eq=False)
class Column:
    """One observation against every hypothesis.

    ``chance``: float64[n], the chance that exactly this would be seen if the hypothesis were true and the
    reading right; NaN where the model cannot say (silent). ``broad``: the same for a cause outside the model.
    ``misread``: the chance that exactly this would be written down by somebody who reads wrongly; a number,
    or float64[n] where it depends on what there was to read. ``certainty``: chance of a right reading.
    ``epoch``: how many mends came before. ``entry``: its number in the case file, from 0 (-1: none).
    ``passed``: it says that something worked. ``why``: hypothesis number -> the reason, in words.
    """

    label: str
    chance: FloatArray = field()
    broad: float = field()
    misread: float | FloatArray = field()
    certainty: float = field(default=DEFAULT_CERTAINTY)
    epoch: int = 0
    entry: int = -1
    passed: bool = False
    why: Callable[[int], str] | None = None

    @chance.validator
    def _chances(self, _attribute: object, value: FloatArray) -> None:
        if value.ndim != 1 or bool(np.any((value < 0) | (value > 1))):  # NaN compares False
            raise ValueError(f"{self.label!r}: chances are one row of numbers in 0..1 or NaN")

    @broad.validator
    def _broad(self, _attribute: object, value: float) -> None:
        if not 0 < value <= 1:
            raise ValueError(f"{self.label!r}: the broad chance lies in 0..1, above 0; given {value!r}")

    @misread.validator
    def _misread(self, _attribute: object, value: float | FloatArray) -> None:
        all_of = np.asarray(value, np.float64)
        shapes = {(), self.chance.shape}
        if all_of.shape not in shapes or not bool(np.all((all_of > 0) & (all_of <= 1))):
            raise ValueError(f"{self.label!r}: the chance of a misreading lies in 0..1, above 0")

    @certainty.validator
    def _certain(self, _attribute: object, value: float) -> None:
        if not 0 <= value <= 1:
            raise ValueError(f"{self.label!r}: a certainty lies in 0..1; given {value!r}")

    def likelihood(self) -> FloatArray:
        """Return float64[n]: certainty * chance + (1 - certainty) * misread; silent ones take ``broad``."""
        right = np.where(np.isnan(self.chance), self.broad, self.chance)
        mixed: FloatArray = self.certainty * right + (1 - self.certainty) * np.asarray(self.misread)
        return mixed

    @property
    def misread_by_nobody(self) -> float:
        """The chance of this misreading where no hypothesis says what there was to read."""
        return self.misread if isinstance(self.misread, float | int) else self.broad

    @property
    def unknown_cause(self) -> float:
        """Likelihood under a cause outside the model."""
        return self.certainty * self.broad + (1 - self.certainty) * self.misread_by_nobody

    def was_misread(self) -> FloatArray:
        """Return float64[n]: the chance that this was misread, given that the hypothesis is true."""
        wrong = (1 - self.certainty) * np.broadcast_to(np.asarray(self.misread), self.chance.shape)
        total = self.likelihood()
        return np.divide(wrong, total, out=np.zeros_like(total), where=total > 0)

    def verdicts(self) -> npt.NDArray[np.int8]:
        """Return int8[n]: 1 agrees (foretold at least as well as by an unknown cause), -1 contradicts, 0
        silent. Between a tenth of ``broad`` and ``broad`` it hardly speaks, which counts as silent.
        """  # noqa: D205
        agrees = self.chance >= self.broad
        contradicts = self.chance < _CONTRADICTS_BELOW * self.broad
        return agrees.astype(np.int8) - contradicts.astype(np.int8)


def foretold(predicted: Sequence[bool | None]) -> FloatArray:
    """Return the chances of what each hypothesis foretells, rules out or (None) leaves open."""
    return np.array([math.nan if p is None else float(p) for p in predicted], np.float64)


def smoothed(hits: npt.ArrayLike, trials: npt.ArrayLike) -> FloatArray:
    """Return Laplace's chance of the next hit, (hits + 1) / (trials + 2), for each hypothesis.

    No trials give NaN, for nothing was tried. Never 0 or 1: counts of a chancy fault prove nothing.
    """
    k, n = np.asarray(hits, np.float64), np.asarray(trials, np.float64)
    if bool(np.any((k < 0) | (k > n))):
        raise ValueError("hits lie between 0 and trials")
    return np.where(n > 0, (k + 1) / (n + 2), math.nan)


def repeated(seen: int, runs: int, hits: npt.ArrayLike, trials: npt.ArrayLike) -> FloatArray:
    """Return the chance of seeing ``seen`` of ``runs`` after ``hits`` of ``trials`` simulated runs.

    The beta-binomial law with Laplace's prior, so that the chances of 0, 1, .. ``runs`` sum to 1; for one run
    it is :func:`smoothed`. No trials give NaN.
    """
    if not 0 <= seen <= runs:
        raise ValueError(f"0 to {runs} of {runs} can be seen; given {seen}")
    k, n = np.atleast_1d(np.asarray(hits, np.float64)), np.atleast_1d(np.asarray(trials, np.float64))
    if bool(np.any((k < 0) | (k > n))):
        raise ValueError("hits lie between 0 and trials")
    chances = [
        _beta_binomial(seen, runs, h + 1, t - h + 1) if t > 0 else math.nan
        for h, t in zip(*np.broadcast_arrays(k, n), strict=True)
    ]
    return np.array(chances, np.float64)


def _beta_binomial(seen: int, runs: int, a: float, b: float) -> float:
    ways = math.lgamma(runs + 1) - math.lgamma(seen + 1) - math.lgamma(runs - seen + 1)
    return min(1.0, math.exp(ways + _log_beta(seen + a, runs - seen + b) - _log_beta(a, b)))


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


def uniform_chance(outcomes: float, covered: float = 1.0) -> float:
    """Return the chance of an observation if every outcome were equally likely.

    ``outcomes``: how many different things could have been written down; ``covered``: how many of them the
    observation allows (a ``?`` octal digit allows eight).
    """
    if not 0 < covered <= outcomes:
        raise ValueError(f"an observation covers some of all outcomes; given {covered!r} of {outcomes!r}")
    return covered / outcomes


def broad_chance(chance: FloatArray, weights: FloatArray, uniform: float) -> float:
    """Return the chance of an observation under a cause that the model does not know.

    Half what the faults of the model make of it, on average by their weights, and half ``uniform``: an
    unknown fault is still a fault of this machine (most tests pass under most faults, whatever they are), but
    need not do what a known one does. Summed over all outcomes it gives 1, since both halves do.
    """
    spoken = ~np.isnan(chance)
    total = float(weights[spoken].sum())
    if total <= 0:
        return uniform
    mean = float(np.dot(weights[spoken], chance[spoken])) / total
    return min(1.0, SHARE_OF_MODEL * mean + (1 - SHARE_OF_MODEL) * uniform)


def slip_chance(differing: npt.ArrayLike, digits: int, base: int, uniform: float) -> FloatArray:
    """Return the chance of a misreading, by how many digits it differs from what there was to read.

    Half of all misreadings are taken to be one digit wrong, each of the ``digits * (base - 1)`` such slips
    alike; the other half ``uniform``. -1 digits: not known what there was to read. A guess, no source.
    """
    wrong = np.asarray(differing, np.int64)
    one_digit = 1 / (digits * (base - 1))
    slips = np.where(wrong == 1, 0.5 * one_digit, 0.0) + 0.5 * uniform
    return np.where(wrong < 0, uniform, slips)
