"""Failure rates from counts: intervals, clean runs needed, waiting times, and sentences for a volunteer.

Only ``math`` and ``statistics`` are used. The exact intervals invert the binomial tail (Clopper and
Pearson 1934) and the Poisson tail (Garwood 1936); the score interval is Wilson's (1927), as compared by
Newcombe, *Statistics in Medicine* 17, 1998, 857-872. Every function raises :class:`ValueError` for
counts or levels that make no sense.
"""

import math
from collections.abc import Callable
from statistics import NormalDist

from attrs import frozen

_EPSILON = 1e-16
_TINY = 1e-300


@frozen
class Interval:
    """A confidence interval ``low``..``high`` that holds with probability at least ``level``."""

    low: float
    high: float
    level: float


def clopper_pearson(failures: int, runs: int, level: float = 0.95) -> Interval:
    """Return the exact two-sided interval of a failure rate per run (Clopper and Pearson 1934)."""
    _check_counts(failures, runs)
    tail = (1 - _level(level)) / 2
    low = 0.0 if failures == 0 else _beta_quantile(tail, failures, runs - failures + 1)
    high = 1.0 if failures == runs else 1 - _beta_quantile(tail, runs - failures, failures + 1)
    return Interval(low, high, level)


def wilson(failures: int, runs: int, level: float = 0.95, *, continuity: bool = False) -> Interval:
    """Return Wilson's score interval of a failure rate per run, if asked with continuity correction."""
    _check_counts(failures, runs)
    z = NormalDist().inv_cdf(0.5 + _level(level) / 2)
    rate = failures / runs
    if continuity:
        return _wilson_corrected(failures, runs, z, level)
    centre = (rate + z * z / (2 * runs)) / (1 + z * z / runs)
    half = z / (1 + z * z / runs) * math.sqrt(rate * (1 - rate) / runs + z * z / (4 * runs * runs))
    low = 0.0 if failures == 0 else max(0.0, centre - half)
    high = 1.0 if failures == runs else min(1.0, centre + half)
    return Interval(low, high, level)


def _wilson_corrected(failures: int, runs: int, z: float, level: float) -> Interval:
    """Newcombe's method 4: the score interval with continuity correction."""
    rate, bottom = failures / runs, 2 * (runs + z * z)
    middle = 2 * failures + z * z

    def root(sign: int) -> float:
        inner = z * z + sign * 2 - 1 / runs + 4 * rate * (runs * (1 - rate) - sign)
        return z * math.sqrt(max(0.0, inner))

    low = 0.0 if failures == 0 else max(0.0, (middle - 1 - root(-1)) / bottom)
    high = 1.0 if failures == runs else min(1.0, (middle + 1 + root(1)) / bottom)
    return Interval(low, high, level)


def rate_upper(failures: int, runs: int, level: float = 0.95) -> float:
    """Return the exact one-sided upper bound of a failure rate per run.

    With no failure in ``n`` runs this is ``1 - (1 - level)**(1/n)``, which at 95 % is nearly ``3/n``.
    """
    _check_counts(failures, runs)
    tail = 1 - _level(level)
    if failures == runs:
        return 1.0
    return 1 - _beta_quantile(tail, runs - failures, failures + 1)


def rule_of_three(runs: int) -> float:
    """Return ``3/n``, the usual quick upper bound (95 %) of a rate after ``n`` runs without a failure."""
    _check_counts(0, runs)
    return min(1.0, 3 / runs)


def clean_runs_needed(confidence: float, reliability: float) -> int:
    """Return how many runs without a failure show ``reliability`` (good runs) with ``confidence``."""
    _level(reliability)
    return accesses_needed(1 - reliability, confidence)


def seen_within(chance: float, accesses: int) -> float:
    """Return the probability that a fault acting with ``chance`` per access shows within ``accesses``."""
    if not 0 <= chance <= 1 or accesses < 0:
        raise ValueError(f"a chance lies in 0..1 and a count is not negative: {chance}, {accesses}")
    if chance == 1:
        return 1.0 if accesses else 0.0
    return -math.expm1(accesses * math.log1p(-chance))


def accesses_needed(chance: float, confidence: float = 0.95) -> int:
    """Return the least number of accesses after which such a fault has shown with ``confidence``."""
    _level(confidence)
    if not 0 < chance <= 1:
        raise ValueError(f"a chance per access lies above 0 and up to 1, not {chance}")
    if chance == 1:
        return 1
    exact = math.log1p(-confidence) / math.log1p(-chance)
    near = round(exact)
    return near if abs(exact - near) < 1e-9 * max(1.0, exact) else math.ceil(exact)


def poisson_interval(events: int, level: float = 0.95) -> Interval:
    """Return the exact two-sided interval of the mean number of events (Garwood 1936).

    Divide both ends by the time watched to get a rate.
    """
    tail = (1 - _level(level)) / 2
    high = _poisson_limit(events, tail)
    low = 0.0 if events == 0 else _solve(lambda mean: _at_least(events, mean) - tail, _mean_limit(events))
    return Interval(low, high, level)


def poisson_upper(events: int, level: float = 0.95) -> float:
    """Return the exact one-sided upper bound of the mean number of events."""
    return _poisson_limit(events, 1 - _level(level))


def watch_time(rate: float, confidence: float = 0.95) -> float:
    """Return how long to watch for an event of ``rate`` per unit of time to show with ``confidence``."""
    _level(confidence)
    if not rate > 0:
        raise ValueError(f"a rate must be above 0, not {rate}")
    return -math.log1p(-confidence) / rate


def nothing_seen(rate: float, time: float) -> float:
    """Return the probability that a source of ``rate`` stays silent for ``time``."""
    if rate < 0 or time < 0:
        raise ValueError(f"a rate and a time are not negative: {rate}, {time}")
    return math.exp(-rate * time)


def at_least_events(events: int, mean: float) -> float:
    """Return P(N >= ``events``) for Poisson N; also the chance that the wait for that event is over."""
    if events < 0 or mean < 0:
        raise ValueError(f"a count and a mean are not negative: {events}, {mean}")
    return _at_least(events, mean)


def binomial_p_value(failures: int, runs: int, rate: float) -> float:
    """Return the exact two-sided p-value of a count under ``rate`` (sums all counts no more likely)."""
    _check_counts(failures, runs)
    if not 0 <= rate <= 1:
        raise ValueError(f"a rate per run lies in 0..1, not {rate}")
    weights = [_binomial_weight(k, runs, rate) for k in range(runs + 1)]
    limit = weights[failures] * (1 + 1e-7)
    return min(1.0, math.fsum(w for w in weights if w <= limit))


def rate_sentence(failures: int, runs: int, level: float = 0.95) -> str:
    """Say what ``failures`` in ``runs`` runs tell about the rate, in one sentence."""
    start = f"{_counted(failures, 'failure')} in {_counted(runs, 'run')}"
    if failures == 0:
        bound = percent(rate_upper(0, runs, level))
        return f"{start}: the rate may still be as high as {bound} ({percent(level)})."
    both = clopper_pearson(failures, runs, level)
    return f"{start}: the rate lies between {percent(both.low)} and {percent(both.high)} ({percent(level)})."


def events_sentence(events: int, time: float, unit: str, level: float = 0.95) -> str:
    """Say what ``events`` seen in ``time`` (in ``unit``, e.g. ``min``) tell about the rate per unit."""
    if not time > 0:
        raise ValueError(f"the time watched must be above 0, not {time}")
    start, sure = f"{_counted(events, 'event')} in {time:g} {unit}", percent(level)
    if events == 0:
        return f"{start}: there may still be up to {poisson_upper(0, level) / time:.3g} per {unit} ({sure})."
    both = poisson_interval(events, level)
    return f"{start}: between {both.low / time:.3g} and {both.high / time:.3g} per {unit} ({sure})."


def clean_sentence(clean: int, rate: float, confidence: float = 0.95) -> str:
    """Say whether ``clean`` runs without a failure show that a fault of ``rate`` per run is gone."""
    needed = accesses_needed(rate, confidence)
    start = f"A fault seen in {percent(rate)} of the runs"
    if clean >= needed:
        return (
            f"{start} would have shown in {_counted(clean, 'run')} with {percent(seen_within(rate, clean))}."
        )
    more, missed = needed - clean, percent(1 - seen_within(rate, clean))
    return (
        f"{start} can hide in {_counted(clean, 'clean run')}: {missed} of the time. "
        f"Make {more:,} more ({needed:,} in all) before calling it gone ({percent(confidence)})."
    )


def percent(value: float) -> str:
    """Return a fraction as a percentage with two significant digits, more where it nears 100 %."""
    shown = 100 * value
    if shown >= 99 and value < 1:
        return f"{100 - float(f'{100 - shown:.1g}'):.6g} %"
    if shown >= 10:
        return f"{shown:.0f} %"
    return f"{shown:.2g} %" if shown >= 0.001 or shown == 0 else f"{shown:.1e} %"


def _counted(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _check_counts(failures: int, runs: int) -> None:
    if runs < 1 or not 0 <= failures <= runs:
        raise ValueError(f"failures lie in 0..runs and runs is at least 1: {failures} in {runs}")


def _level(level: float) -> float:
    if not 0 < level < 1:
        raise ValueError(f"a level lies between 0 and 1, not {level}")
    return level


def _poisson_limit(events: int, tail: float) -> float:
    """Return the mean at which ``events`` or fewer have probability ``tail``."""
    if events < 0:
        raise ValueError(f"a count is not negative: {events}")
    return _solve(lambda mean: _at_least(events + 1, mean) - (1 - tail), _mean_limit(events))


def _mean_limit(events: int) -> float:
    """Return a mean surely above every bound asked for (the tail there is below 1e-30)."""
    return events + 80 + 20 * math.sqrt(events + 1)


def _solve(rising: Callable[[float], float], high: float) -> float:
    """Return the zero of a rising function on 0..``high`` by halving."""
    low = 0.0
    while True:
        middle = (low + high) / 2
        if middle in (low, high):
            return middle
        low, high = (middle, high) if rising(middle) < 0 else (low, middle)


def _binomial_weight(k: int, n: int, p: float) -> float:
    if p in (0, 1):
        return float(k == n * p)
    log = math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
    return math.exp(log + k * math.log(p) + (n - k) * math.log1p(-p))


def _beta_quantile(probability: float, a: float, b: float) -> float:
    return _solve(lambda x: _beta_below(x, a, b) - probability, 1.0)


def _beta_below(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I_x(a, b)."""
    if x <= 0 or x >= 1:
        return float(x >= 1)
    if x > (a + 1) / (a + b + 2):
        return 1 - _beta_below(1 - x, b, a)
    log = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)

    def term(i: int) -> float:
        m = i // 2
        if i % 2:
            return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))

    return math.exp(log) / a * _fraction(term)


def _fraction(term: Callable[[int], float]) -> float:
    """Value of 1/(1 + t1/(1 + t2/(1 + ...))) by the modified Lentz method (Thompson and Barnett 1986)."""
    value, c, d = 1.0, 1.0, 0.0
    for i in range(1, 100_000):
        t = term(i)
        d = 1 / _away(1 + t * d)
        c = _away(1 + t / c)
        value *= c * d
        if abs(c * d - 1) < 4 * _EPSILON:
            break
    return 1 / value


def _away(value: float) -> float:
    return value if abs(value) > _TINY else _TINY


def _at_least(events: int, mean: float) -> float:
    """P(Poisson(mean) >= events) = regularised lower incomplete gamma P(events, mean)."""
    if events == 0 or mean <= 0:
        return float(events == 0)
    if mean < events + 1:
        return _gamma_series(events, mean)
    return 1 - _poisson_below(events, mean)


def _gamma_series(events: int, mean: float) -> float:
    term = math.exp(events * math.log(mean) - mean - math.lgamma(events + 1))
    total, k = 0.0, events
    while term > total * _EPSILON:
        total += term
        k += 1
        term *= mean / k
    return total


def _poisson_below(events: int, mean: float) -> float:
    """P(Poisson(mean) <= events - 1), summed downward from its largest term."""
    term = math.exp((events - 1) * math.log(mean) - mean - math.lgamma(events))
    total = 0.0
    for k in range(events - 1, -1, -1):
        total += term
        if term <= total * _EPSILON:
            break
        term *= k / mean
    return total
