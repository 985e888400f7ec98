"""A book of readings counts what differs as comparing word by word does, before and after it was kept."""

import numpy as np
import pytest

from emu.load import load_machine
from faults.boards import load_board
from faults.dump import scattered
from faults.lower import plan_of
from faults.predictions.book import Book
from faults.predictions.plans import HEALTHY, Plans
from faults.predictions.reading import readings
from faults.universe import universe_of


@pytest.fixture
def plans(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return Plans(load_board(load_machine("fulmar")))


def test_differences_are_counted_as_they_are(plans):
    contents = scattered(plans.board.machine, 0)
    faults = list(universe_of(plans.board, cells=False, stores=["core"]).faults)[::25]
    digests = [plans.digest(f) for f in faults]
    rng = np.random.default_rng(5)
    truth = readings(plan_of(plans.board, faults[7]), 0, contents)
    observed = truth.copy()
    observed[rng.choice(2048, 5)] ^= 3
    both = np.full(2048, 0o177777)
    both[100:200] = 0
    both[300] = 0o177
    book = Book(plans, 0, contents)
    book.enter(faults[:10], digests[:10])
    book.enter(faults, digests)
    wanted = [
        np.count_nonzero((readings(plan_of(plans.board, f), 0, contents) ^ observed) & both) for f in faults
    ]
    assert book.wrong(digests, observed, both).tolist() == wanted
    healthy = np.count_nonzero((contents ^ observed) & both)
    assert book.wrong([HEALTHY], observed, both).tolist() == [healthy]
    book.save()
    again = Book(plans, 0, contents)
    assert again.wrong(digests, observed, both).tolist() == wanted
    other = Book(plans, 0, contents, written=False)
    assert other.wrong(digests[:1], observed, both).tolist() == [healthy]  # nothing kept for that


def test_kept_digests_are_those_of_the_plans(plans):
    faults = list(universe_of(plans.board, cells=False, stores=["core"]).faults)[::200]
    made = [plans.digest(f) for f in faults]
    plans.save()
    again = Plans(plans.board)
    assert [again.digest(f) for f in faults] == made == [plan_of(plans.board, f).digest for f in faults]


def test_of_several_faults_only_what_differs_is_counted(plans):
    contents = scattered(plans.board.machine, 0)
    faults = list(universe_of(plans.board, cells=False, stores=["core"]).faults)
    pairs = [faults[i] & faults[i + 40] for i in range(0, 400, 57)]
    pairs = [pair for pair in pairs if plans.plan(pair) is not None]
    assert len(pairs) > 3
    digests = [plans.digest(pair) for pair in pairs]
    book = Book(plans, 0, contents)
    book.enter([faults[0], *pairs], [plans.digest(faults[0]), *digests])
    for observed, both in ((contents ^ 5, np.full(2048, 0o177777)), (contents, np.full(2048, 0o17))):
        wanted = [
            np.count_nonzero((readings(plan_of(plans.board, p), 0, contents) ^ observed) & both)
            for p in pairs
        ]
        assert book.wrong(digests, observed, both).tolist() == wanted
        assert book.wrong(digests, observed, both).tolist() == wanted
    assert len(set(wanted)) > 1
