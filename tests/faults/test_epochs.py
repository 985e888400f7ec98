"""What a mend does to belief, step by step."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from faults.epochs import UNKNOWN_MENDED, Belief, Mend, after_mend
from faults.hypotheses import KINDS

SINGLE, PAIR, HEALTHY = (KINDS.index(k) for k in ("single", "pair", "healthy"))


def test_of_a_pair_the_other_fault_is_left():
    kinds = np.array([SINGLE, SINGLE, PAIR, HEALTHY])
    belief = Belief(np.array([0.0, 0.0, 1.0, 0.0]), 0.0)
    mend = Mend("a", np.array([0.8, 0.0, 0.8, 0.0]), np.array([-1, -1, 1, -1]))
    after = after_mend(belief, mend, belief, kinds)
    assert after.known == pytest.approx([0, 0.8, 0.2, 0])


def test_what_was_removed_leaves_health_or_another_fault():
    kinds = np.array([SINGLE, SINGLE, HEALTHY])
    prior = Belief(np.array([0.6, 0.2, 0.0]), 0.2)
    mend = Mend("a", np.array([1.0, 0.0, 0.0]), np.array([-1, -1, -1]), another=0.1)
    after = after_mend(Belief(np.array([1.0, 0.0, 0.0]), 0.0), mend, prior, kinds)
    assert after.known == pytest.approx([0.06, 0.02, 0.9])
    assert after.nothing == pytest.approx(0.02)


def test_a_cause_outside_the_model_may_be_mended_too():
    kinds = np.array([HEALTHY])
    after = after_mend(
        Belief(np.array([0.0]), 1.0),
        Mend("a", np.zeros(1), np.array([-1]), another=0.0),
        Belief(np.ones(1), 0.0),
        kinds,
    )
    assert (after.known[0], after.nothing) == (
        pytest.approx(UNKNOWN_MENDED),
        pytest.approx(1 - UNKNOWN_MENDED),
    )


@given(
    st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1), st.integers(-1, 5)), min_size=5, max_size=5),
    st.floats(0, 1),
    st.floats(0, 1),
)
def test_no_belief_is_lost(rows, nothing, another):
    kinds = np.array([SINGLE, SINGLE, SINGLE, PAIR, PAIR, HEALTHY])
    shares = np.array([r[0] for r in rows] + [0.5])
    total = shares.sum() + nothing
    belief = Belief(shares / total, nothing / total)
    mend = Mend("m", np.array([r[1] for r in rows] + [0.0]), np.array([r[2] for r in rows] + [-1]), another)
    after = after_mend(belief, mend, belief, kinds)
    assert after.known.sum() + after.nothing == pytest.approx(1)
    assert (after.known >= -1e-12).all()
