"""The formulas behind the columns: each is a probability over one space of outcomes."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from faults.likelihood import Column, broad_chance, foretold, repeated, slip_chance, smoothed, uniform_chance


@given(st.integers(1, 30), st.integers(0, 30), st.integers(0, 30))
def test_repeated_is_the_beta_binomial_law(runs, hits, misses):
    """Against scipy.stats.betabinom."""
    got = [float(repeated(k, runs, hits, hits + misses)[0]) for k in range(runs + 1)]
    if hits + misses == 0:
        assert all(math.isnan(g) for g in got)
        return
    assert got == pytest.approx(stats.betabinom.pmf(range(runs + 1), runs, hits + 1, misses + 1), abs=1e-10)
    assert sum(got) == pytest.approx(1, abs=1e-9)
    assert got[-1] == pytest.approx(float(smoothed(hits, hits + misses)), abs=1e-9) or runs > 1


def test_laplace():
    """The rule of succession, Laplace 1814: (k + 1) / (n + 2)."""
    assert smoothed([0, 5, 0], [10, 5, 0])[:2] == pytest.approx([1 / 12, 6 / 7])
    assert math.isnan(smoothed([0], [0])[0])
    assert repeated(2, 2, [1, 0], [1, 0])[0] == pytest.approx(0.5)


@given(st.lists(st.lists(st.integers(0, 5), min_size=3, max_size=3), min_size=1, max_size=6), st.data())
def test_the_broad_chances_of_all_outcomes_sum_to_one(counts, data):
    table = np.array(counts, float) + 0.25
    table /= table.sum(axis=1, keepdims=True)
    weights = np.array([data.draw(st.floats(0.1, 10)) for _ in counts])
    broad = [broad_chance(table[:, k], weights, uniform_chance(3)) for k in range(3)]
    assert sum(broad) == pytest.approx(1)
    assert min(broad) >= 0.5 / 3


def test_broad_chance_listens_only_to_those_that_speak():
    chance = foretold([True, None, False, True])
    assert broad_chance(chance, np.array([1.0, 50.0, 1.0, 2.0]), 0.1) == pytest.approx(0.5 * 0.75 + 0.05)
    assert broad_chance(foretold([None]), np.ones(1), 0.1) == 0.1


def test_slips_of_all_readings_sum_to_one():
    """Three octal digits: everything that could be written down for one word, by how many digits differ."""
    truth = 0o123
    differing = [sum((truth >> s ^ word >> s) & 7 != 0 for s in (0, 3, 6)) for word in range(512)]
    chances = slip_chance(differing, 3, 8, uniform_chance(512))
    assert chances.sum() == pytest.approx(1)
    assert chances[truth ^ 1] > 20 * chances[truth ^ 0o11]
    assert slip_chance([-1], 3, 8, 0.002)[0] == 0.002


def test_verdicts_have_three_values():
    column = Column("x", np.array([1.0, 0.2, 0.19, 0.021, 0.019, 0.0, math.nan]), 0.2, 0.1)
    assert column.verdicts().tolist() == [1, 1, 0, 0, -1, -1, 0]


def test_a_misreading_that_depends_on_what_there_was_to_read():
    column = Column("x", foretold([True, False, False]), 0.2, np.array([0.1, 0.5, 0.001]), certainty=0.9)
    assert column.likelihood() == pytest.approx([0.91, 0.05, 0.0001])
    assert column.was_misread() == pytest.approx([0.01 / 0.91, 1, 1])
    assert column.unknown_cause == pytest.approx(0.2)


@pytest.mark.parametrize(
    "bad",
    [
        lambda: smoothed([2], [1]),
        lambda: repeated(3, 2, 0, 1),
        lambda: repeated(0, 1, 2, 1),
        lambda: uniform_chance(4, 5),
        lambda: uniform_chance(4, 0),
    ],
)
def test_what_makes_no_sense_is_refused(bad):
    with pytest.raises(ValueError):
        bad()
