"""What to measure next: the fewest bench minutes to the answer, unpowered before powered, and what is left.

Pure: what each measurement would show under each hypothesis comes in as a forecast. Readings are taken to be
right while planning; the match of what was really seen allows for misreading.
"""

import math
from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
from attrs import field, frozen

from faults.hypotheses import FloatArray, IntArray
from faults.information import Forecast, entropy
from faults.policy import EXACT_CAUSES, Exact, LookAhead, Node, Step
from faults.rows import alike

Method = Literal["exact", "look-ahead", "nothing tells"]

LEFT_OUT: Final = 0.001
"""Share of belief that planning may leave out; the answer says how much it was."""

LOOK_AHEAD_CAUSES: Final = 40
_WORTH_MENTION: Final = 1e-12


@frozen(eq=False)
class Measurement:
    """One thing that could be done at the bench.

    ``forecast`` has a row per hypothesis. ``minutes`` are bench minutes, above 0. ``risk``: 0 none, 1 to what
    can be replaced, 2 to what cannot, 3 to people. ``caution`` is printed with the step.
    """

    name: str
    action: str
    forecast: Forecast
    minutes: float = field()
    powered: bool = False
    risk: int = 0
    caution: str = ""
    where: str = ""
    kind: str = ""

    @minutes.validator
    def _above_zero(self, _attribute: object, value: float) -> None:
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{self.name!r}: bench minutes are above 0; given {value!r}")


@frozen
class Left:
    """What one outcome would leave.

    ``chance`` of the outcome; ``causes`` classes and ``hypotheses`` left that hold all but a thousandth of
    the belief after it; ``leader`` the likeliest hypothesis then, ``share`` its class's share.
    """

    outcome: str
    chance: float
    causes: int
    hypotheses: int
    leader: int
    share: float


@frozen
class Scored:
    """A measurement, what it tells (bits on average) and what each outcome would leave, likeliest first.

    ``set_aside``: why it is not proposed, or "".
    """

    measurement: int
    bits: float
    bits_per_minute: float
    outcomes: tuple[Left, ...]
    set_aside: str = ""


@frozen
class Advice:
    """The next step, how it was chosen, and every other one.

    ``best``: number of the measurement, None if none tells anything. ``minutes``: expected from here to the
    end of the plan. ``ranked``: the best first, then by bits per minute, those set aside last. ``plan``: what
    to do after each outcome; its steps are numbers of measurements. ``bits_left``: entropy now;
    ``inseparable``: groups of hypotheses that no measurement offered can tell apart. ``left_out``: share of
    belief that the plan does not cover.
    """

    method: Method
    best: int | None
    minutes: float
    ranked: tuple[Scored, ...]
    plan: Node | None
    bits_left: float
    causes: int
    inseparable: tuple[tuple[int, ...], ...]
    left_out: float
    note: str


@frozen(eq=False)
class _Causes:
    """Hypotheses put together that no measurement tells apart. ``of``: int64[n]; ``first`` and ``shares``
    per cause.
    """  # noqa: D205

    of: IntArray
    first: IntArray
    shares: FloatArray


def advise(
    posterior: FloatArray, measurements: Sequence[Measurement], *, exact_causes: int = EXACT_CAUSES
) -> Advice:
    """Return the next measurement for a posterior over hypotheses (float64[n], scaled to sum 1).

    ``exact_causes``: up to how many causes the optimum is worked out. ValueError if a forecast has another
    number of rows.
    """
    for one in measurements:
        if len(one.forecast.rows) != len(posterior):
            raise ValueError(
                f"{one.name!r} foretells {len(one.forecast.rows)} of {len(posterior)} hypotheses"
            )
    causes = _causes(posterior, measurements)
    kept, method = _kept(causes, measurements, exact_causes)
    plan = _plan(causes, measurements, kept, method)
    best = plan.step if plan.step >= 0 else None
    ranked = _ranked(causes, measurements, best)
    total = float(causes.shares.sum())
    left_out = 1 - float(causes.shares[kept].sum()) / total if total > 0 else 0.0
    return Advice(
        method=method if best is not None else "nothing tells",
        best=best,
        minutes=plan.minutes,
        ranked=ranked,
        plan=plan if best is not None else None,
        bits_left=entropy(posterior),
        causes=len(causes.shares),
        inseparable=_inseparable(causes),
        left_out=max(0.0, left_out),
        note=_note(method if best is not None else "nothing tells", len(kept), left_out),
    )


def _causes(posterior: FloatArray, measurements: Sequence[Measurement]) -> _Causes:
    of, first = alike([m.forecast.rows for m in measurements], len(posterior))
    shares = np.bincount(of, posterior, minlength=len(first)).astype(np.float64)
    return _Causes(of, first, shares)


def _kept(
    causes: _Causes, measurements: Sequence[Measurement], exact_causes: int
) -> tuple[IntArray, Literal["exact", "look-ahead"]]:
    """Return the causes to plan for, the likeliest first, and how."""
    order = np.argsort(-causes.shares, kind="stable")
    held = np.cumsum(causes.shares[order])
    wanted = (1 - LEFT_OUT) * float(held[-1]) if len(held) else 0.0
    needed = int(np.searchsorted(held, wanted - 1e-12)) + 1
    possible = int((causes.shares > 0).sum())
    if all(m.forecast.sure for m in measurements) and needed <= exact_causes:
        return order[: min(exact_causes, possible)], "exact"
    return order[: min(LOOK_AHEAD_CAUSES, possible)], "look-ahead"


def _plan(causes: _Causes, measurements: Sequence[Measurement], kept: IntArray, method: Method) -> Node:
    shares = causes.shares[kept]
    steps = [
        Step(_narrowed(m.forecast, causes.first[kept]), m.minutes, m.powered, m.risk) for m in measurements
    ]
    return Exact(shares, steps).best() if method == "exact" else LookAhead(shares, steps).best()


def _narrowed(forecast: Forecast, chosen: IntArray) -> Forecast:
    return Forecast(forecast.names, forecast.rows[chosen], forecast.shares)


def _ranked(causes: _Causes, measurements: Sequence[Measurement], best: int | None) -> tuple[Scored, ...]:
    forecasts = [_narrowed(m.forecast, causes.first) for m in measurements]
    gains = [forecast.gain(causes.shares) for forecast in forecasts]
    scored = []
    for number, (one, forecast, gain) in enumerate(zip(measurements, forecasts, gains, strict=True)):
        aside = _set_aside(number, measurements, gains)
        left = _outcomes(causes, forecast) if not aside else ()
        scored.append(Scored(number, gain, gain / one.minutes, left, aside))

    def place(entry: Scored) -> tuple[bool, bool, float, int]:
        risk = measurements[entry.measurement].risk
        return entry.measurement != best, bool(entry.set_aside), -entry.bits_per_minute, risk

    return tuple(sorted(scored, key=place))


def _set_aside(number: int, measurements: Sequence[Measurement], gains: Sequence[float]) -> str:
    gain, one = gains[number], measurements[number]
    if gain <= 1e-9:
        return "every cause that is left would show the same"
    if one.powered:
        for other, other_gain in zip(measurements, gains, strict=True):
            if not other.powered and other_gain >= gain - 1e-9:
                return f"{other.name} tells as much with the power off"
    return ""


def _outcomes(causes: _Causes, forecast: Forecast) -> tuple[Left, ...]:
    chances = forecast.chances(causes.shares)
    sizes = np.bincount(causes.of, minlength=len(causes.shares))
    found = []
    for outcome in np.flatnonzero(chances > _WORTH_MENTION).tolist():
        left = causes.shares * forecast.weights(outcome)
        some = np.flatnonzero(left)
        order = some[np.argsort(-left[some], kind="stable")]
        total = float(left[some].sum())
        held = np.cumsum(left[order]) / total
        count = min(len(order), int(np.searchsorted(held, 1 - LEFT_OUT - 1e-12)) + 1)
        alive = order[:count]
        leader, share = int(causes.first[order[0]]), float(left[order[0]]) / total
        name = forecast.names[outcome]
        found.append(Left(name, float(chances[outcome]), count, int(sizes[alive].sum()), leader, share))
    return tuple(sorted(found, key=lambda one: -one.chance))


def _inseparable(causes: _Causes) -> tuple[tuple[int, ...], ...]:
    """Return the causes of more than one hypothesis that hold belief worth planning for, likeliest first."""
    sizes = np.bincount(causes.of, minlength=len(causes.shares))
    floor = LEFT_OUT * float(causes.shares.sum())
    several = np.flatnonzero((sizes > 1) & (causes.shares >= floor) & (causes.shares > 0))
    ordered = several[np.argsort(-causes.shares[several], kind="stable")]
    return tuple(tuple(np.flatnonzero(causes.of == cause).tolist()) for cause in ordered)


def _note(method: Method, planned: int, left_out: float) -> str:
    if method == "nothing tells":
        return "no measurement offered can tell apart what is left"
    share = f"; causes with {left_out:.2%} of the belief are not planned for" if left_out > 1e-6 else ""
    if method == "exact":
        return f"the fewest expected minutes of all orders of steps, over {planned} causes{share}"
    return (
        f"the best of the first steps tried, each followed by the most information per minute, "
        f"over {planned} causes; not proved to be the optimum{share}"
    )


def split_by(members: Sequence[int], measurements: Sequence[Measurement]) -> tuple[int, ...]:
    """Return the measurements (numbers) that would show different things for some of the members."""
    chosen = np.asarray(members, np.int64)
    return tuple(
        number
        for number, one in enumerate(measurements)
        if len(chosen) > 1 and len(np.unique(one.forecast.rows[chosen])) > 1
    )
