"""Two faults at once: found where single faults fail, within a bound that is said."""

import numpy as np
import pytest

from faults.hypotheses import Hypothesis, pair, spread
from faults.likelihood import Column, broad_chance
from faults.match import rank
from faults.pairs import SECOND_FAULT, PairPlan, hypotheses_of, near, propose, with_pairs

LINES = 12


def parts(hypothesis):
    if hypothesis.kind == "healthy":
        return set()
    return {int(p.removeprefix("line ")) for p in (hypothesis.parts or (hypothesis.fault,))}


def columns_for(seen):
    """A toy machine: test k fails if line k or line k + 1 is broken; ``seen``: test -> whether it failed."""

    def predict(hypotheses):
        made = []
        for test, failed in seen.items():
            chance = np.array([float(bool({test, test + 1} & parts(h)) == failed) for h in hypotheses])
            broad = broad_chance(chance, np.ones(len(chance)), 0.5)
            said = [f"{h.fault} on test {test}" for h in hypotheses]
            made.append(
                Column(
                    f"test {test}", chance, broad, 0.5, passed=not failed, entry=test, why=said.__getitem__
                )
            )
        return made

    return predict


def ranked(broken):
    seen = {test: bool({test, test + 1} & broken) for test in range(LINES - 1)}
    predict = columns_for(seen)
    every = spread([Hypothesis(f"line {n}") for n in range(LINES)], healthy_share=0.01)
    return rank(every, predict(every)), predict


def test_a_pair_is_found_where_no_single_fault_fits():
    ranking, predict = ranked({2, 7})
    assert not ranking.single_fits
    assert ranking.negative
    plan = propose(ranking)
    assert 0 < len(plan.pairs) <= plan.considered
    both = with_pairs(ranking, plan, predict)
    best = both.group(1)
    assert [both.hypotheses[m].fault for m in best.members] == ["line 2 & line 7"]
    assert (both.outcome, best.kind, best.contradicted) == ("fits", "pair", 0)
    assert both.note == plan.note
    assert both.agreement(best.members[0])[2].reason == "line 2 & line 7 on test 2"
    assert both.agreement(0)[2].reason == "line 0 on test 2"


@pytest.mark.parametrize("broken", [{1, 6}, {4, 9}, {2, 10}, {3, 6}])
def test_every_distant_pair_is_found(broken):
    ranking, predict = ranked(broken)
    both = with_pairs(ranking, propose(ranking), predict)
    assert [both.hypotheses[m].fault for m in both.group(1).members] == [
        "line {} & line {}".format(*sorted(broken))
    ]


@pytest.mark.parametrize("broken", [{0, 5}, {1, 11}])
def test_one_misreading_is_offered_before_a_pair_that_explains_no_more(broken):
    """Lines 0 and 11 show in one test each: a slip of the pen is as good an explanation as a second fault."""
    ranking, predict = ranked(broken)
    both = with_pairs(ranking, propose(ranking), predict)
    assert both.outcome == "misread"
    assert both.rank_of("line {} & line {}".format(*sorted(broken))) == 2


def test_a_single_fault_that_fits_stays_ahead_of_pairs():
    ranking, predict = ranked({4})
    both = with_pairs(ranking, propose(ranking), predict)
    assert both.hypotheses[both.group(1).members[0]].fault == "line 4"


def test_the_bound_holds_and_is_said():
    every = [Hypothesis(c) for c in "abcd"]
    chances = {"x": [1.0, 0.9, 0.0, 0.0], "y": [0.0, 0.0, 1.0, 0.9]}
    ranking = rank(every, [Column(name, np.array(c), 0.5, 0.5) for name, c in chances.items()])
    whole, few = propose(ranking), propose(ranking, most=2)
    assert whole.pairs.tolist() == [[0, 2], [0, 3], [1, 2], [1, 3]]
    assert few.pairs.tolist() == whole.pairs[:2].tolist()
    assert few.note.startswith("4 possible among the 4 likeliest groups")
    assert propose(ranking, per_observation=1).pairs.tolist() == [[0, 2]]


def test_no_pair_worth_trying_leaves_the_ranking_with_a_note():
    every = spread([Hypothesis("a"), Hypothesis("b")], healthy_share=0.01)
    ranking = rank(every, [Column("x", np.array([0.0, 0.0, 0.0]), 0.5, 0.5)])
    plan = propose(ranking)
    assert len(plan.pairs) == 0
    same = with_pairs(ranking, plan, lambda _: [])
    assert same.note == plan.note
    assert same.posterior.tolist() == ranking.posterior.tolist()


def test_the_weight_of_a_pair():
    one, other = Hypothesis("a", 3.0), Hypothesis("b", 1.0)
    # Of 4 in all, two independent draws give a and b in one order or the other: 2 * 3/4 * 1/4 of second * 4.
    assert pair(one, other, total=4, second=0.1).weight == pytest.approx(0.1 * 2 * 0.75 * 0.25 * 4)
    assert pair(one, other, total=0, second=0.1).weight == 0


def test_those_who_stand_for_a_group_share_its_odds_by_their_own():
    """Beside c of another group, a is as likely as its odds say, whatever else of its group is tried."""
    every = [Hypothesis("a", 20.0), Hypothesis("b", 0.01), Hypothesis("d", 0.01), Hypothesis("c", 1.0)]
    chances = {"x": [1.0, 1.0, 1.0, 0.0], "y": [0.0, 0.0, 0.0, 1.0]}
    ranking = rank(every, [Column(name, np.array(c), 0.5, 0.5) for name, c in chances.items()])
    place = {h.fault: n for n, h in enumerate(ranking.hypotheses)}

    def weights(*names):
        pairs = np.array([sorted((place[n], place["c"])) for n in names], np.int64)
        return [h.weight for h in hypotheses_of(ranking, PairPlan(pairs, len(names), ""))]

    exact = [SECOND_FAULT * 2 * w * 1.0 / 21.02 for w in (20.0, 0.01, 0.01)]
    assert weights("a", "b", "d") == pytest.approx(exact)
    assert weights("a") == pytest.approx([sum(exact)])
    assert weights("b", "d") == pytest.approx([sum(exact) / 2] * 2)


def test_neighbours_are_of_the_same_family_and_the_nearest_come_first():
    names = [
        "a/wire/1/2:open",
        "a/wire/1/3:stuck-0",
        "a/wire/2/2:open",
        "a/wire/1/4:open",
        "a/line/1:open",
        "b/wire/1/2:open",
    ]
    every = spread([Hypothesis(name) for name in names], healthy_share=0.01)
    ranking = rank(every, [Column("x", np.ones(len(every)), 0.5, 0.5)])
    places = {h.fault: n for n, h in enumerate(ranking.hypotheses)}
    found = [ranking.hypotheses[n].fault for n in near(ranking, places["a/wire/1/2:open"], 9)]
    assert found == ["a/wire/1/4:open", "a/wire/2/2:open", "a/wire/1/3:stuck-0"]
    assert near(ranking, places["a/wire/1/2:open"], 1) == [places["a/wire/1/4:open"]]


def table_of(**chances):
    every = [Hypothesis(c) for c in "abcd"]
    columns = [
        Column(name, np.array(c), 0.5, 0.5, passed=name.startswith("pass")) for name, c in chances.items()
    ]
    return rank(every, columns)


def test_no_pair_is_tried_of_which_both_contradict_something():
    ranking = table_of(x=[1.0, 1.0, 0.0, 0.0], y=[0.0, 0.0, 1.0, 1.0], z=[0.0, 1.0, 0.0, 1.0])
    assert ranking.verdicts[:, 2].tolist() == [-1, 1, -1, 1]
    assert sorted(map(tuple, propose(ranking).pairs.tolist())) == [(0, 3), (1, 2), (1, 3)]


def test_both_partners_must_let_a_test_pass():
    """a & d would fail the test that passed; b & c would not, though b and c alone are a little less likely."""
    ranking = table_of(x=[1.0, 0.9, 0.0, 0.0], y=[0.0, 0.0, 0.9, 1.0], passes=[1.0, 1.0, 1.0, 0.0])
    assert propose(ranking).pairs.tolist() == [[0, 2], [1, 2], [0, 3], [1, 3]]


def test_members_of_a_group_that_differ_beside_a_second_fault_are_tried_on_request():
    """`a/wire` and `b/wire` foretell the same alone; only the second goes together with `c/line`."""
    rows = {
        "a/wire/1:open": (1, 0),
        "b/wire/1:open": (1, 0),
        "b/wire/2:open": (1, 0),
        "c/line/1:open": (0, 1),
    }
    every = [Hypothesis(name) for name in rows]
    columns = [
        Column(f"test {k}", np.array([float(row[k]) for row in rows.values()]), 0.5, 0.5) for k in (0, 1)
    ]
    ranking = rank(every, columns)
    assert propose(ranking).pairs.tolist() == [[0, 3]]
    assert propose(ranking, varied=2).pairs.tolist() == [[0, 3], [1, 3]]
    assert propose(ranking, varied=5).pairs.tolist() == [
        [0, 3],
        [1, 3],
    ]  # b/wire/2 is of a sort that is there
    assert "2 faults of different sorts" in propose(ranking, varied=2).note
