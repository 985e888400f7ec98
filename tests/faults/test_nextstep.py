"""The next step: the optimum where it is promised, near it elsewhere, safe first, and honest about which."""

import importlib.util
import math
import random
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faults.information import Forecast, entropy, forecast_with_unsaid, probe_score, sure_forecast
from faults.nextstep import Measurement, advise, split_by
from faults.policy import allowed
from faults.separate import Trial, shortest_telling

_path = Path(__file__).parents[1] / "oracles" / "policy_naive.py"
_spec = importlib.util.spec_from_file_location("policy_naive", _path)
naive = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(naive)


def measurements(steps, powered=()):
    return [
        Measurement(f"m{n}", "", sure_forecast([str(o) for o in outcomes]), float(cost), powered=n in powered)
        for n, (cost, outcomes) in enumerate(steps)
    ]


@st.composite
def problems(draw, causes=5, steps=5):
    count = draw(st.integers(1, causes))
    weights = [Fraction(draw(st.integers(1, 20))) for _ in range(count)]
    outcome = st.integers(0, 2)
    found = [
        (Fraction(draw(st.integers(1, 9))), [draw(outcome) for _ in range(count)])
        for _ in range(draw(st.integers(0, steps)))
    ]
    return weights, found


def shares(weights):
    return np.array([float(w) for w in weights])


@given(problems())
def test_the_exact_plan_costs_what_trying_every_order_finds(problem):
    weights, steps = problem
    advice = advise(shares(weights), measurements(steps))
    assert advice.minutes == pytest.approx(float(naive.best_cost(weights, steps)), abs=1e-9)
    if advice.best is None:
        assert advice.method == "nothing tells"
        assert all(len(set(outcomes)) == 1 for _, outcomes in steps)
    else:
        assert advice.method == "exact"


def cost_of(node, weights, steps, left):
    """Walk a plan cause by cause and add up the minutes that are really spent."""
    total = 0.0
    for cause in left:
        here, spent = node, 0.0
        while here.step >= 0:
            cost, outcomes = steps[here.step]
            spent += float(cost)
            names = list(dict.fromkeys(str(o) for o in outcomes))
            here = dict(here.then)[names.index(str(outcomes[cause]))]
        total += spent * float(weights[cause])
    return total / float(sum(weights[c] for c in left))


@given(problems(), st.sampled_from([0, 12]))
def test_following_the_plan_costs_what_it_says(problem, exact_causes):
    weights, steps = problem
    advice = advise(shares(weights), measurements(steps), exact_causes=exact_causes)
    if advice.plan is not None:
        assert cost_of(advice.plan, weights, steps, range(len(weights))) == pytest.approx(advice.minutes)


def dictionary(rng):
    """A small drawn fault dictionary: 8 causes, 6 steps of a few outcomes each."""
    weights = [Fraction(rng.choice([1, 1, 2, 4, 10])) for _ in range(8)]
    return weights, [
        (Fraction(rng.choice([1, 2, 4, 8])), [rng.randrange(rng.choice([2, 2, 3])) for _ in range(8)])
        for _ in range(6)
    ]


def test_look_ahead_is_within_five_percent_of_the_optimum_and_far_from_chance():
    """On 40 drawn dictionaries, all causes weighed by their odds: mean minutes against the optimum."""
    rng = random.Random(2)
    best = ahead = chance = 0.0
    for _ in range(40):
        weights, steps = dictionary(rng)
        best += float(naive.best_cost(weights, steps))
        chance += float(naive.mean_cost_of_random_order(weights, steps))
        advice = advise(shares(weights), measurements(steps), exact_causes=0)
        assert advice.method == "look-ahead"
        ahead += advice.minutes
    assert best <= ahead <= 1.05 * best
    assert chance > 1.3 * ahead


@given(st.integers(1, 6), st.integers(1, 4), st.integers(1, 4), st.data())
def test_gain_is_the_mutual_information_written_out(hypotheses, ways, outcomes, data):
    posterior = np.array([data.draw(st.floats(0.01, 1)) for _ in range(hypotheses)])
    table = np.array([[data.draw(st.floats(0.01, 1)) for _ in range(outcomes)] for _ in range(ways)])
    table /= table.sum(axis=1, keepdims=True)
    rows = np.array([data.draw(st.integers(0, ways - 1)) for _ in range(hypotheses)])
    forecast = Forecast(tuple(map(str, range(outcomes))), rows, table)
    p = posterior / posterior.sum()
    total = 0.0
    for h in range(hypotheses):
        for o in range(outcomes):
            joint = p[h] * table[rows[h], o]
            whole = sum(p[g] * table[rows[g], o] for g in range(hypotheses))
            total += joint * math.log2(joint / (p[h] * whole))
    assert forecast.gain(posterior) == pytest.approx(total, abs=1e-9)
    left = sum(
        float(forecast.chances(posterior)[o]) * entropy(posterior * forecast.weights(o))
        for o in range(outcomes)
    )
    assert forecast.expected_entropy(posterior) == pytest.approx(left, abs=1e-9)


@given(problems(), st.sets(st.integers(0, 4)), st.sampled_from([0, 12]))
def test_never_a_powered_step_where_an_unpowered_one_tells_as_much(problem, powered, exact_causes):
    weights, steps = problem
    offered = measurements(steps, powered)
    posterior = shares(weights)
    advice = advise(posterior, offered, exact_causes=exact_causes)
    waiting = [(advice.plan, posterior)] if advice.plan else []
    while waiting:
        node, left = waiting.pop()
        if node.step < 0:
            continue
        chosen = offered[node.step]
        if chosen.powered:
            gain = chosen.forecast.gain(left)
            assert all(m.forecast.gain(left) < gain for m in offered if not m.powered)
        waiting += [(then, left * chosen.forecast.weights(o)) for o, then in node.then]


def test_unpowered_first_even_if_it_takes_longer():
    rows = ["a", "b"]
    offered = [
        Measurement("probe", "", sure_forecast(rows), 1, powered=True, risk=3),
        Measurement("ring out", "", sure_forecast(rows), 6),
    ]
    advice = advise(np.array([1.0, 1.0]), offered)
    assert advice.best == 1
    assert advice.ranked[1].set_aside == "ring out tells as much with the power off"


def test_less_risk_breaks_a_tie():
    offered = [Measurement(str(r), "", sure_forecast(["a", "b"]), 5, powered=True, risk=r) for r in (3, 1, 2)]
    assert advise(np.ones(2), offered).best == 1
    assert advise(np.ones(2), offered, exact_causes=0).best == 1


def test_what_each_outcome_would_leave():
    forecast = sure_forecast(["BAD 0o17", "BAD 0o17", "BAD 0o17", "silent", "passes"])
    advice = advise(np.array([0.2, 0.3, 0.1, 0.35, 0.05]), [Measurement("run", "", forecast, 4)])
    first, second, third = advice.ranked[0].outcomes
    assert (first.outcome, first.causes, first.hypotheses, first.leader) == ("BAD 0o17", 1, 3, 0)
    assert first.chance == pytest.approx(0.6)
    assert [second.outcome, third.outcome] == ["silent", "passes"]
    assert advice.inseparable == ((0, 1, 2),)
    assert advice.causes == 3
    assert sum(o.chance for o in advice.ranked[0].outcomes) == pytest.approx(1)


def test_causes_left_are_counted_by_what_another_step_could_tell():
    coarse = sure_forecast(["x", "x", "y", "y"])
    fine = sure_forecast(["1", "2", "3", "4"])
    advice = advise(np.ones(4), [Measurement("coarse", "", coarse, 1), Measurement("fine", "", fine, 100)])
    table = {advice_row.measurement: advice_row for advice_row in advice.ranked}
    assert [o.causes for o in table[0].outcomes] == [2, 2]
    assert [o.causes for o in table[1].outcomes] == [1, 1, 1, 1]


def test_when_nothing_tells():
    advice = advise(np.ones(3), [Measurement("run", "", sure_forecast(["a"] * 3), 1)])
    assert (advice.method, advice.best, advice.plan, advice.minutes) == ("nothing tells", None, None, 0.0)
    assert advice.ranked[0].set_aside
    assert advice.inseparable == ((0, 1, 2),)
    assert advise(np.ones(2), []).method == "nothing tells"
    assert advise(np.ones(0), []).best is None


def test_chancy_outcomes_are_planned_by_look_ahead_and_end():
    """A test that shows the fault half the time: run it, and if it passes measure."""
    flaky = Forecast(("fails", "passes"), np.array([0, 1]), np.array([[0.5, 0.5], [0.0, 1.0]]))
    sure = sure_forecast(["bad", "good"])
    advice = advise(
        np.array([0.5, 0.5]), [Measurement("run", "", flaky, 1), Measurement("ring", "", sure, 10)]
    )
    assert advice.method == "look-ahead"
    assert advice.best == 0
    assert advice.minutes == pytest.approx(1 + 0.75 * 10)
    assert "not proved" in advice.note


def test_many_causes_are_planned_by_look_ahead_and_what_is_left_out_is_said():
    rng = np.random.default_rng(3)
    posterior = rng.random(2000) ** 20
    posterior /= posterior.sum()
    offered = [
        Measurement(f"m{k}", "", sure_forecast([str(x) for x in rng.integers(0, 4, 2000)]), float(k + 1))
        for k in range(12)
    ]
    advice = advise(posterior, offered)
    assert advice.method == "look-ahead"
    assert 0 < advice.left_out < 1
    assert "not planned for" in advice.note
    assert advice.ranked[0].measurement == advice.best
    rates = [r.bits_per_minute for r in advice.ranked[1:]]
    assert rates == sorted(rates, reverse=True)


def test_exact_plans_leave_out_a_thousandth_at_most():
    weights = np.array([*[1.0] * 12, 0.001])
    forecasts = [sure_forecast([str(n >> k & 1) for n in range(13)]) for k in range(4)]
    advice = advise(weights, [Measurement(str(k), "", f, 1) for k, f in enumerate(forecasts)])
    assert advice.method == "exact"
    assert 0 < advice.left_out < 0.001
    assert (
        advise(np.ones(13), [Measurement(str(k), "", f, 1) for k, f in enumerate(forecasts)]).method
        == "look-ahead"
    )


@settings(max_examples=30)
@given(problems(), st.randoms())
def test_order_of_hypotheses_does_not_matter(problem, mix):
    weights, steps = problem
    order = list(range(len(weights)))
    mix.shuffle(order)
    moved = [(cost, [outcomes[n] for n in order]) for cost, outcomes in steps]
    first = advise(shares(weights), measurements(steps))
    second = advise(shares([weights[n] for n in order]), measurements(moved))
    assert first.minutes == pytest.approx(second.minutes)


def test_what_would_split_a_group():
    offered = measurements([(1, [0, 0, 1]), (1, [0, 1, 1]), (1, [0, 0, 0])])
    assert split_by((0, 1), offered) == (1,)
    assert split_by((0, 2), offered) == (0, 1)
    assert split_by((0,), offered) == ()


def test_allowed():
    class Powered:
        powered = True

    class Off:
        powered = False

    assert allowed([1.0, 1.0, 0.0], [Powered, Off, Off]) == [1]
    assert allowed([1.0, 0.9, 0.0], [Powered, Off, Off]) == [0, 1]


def test_entropy():
    assert entropy([1, 1, 1, 1]) == pytest.approx(2)
    assert entropy([5]) == entropy([0, 0]) == entropy([]) == 0
    assert probe_score([0.5, 0.5], 0.0, 16) == pytest.approx(-math.log(2))


def test_what_is_not_foretold_may_show_anything():
    forecast = forecast_with_unsaid(["4", "6", None], others=2)
    assert forecast.names == ("4", "6", "another (1)", "another (2)")
    assert forecast.chances(np.ones(3)) == pytest.approx([5 / 12, 5 / 12, 1 / 12, 1 / 12])
    assert not forecast.sure
    with pytest.raises(ValueError, match="chance"):
        forecast.outcome_of()


@pytest.mark.parametrize(
    "bad",
    [
        lambda: Forecast(("a",), np.array([1])),
        lambda: Forecast(("a",), np.array([-1])),
        lambda: Forecast(("a", "b"), np.array([0]), np.array([[0.5, 0.4]])),
        lambda: Forecast(("a", "b"), np.array([0]), np.array([[1.5, -0.5]])),
        lambda: Measurement("m", "", sure_forecast(["a"]), 0),
        lambda: advise(np.ones(2), [Measurement("m", "", sure_forecast(["a"]), 1)]),
    ],
)
def test_what_makes_no_sense_is_refused(bad):
    with pytest.raises(ValueError):
        bad()


# ---- telling two candidates apart


def test_the_shortest_program_that_tells_two_apart():
    trials = [
        Trial("long", 20, "x", "y"),
        Trial("same", 3, "x", "x"),
        Trial("slow", 7, "x", "z", 9.0),
        Trial("quick", 7, "x", "z", 2.0),
    ]
    found = shortest_telling(trials)
    assert found.best == trials[3]
    assert "quick (7 words) is the shortest of 4 tried" in found.sentence
    assert shortest_telling(trials[1:2]).sentence == (
        "the only one tried, of up to 3 words, does not tell them apart"
    )
    more = [Trial("same", 1, "x", "x")] * 3172
    assert shortest_telling(more).sentence == "none of the 3,172 tried, of up to 1 word, tells them apart"
    assert shortest_telling(trials[:1]).sentence == "long (20 words) tells them apart; it was the first tried"
    assert shortest_telling([]).sentence == "nothing was tried"
