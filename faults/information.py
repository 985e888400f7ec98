"""How much a measurement tells, in bits: entropies, expected entropies, and a classic score.

Shannon's measure; the score is that of de Kleer and Williams, *Diagnosing Multiple Faults*, Artificial
Intelligence 32(1), 1987, 97-130 (the formula from memory).
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from attrs import field, frozen

from faults.hypotheses import FloatArray, IntArray


def entropy(shares: npt.ArrayLike) -> float:
    """Return the entropy in bits of shares, which are first scaled to sum 1; 0 if all are 0."""
    given = np.asarray(shares, np.float64).reshape(-1)
    some = given[given > 0]
    total = float(some.sum())
    if total <= 0:
        return 0.0
    return max(0.0, math.log2(total) - float(np.dot(some, np.log2(some))) / total)


@frozen(eq=False)
class Forecast:
    """What a measurement would show under each hypothesis.

    ``names``: its possible outcomes. ``rows``: int64[n], which way of behaving each hypothesis has.
    ``shares``: float64[ways, outcomes], how likely each outcome is for each way of behaving; None if way
    number w always gives outcome number w.
    """

    names: tuple[str, ...]
    rows: IntArray = field()
    shares: FloatArray | None = field(default=None)

    @rows.validator
    def _in_range(self, _attribute: object, value: IntArray) -> None:
        if value.ndim != 1 or (value.size and int(value.min()) < 0):
            raise ValueError("each hypothesis behaves in one of the ways numbered from 0")

    @shares.validator
    def _sums(self, _attribute: object, value: FloatArray | None) -> None:
        ways = len(self.names) if value is None else len(value)
        if self.rows.size and int(self.rows.max()) >= ways:
            raise ValueError(f"there are {ways} ways of behaving; given number {int(self.rows.max())}")
        if value is None:
            return
        if (
            value.shape[1] != len(self.names)
            or not np.allclose(value.sum(axis=1), 1)
            or bool((value < 0).any())
        ):
            raise ValueError("the outcomes of each way of behaving have chances that sum to 1")

    @property
    def sure(self) -> bool:
        """Whether every hypothesis foretells one outcome for certain."""
        return self.shares is None or bool(np.all((self.shares == 0) | (self.shares == 1)))

    def table(self) -> FloatArray:
        """Return the chance of each outcome for each way of behaving (float64[ways, outcomes])."""
        return np.eye(len(self.names)) if self.shares is None else self.shares

    def outcome_of(self) -> IntArray:
        """Return the certain outcome of each hypothesis (int64[n]); ValueError unless :attr:`sure`."""
        if not self.sure:
            raise ValueError("some outcome is a matter of chance")
        if self.shares is None:
            return self.rows
        outcomes: IntArray = self.shares.argmax(axis=1).astype(np.int64)[self.rows]
        return outcomes

    def weights(self, outcome: int) -> FloatArray:
        """Return the chance of an outcome under each hypothesis (float64[n])."""
        if self.shares is None:
            return np.asarray(self.rows == outcome, np.float64)
        return np.asarray(self.shares[:, outcome][self.rows], np.float64)

    def chances(self, posterior: FloatArray) -> FloatArray:
        """Return how likely each outcome is (float64[outcomes]); the posterior is scaled to sum 1."""
        several = len(self.names) if self.shares is None else len(self.shares)
        ways = np.bincount(self.rows, posterior, minlength=several)
        total = float(ways.sum())
        mixed = ways if self.shares is None else ways @ self.shares
        return np.asarray(mixed / total if total > 0 else mixed, np.float64)

    def gain(self, posterior: FloatArray) -> float:
        """Return the expected information in bits: the entropy of the outcome, less what is mere chance."""
        told = entropy(self.chances(posterior))
        if self.shares is None:
            return told
        ways = np.bincount(self.rows, posterior, minlength=len(self.shares))
        total = float(ways.sum())
        if total <= 0:
            return 0.0
        noise = sum(float(w) * entropy(row) for w, row in zip(ways, self.shares, strict=True) if w > 0)
        return max(0.0, told - noise / total)

    def expected_entropy(self, posterior: FloatArray) -> float:
        """Return the entropy in bits over the hypotheses that is left on average after the measurement."""
        return entropy(posterior) - self.gain(posterior)


def sure_forecast(shown: Sequence[str]) -> Forecast:
    """Return the forecast in which hypothesis i certainly shows ``shown[i]``."""
    names = tuple(dict.fromkeys(shown))
    numbers = {name: number for number, name in enumerate(names)}
    return Forecast(names, np.fromiter((numbers[s] for s in shown), np.int64, len(shown)))


def forecast_with_unsaid(shown: Sequence[str | None], others: int = 0) -> Forecast:
    """Return the forecast in which hypothesis i shows ``shown[i]``, or (None) any outcome, all alike.

    ``others``: how many outcomes there are besides those that some hypothesis foretells.
    """
    names = [
        *dict.fromkeys(s for s in shown if s is not None),
        *(f"another ({n + 1})" for n in range(others)),
    ]
    numbers = {name: number for number, name in enumerate(names)}
    unsaid = len(names)
    rows = np.fromiter((unsaid if s is None else numbers[s] for s in shown), np.int64, len(shown))
    shares = np.vstack([np.eye(unsaid), np.full((1, unsaid), 1 / max(unsaid, 1))])
    return Forecast(tuple(names), rows, shares)


def probe_score(foretold: Sequence[float], unsaid: float, values: int) -> float:
    """Return the score of a probe in nats, lower is better: the expected change of entropy.

    ``foretold``: for each value that some hypothesis foretells, the share of those that do; ``unsaid``: the
    share of those that foretell none, spread over ``values`` possible values. With q = share + unsaid/values
    it is sum(q ln q) + U ln U - n (U/m) ln(U/m).
    """

    def term(share: float) -> float:
        return share * math.log(share) if share > 0 else 0.0

    part = unsaid / values
    return sum(term(p + part) for p in foretold) + term(unsaid) - len(foretold) * term(part)
