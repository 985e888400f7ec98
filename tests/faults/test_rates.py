"""Rates against published tables and against scipy (an independent library).

Sources: Newcombe, Statist. Med. 17, 1998, 857-872, Table I; the R manual of ``binom.test``; Garwood 1936
(chi-square form); the success-run theorem for clean runs needed.
"""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from faults import rates

NEWCOMBE = [
    (81, 263, (0.2527, 0.3676), (0.2553, 0.3662), (0.2535, 0.3682)),
    (15, 148, (0.0578, 0.1617), (0.0624, 0.1605), (0.0598, 0.1644)),
    (0, 20, (0, 0.1684), (0, 0.1611), (0, 0.2005)),
    (1, 29, (0.0009, 0.1776), (0.0061, 0.1718), (0.0018, 0.1963)),
]
counts = st.integers(1, 2000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
levels = st.sampled_from([0.5, 0.8, 0.9, 0.95, 0.99, 0.999])


def ends(interval):
    return (interval.low, interval.high)


@pytest.mark.parametrize(("k", "n", "exact", "score", "corrected"), NEWCOMBE)
def test_newcombe_table_1(k, n, exact, score, corrected):
    assert ends(rates.clopper_pearson(k, n)) == pytest.approx(exact, abs=5.1e-5)
    assert ends(rates.wilson(k, n)) == pytest.approx(score, abs=5.1e-5)
    assert ends(rates.wilson(k, n, continuity=True)) == pytest.approx(corrected, abs=5.1e-5)


def test_r_manual_binom_test():
    assert ends(rates.clopper_pearson(682, 925)) == pytest.approx((0.7076683, 0.7654066), abs=5e-8)
    assert ends(rates.wilson(682, 925)) == pytest.approx((0.707996, 0.764636), abs=5e-7)
    assert ends(rates.wilson(682, 925, continuity=True)) == pytest.approx((0.707439, 0.765155), abs=5e-7)
    assert rates.binomial_p_value(682, 925, 0.75) == pytest.approx(0.382492, abs=1e-6)


@pytest.mark.parametrize(
    ("k", "n", "exact", "score"),
    [
        (0, 10, (0, 0.308497), (0, 0.277533)),
        (10, 10, (0.691503, 1), (0.722467, 1)),
        (5, 10, (0.187086, 0.812914), (0.236593, 0.763407)),
        (3, 8, (0.085233, 0.755137), (0.136844, 0.694258)),
    ],
)
def test_small_counts(k, n, exact, score):
    assert ends(rates.clopper_pearson(k, n)) == pytest.approx(exact, abs=5.1e-7)
    assert ends(rates.wilson(k, n)) == pytest.approx(score, abs=5.1e-7)


@pytest.mark.parametrize(
    ("n", "bound"), [(10, 0.258866), (20, 0.139108), (30, 0.095034), (100, 0.029513), (300, 0.009936)]
)
def test_upper_bound_without_failure(n, bound):
    assert rates.rate_upper(0, n) == pytest.approx(bound, abs=5.1e-7)
    assert rates.rate_upper(0, n) < rates.rule_of_three(n) == pytest.approx(3 / n)


@pytest.mark.parametrize(
    ("confidence", "reliability", "runs"),
    [(90, 90, 22), (95, 90, 29), (95, 95, 59), (90, 95, 45), (90, 99, 230), (95, 99, 299), (99, 99, 459)],
)
def test_clean_runs_needed(confidence, reliability, runs):
    assert rates.clean_runs_needed(confidence / 100, reliability / 100) == runs


def test_waiting_for_a_poisson_source():
    for silent, chance in [(1, 0.367879), (2, 0.135335), (3, 0.049787)]:
        assert rates.nothing_seen(0.5, 2 * silent) == pytest.approx(chance, abs=5.1e-7)
    for confidence, watch in [(0.95, 2.995732), (0.99, 4.605170), (0.5, 0.693147)]:
        assert rates.watch_time(4, confidence) * 4 == pytest.approx(watch, abs=5.1e-7)
    assert rates.at_least_events(3, 3) == pytest.approx(0.576810, abs=5.1e-7)


@pytest.mark.parametrize(
    ("k", "low", "high"),
    [
        (0, 0, 3.6889),
        (1, 0.0253, 5.5716),
        (2, 0.2422, 7.2247),
        (3, 0.6187, 8.7673),
        (5, 1.6235, 11.6683),
        (10, 4.7954, 18.3904),
    ],
)
def test_garwood_intervals(k, low, high):
    assert ends(rates.poisson_interval(k)) == pytest.approx((low, high), abs=5.1e-5)


@pytest.mark.parametrize(
    ("k", "upper"), [(0, 2.9957), (1, 4.7439), (2, 6.2958), (3, 7.7537), (5, 10.5130), (10, 16.9622)]
)
def test_poisson_one_sided_upper(k, upper):
    assert rates.poisson_upper(k) == pytest.approx(upper, abs=5.1e-5)


def test_a_fault_by_chance_per_access():
    assert rates.seen_within(0.001, 1000) == pytest.approx(0.632305, abs=5.1e-7)
    assert rates.accesses_needed(0.001) == 2995


@settings(max_examples=60, deadline=None)
@given(counts, levels)
def test_binomial_intervals_equal_scipy(count, level):
    k, n = count
    test = stats.binomtest(k, n)
    for method, own in [
        ("exact", rates.clopper_pearson(k, n, level)),
        ("wilson", rates.wilson(k, n, level)),
        ("wilsoncc", rates.wilson(k, n, level, continuity=True)),
    ]:
        theirs = test.proportion_ci(level, method=method)
        assert ends(own) == pytest.approx((theirs.low, theirs.high), abs=1e-9)
    upper = stats.binomtest(k, n, alternative="less").proportion_ci(level).high
    assert rates.rate_upper(k, n, level) == pytest.approx(upper, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 500), levels)
def test_poisson_interval_equals_the_chi_square_form(k, level):
    tail = (1 - level) / 2
    low = 0 if k == 0 else stats.chi2.ppf(tail, 2 * k) / 2
    own = rates.poisson_interval(k, level)
    assert ends(own) == pytest.approx((low, stats.chi2.ppf(1 - tail, 2 * k + 2) / 2), rel=1e-9, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 300), st.floats(0, 400))
def test_poisson_tail_equals_scipy(k, mean):
    assert rates.at_least_events(k, mean) == pytest.approx(stats.poisson.sf(k - 1, mean), abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 200).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))), st.floats(0, 1))
def test_p_value_equals_scipy(count, rate):
    theirs = stats.binomtest(*count, rate).pvalue if rate > 1e-12 else float(count[0] == 0)
    assert rates.binomial_p_value(*count, rate) == pytest.approx(theirs, abs=1e-6)


@given(st.floats(1e-6, 1), st.floats(0.01, 0.9999))
def test_the_needed_accesses_are_the_least(chance, confidence):
    needed = rates.accesses_needed(chance, confidence)
    assert rates.seen_within(chance, needed) >= confidence * (1 - 1e-9)
    assert needed == 1 or rates.seen_within(chance, needed - 1) < confidence


def test_sentences_for_a_volunteer():
    assert (
        rates.rate_sentence(0, 20) == "0 failures in 20 runs: the rate may still be as high as 14 % (95 %)."
    )
    assert rates.rate_sentence(3, 8) == "3 failures in 8 runs: the rate lies between 8.5 % and 76 % (95 %)."
    assert rates.rate_sentence(1, 1).startswith("1 failure in 1 run: ")
    assert (
        rates.events_sentence(0, 60, "min")
        == "0 events in 60 min: there may still be up to 0.0499 per min (95 %)."
    )
    assert rates.events_sentence(10, 2, "h") == "10 events in 2 h: between 2.4 and 9.2 per h (95 %)."
    assert "Make 49 more (59 in all)" in rates.clean_sentence(10, 0.05)
    assert "99.4 %" in rates.clean_sentence(100, 0.05)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0 %"),
        (1, "100 %"),
        (0.999, "99.9 %"),
        (0.99999, "99.999 %"),
        (0.5, "50 %"),
        (0.0123, "1.2 %"),
        (1e-7, "1.0e-05 %"),
    ],
)
def test_percent(value, text):
    assert rates.percent(value) == text


@pytest.mark.parametrize(
    "call",
    [
        lambda: rates.clopper_pearson(3, 2),
        lambda: rates.clopper_pearson(-1, 2),
        lambda: rates.wilson(0, 0),
        lambda: rates.wilson(1, 2, 1.0),
        lambda: rates.poisson_interval(-1),
        lambda: rates.watch_time(0),
        lambda: rates.watch_time(math.nan),
        lambda: rates.accesses_needed(0),
        lambda: rates.seen_within(1.5, 2),
        lambda: rates.nothing_seen(-1, 1),
        lambda: rates.at_least_events(1, -1),
        lambda: rates.binomial_p_value(1, 2, 2),
        lambda: rates.events_sentence(1, 0, "h"),
    ],
)
def test_senseless_input_is_refused(call):
    with pytest.raises(ValueError, match=r"not|lie|least|above|below|must"):
        call()
