"""Ranking: against Bayes' rule done by counting, by its laws, and in small cases a person can check."""

import importlib.util
import math
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from faults.epochs import Mend
from faults.hypotheses import HEALTHY_TEXT, Hypothesis, healthy, kinds_of, pair, spread
from faults.likelihood import Column, foretold
from faults.match import rank

_path = Path(__file__).parents[1] / "oracles" / "bayes_naive.py"
_spec = importlib.util.spec_from_file_location("bayes_naive", _path)
naive = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(naive)

tenths = st.integers(0, 10).map(lambda n: Fraction(n, 10))
some_tenths = st.integers(1, 10).map(lambda n: Fraction(n, 10))


@st.composite
def observations(draw, causes):
    return {
        "chance": {c: draw(st.one_of(st.none(), tenths)) for c in causes},
        "broad": draw(some_tenths),
        "misread": draw(some_tenths),
        "certainty": draw(st.integers(0, 9).map(lambda n: Fraction(n, 10))),
    }


@st.composite
def problems(draw, most=5):
    causes = [f"f{n}" for n in range(draw(st.integers(1, most)))] + [HEALTHY_TEXT]
    weights = [draw(some_tenths) for _ in causes]
    nothing = draw(st.integers(1, 9).map(lambda n: Fraction(n, 10)))
    seen = draw(st.lists(observations(causes), max_size=4))
    return causes, weights, nothing, seen


def hypotheses(causes, weights):
    return [
        healthy(float(w)) if c == HEALTHY_TEXT else Hypothesis(c, float(w))
        for c, w in zip(causes, weights, strict=True)
    ]


def column(seen, causes, number=0, epoch=0):
    chances = [seen["chance"][c] for c in causes]
    return Column(
        f"seen {number}",
        np.array([math.nan if c is None else float(c) for c in chances]),
        float(seen["broad"]),
        float(seen["misread"]),
        float(seen["certainty"]),
        epoch,
        number,
    )


def prior_of(causes, weights, nothing):
    total = sum(weights)
    return {c: w / total * (1 - nothing) for c, w in zip(causes, weights, strict=True)} | {
        naive.OUTSIDE: nothing
    }


@given(problems())
def test_the_posterior_is_that_of_counting(problem):
    causes, weights, nothing, seen = problem
    expected, misread = naive.posterior(prior_of(causes, weights, nothing), seen)
    ranking = rank(
        hypotheses(causes, weights),
        [column(s, causes, k) for k, s in enumerate(seen)],
        nothing=float(nothing),
    )
    assert ranking.posterior == pytest.approx([float(expected[c]) for c in causes], abs=1e-12)
    assert ranking.nothing == pytest.approx(float(expected[naive.OUTSIDE]), abs=1e-12)
    assert [ranking.misread(k) for k in range(len(seen))] == pytest.approx(
        [float(m) for m in misread], abs=1e-12
    )


@given(problems(), st.data())
def test_a_mend_is_that_of_listing_what_may_have_happened(problem, data):
    causes, weights, nothing, before = problem
    after = data.draw(st.lists(observations(causes), max_size=3))
    works = {c: data.draw(tenths) for c in causes}
    prior = prior_of(causes, weights, nothing)
    known_works = works | {HEALTHY_TEXT: Fraction(1), naive.OUTSIDE: Fraction(1, 2)}
    expected = naive.posterior_with_mend(prior, before, after, known_works, Fraction(1, 20))
    columns = [column(s, causes, k, 0) for k, s in enumerate(before)] + [
        column(s, causes, k, 1) for k, s in enumerate(after)
    ]
    mend = Mend("mended", np.array([float(works[c]) for c in causes]), np.full(len(causes), -1))
    ranking = rank(hypotheses(causes, weights), columns, mends=[mend], nothing=float(nothing))
    assert ranking.posterior == pytest.approx([float(expected[c]) for c in causes], abs=1e-12)
    assert ranking.nothing == pytest.approx(float(expected[naive.OUTSIDE]), abs=1e-12)
    # What was wrong before the mend is answered from what was seen before it alone.
    alone, _ = naive.posterior(prior, before)
    assert ranking.before[0].posterior == pytest.approx([float(alone[c]) for c in causes], abs=1e-12)


@given(problems(), st.randoms())
def test_order_of_hypotheses_and_observations_does_not_matter(problem, random):
    causes, weights, nothing, seen = problem
    first = rank(hypotheses(causes, weights), [column(s, causes) for s in seen], nothing=float(nothing))
    order, seen = list(range(len(causes))), list(seen)
    random.shuffle(order)
    random.shuffle(seen)
    moved = [causes[n] for n in order]
    second = rank(
        hypotheses(moved, [weights[n] for n in order]),
        [column(s, moved) for s in seen],
        nothing=float(nothing),
    )
    assert second.posterior == pytest.approx(first.posterior[order], abs=1e-12)
    named = [
        {frozenset(r.hypotheses[m].fault for m in g.members) for g in r.groups()} for r in (first, second)
    ]
    assert named[0] == named[1]


@given(problems())
def test_shares_sum_to_one_and_groups_cover_everything_once(problem):
    causes, weights, nothing, seen = problem
    ranking = rank(hypotheses(causes, weights), [column(s, causes) for s in seen], nothing=float(nothing))
    assert ranking.posterior.sum() + ranking.nothing == pytest.approx(1, abs=1e-12)
    groups = list(ranking.groups())
    assert sorted(m for g in groups for m in g.members) == list(range(len(causes)))
    assert sum(g.posterior for g in groups) + ranking.nothing == pytest.approx(1, abs=1e-12)
    assert [g.posterior for g in groups] == sorted((g.posterior for g in groups), reverse=True)
    for group in groups:
        said = {
            (ranking.hypotheses[m].kind, *(str(seen_by.chance[m]) for seen_by in ranking.columns))
            for m in group.members
        }
        assert len(said) == 1
        for member in group.members:
            assert ranking.rank_of(ranking.hypotheses[member].fault) == group.rank
    assert ranking.rank_of("no such fault") is None


@given(problems(), some_tenths, some_tenths, tenths)
def test_what_says_nothing_of_anybody_changes_nothing(problem, broad, misread, certainty):
    causes, weights, nothing, seen = problem
    columns = [column(s, causes) for s in seen]
    silent = Column(
        "silent", foretold([None] * len(causes)), float(broad), float(misread), min(float(certainty), 0.9)
    )
    plain = rank(hypotheses(causes, weights), columns, nothing=float(nothing))
    more = rank(hypotheses(causes, weights), [*columns, silent], nothing=float(nothing))
    assert more.posterior == pytest.approx(plain.posterior, abs=1e-12)
    assert more.nothing == pytest.approx(plain.nothing, abs=1e-12)
    assert all(v.word == "silent" for i in range(len(causes)) for v in more.agreement(i)[-1:])


@given(problems(), observations([*(f"f{n}" for n in range(5)), HEALTHY_TEXT]))
def test_what_was_certainly_misread_changes_nothing(problem, seen):
    causes, weights, nothing, before = problem
    columns = [column(s, causes) for s in before]
    worthless = column(seen | {"certainty": Fraction(0)}, causes)
    plain = rank(hypotheses(causes, weights), columns, nothing=float(nothing))
    more = rank(hypotheses(causes, weights), [*columns, worthless], nothing=float(nothing))
    assert more.posterior == pytest.approx(plain.posterior, abs=1e-12)


@given(problems(), st.integers(0, 10), some_tenths, some_tenths)
def test_contradiction_never_raises_against_agreement(problem, certainty, broad, misread):
    causes, weights, nothing, seen = problem
    columns = [column(s, causes) for s in seen]
    chance = foretold([n % 2 == 0 for n in range(len(causes))])
    more = Column("told apart", chance, float(broad), float(misread), certainty / 10)
    before = rank(hypotheses(causes, weights), columns, nothing=float(nothing)).posterior
    after = rank(hypotheses(causes, weights), [*columns, more], nothing=float(nothing)).posterior
    for agreeing in range(0, len(causes), 2):
        for contradicted in range(1, len(causes), 2):
            assert after[contradicted] * before[agreeing] <= after[agreeing] * before[contradicted] + 1e-12


def test_half_certain_of_two_outcomes_says_nothing():
    """A reading that is right half the time, of two outcomes, and else the other one, is no evidence."""
    faults = [Hypothesis("a"), Hypothesis("b")]
    toss = Column("pass or fail", np.array([1.0, 0.0]), 0.5, misread=np.array([1e-300, 1.0]), certainty=0.5)
    assert rank(faults, [toss]).posterior[0] == pytest.approx(rank(faults, []).posterior[0], abs=1e-12)


# ---- what the answer amounts to


def three(*columns, nothing=0.02):
    faults = [Hypothesis("a", 2), Hypothesis("b", 1), Hypothesis("c", 1)]
    return rank(spread(faults, healthy_share=0.01), columns, nothing=nothing)


def seen(label, chances, broad=0.1, **more):
    return Column(label, foretold(chances), broad, 0.01, **more)


def test_a_fault_that_fits():
    ranking = three(
        seen("stop", [True, True, False, False]), seen("pass", [False, True, True, True], 0.5, passed=True)
    )
    best = ranking.group(1)
    assert [ranking.hypotheses[m].fault for m in best.members] == ["b"]
    assert (ranking.outcome, ranking.negative, best.contradicted) == ("fits", False, 0)
    assert [v.word for v in ranking.agreement(0)] == ["agrees", "contradicts"]
    assert ranking.single_fits


def test_look_alikes_are_one_group_listed_whole():
    ranking = three(seen("stop", [True, True, False, False]))
    assert ranking.group(1).members == (0, 1)
    assert ranking.group(1).posterior == pytest.approx(ranking.posterior[0] + ranking.posterior[1])
    assert ranking.posterior[0] == pytest.approx(2 * ranking.posterior[1])


def test_one_misread_observation_is_named():
    columns = [seen(f"stop {k}", [True, False, False, False]) for k in range(3)]
    columns.append(seen("lamp", [False, False, True, False]))
    ranking = three(*columns)
    assert ranking.outcome == "misread"
    assert ranking.negative
    assert not ranking.single_fits
    assert [k for k, _ in ranking.doubted] == [3]
    assert ranking.agreement(0)[3].misread == 1.0
    assert ranking.agreement(0)[0].misread < 0.001


def test_nothing_in_the_model_explains_it():
    """Three contradictions each: a cause outside the model is likelier, and no fault is named for sure."""
    ranking = three(*(seen(f"odd {k}", [k % 3 == n for n in range(3)] + [False]) for k in range(6)))
    assert ranking.outcome == "nothing"
    assert ranking.negative
    assert ranking.nothing > 0.9


def test_nothing_is_all_that_is_left_when_no_hypothesis_can_be():
    impossible = seen("impossible", [False] * 4, certainty=1.0)
    ranking = three(impossible)
    assert (ranking.nothing, ranking.outcome) == (1.0, "nothing")
    assert rank([], [], nothing=0.5).outcome == "nothing"
    # Even where that was given no prior: something must have caused it.
    assert three(impossible, nothing=0.0).nothing == 1.0


def test_healthy():
    ranking = three(*(seen(f"pass {k}", [False, False, False, True], 0.8, passed=True) for k in range(4)))
    assert (ranking.outcome, ranking.negative) == ("healthy", False)


def test_a_mend_that_worked_leaves_the_second_fault():
    faults = [Hypothesis("a"), Hypothesis("b"), Hypothesis("c")]
    both = pair(faults[0], faults[1], total=3, second=0.05)
    every = [*spread(faults, healthy_share=0.01), both]
    columns = [
        Column("A fails", foretold([True, False, False, False, True]), 0.1, 0.01),
        Column("B fails", foretold([False, True, False, False, True]), 0.1, 0.01),
        Column("A passes", foretold([False, True, True, True, False]), 0.5, 0.1, epoch=1, passed=True),
        Column("B fails", foretold([False, True, False, False, True]), 0.1, 0.01, epoch=1),
    ]
    mend = Mend("a mended", np.array([0.9, 0, 0, 0, 0.9]), np.array([-1, -1, -1, -1, 1]))
    ranking = rank(every, columns, mends=[mend])
    assert ranking.hypotheses[ranking.group(1).members[0]].fault == "b"
    assert ranking.outcome == "fits"
    assert ranking.group(1).posterior > 0.9
    before = ranking.before[0]
    assert before.hypotheses[before.group(1).members[0]].fault == "a & b"
    assert ranking.agreement(1)[0].reason.startswith("seen before a later mend")
    # what was seen before the mend contradicts nothing that is left, and was not misread
    assert [v.word for v in ranking.agreement(1)] == ["silent", "agrees", "agrees", "agrees"]
    assert [v.word for v in ranking.agreement(3)][:2] == ["silent", "silent"]  # healthy, as it is now
    assert "what was there then" in ranking.agreement(3)[0].reason
    assert all(v.misread == 0.0 for v in ranking.agreement(0)[:2])


def test_many_alike_in_many_columns_are_grouped_exactly():
    rng = np.random.default_rng(1)
    table = rng.integers(0, 3, (500, 6)) / 2
    table[rng.random((500, 6)) < 0.2] = math.nan
    ranking = rank(
        [Hypothesis(str(n)) for n in range(500)], [Column(str(k), table[:, k], 0.5, 0.5) for k in range(6)]
    )
    by_hand = {}
    for n, row in enumerate(table):
        by_hand.setdefault(tuple(map(str, row)), []).append(n)
    assert sorted(map(sorted, (g.members for g in ranking.groups()))) == sorted(by_hand.values())


def test_groups_that_hold_a_share():
    ranking = three(seen("stop", [True, False, False, False], certainty=0.5))
    held = ranking.holding(0.9)
    assert sum(g.posterior for g in held) >= 0.9
    assert sum(g.posterior for g in held[:-1]) < 0.9
    assert len(ranking.holding(1.0)) == ranking.group_count  # the rest belongs to a cause outside the model
    with pytest.raises(IndexError):
        ranking.group(0)


def test_reasons_come_from_the_column():
    ranking = three(seen("stop", [True, False, None, False], why=lambda n: f"reason {n}" if n < 2 else ""))
    assert [ranking.agreement(n)[0].reason for n in (0, 1)] == ["reason 0", "reason 1"]
    assert "says nothing" in ranking.agreement(2)[0].reason


@pytest.mark.parametrize(
    "bad",
    [
        lambda: rank([Hypothesis("a")], [seen("x", [True, False])]),
        lambda: rank([Hypothesis("a")], [seen("x", [True], epoch=1)]),
        lambda: rank([Hypothesis("a")], [], nothing=1.5),
        lambda: rank([Hypothesis("a", 0)], [], nothing=0.0),
        lambda: rank([Hypothesis("a")], [], mends=[Mend("m", np.array([0.5]), np.array([-1]))]),
        lambda: rank([healthy(1)], [], mends=[Mend("m", np.array([0.5, 0.5]), np.array([-1, -1]))]),
        lambda: Mend("m", np.array([1.5]), np.array([-1])),
        lambda: Mend("m", np.array([0.5]), np.array([1])),
        lambda: Hypothesis("a", -1),
        lambda: Hypothesis("a", math.nan),
        lambda: Column("x", np.array([1.5]), 0.5, 0.5),
        lambda: Column("x", np.array([0.5]), 0.0, 0.5),
        lambda: Column("x", np.array([0.5]), 0.5, 0.0),
        lambda: Column("x", np.array([0.5]), 0.5, np.array([0.5, 0.5])),
        lambda: Column("x", np.array([0.5]), 0.5, 0.5, certainty=1.1),
        lambda: spread([], healthy_share=1.0),
    ],
)
def test_what_makes_no_sense_is_refused(bad):
    with pytest.raises(ValueError):
        bad()


def test_kinds():
    assert kinds_of(
        [Hypothesis("a"), healthy(1), pair(Hypothesis("a"), Hypothesis("b"), total=2, second=0.1)]
    ).tolist() == [0, 2, 1]
