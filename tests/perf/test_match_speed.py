"""How long ranking and advice take on a hundred thousand hypotheses; reported, never gated."""

import numpy as np
import pytest

from faults.hypotheses import Hypothesis
from faults.information import Forecast
from faults.likelihood import Column
from faults.match import rank
from faults.nextstep import Measurement, advise
from faults.pairs import propose

pytestmark = pytest.mark.perf


def universe(size, seen=10):
    rng = np.random.default_rng(0)
    hypotheses = [Hypothesis(f"f{n}", float(w)) for n, w in enumerate(rng.random(size))]
    columns = [Column(str(k), rng.integers(0, 3, size) / 2, 0.3, 0.01) for k in range(seen)]
    return hypotheses, columns


@pytest.mark.parametrize("size", [1_000, 10_000, 100_000])
def test_rank_ten_observations(benchmark, size):
    hypotheses, columns = universe(size)
    ranking = benchmark(lambda: rank(hypotheses, columns))
    assert ranking.posterior.sum() + ranking.nothing == pytest.approx(1)


def test_propose_pairs_among_a_hundred_thousand(benchmark):
    ranking = rank(*universe(100_000))
    plan = benchmark(lambda: propose(ranking))
    assert len(plan.pairs) <= 2000


@pytest.mark.parametrize(("size", "left"), [(100_000, 100_000), (100_000, 12), (12, 12)])
def test_advise_among_sixty_steps(benchmark, size, left):
    rng = np.random.default_rng(1)
    posterior = np.zeros(size)
    posterior[:left] = rng.random(left)
    steps = [
        Measurement(
            f"m{k}",
            "",
            Forecast(tuple("abcdefgh"), rng.integers(0, 8, size)),
            k % 9 + 1.0,
            powered=k % 2 == 0,
        )
        for k in range(60)
    ]
    advice = benchmark.pedantic(lambda: advise(posterior, steps), rounds=3)
    assert advice.best is not None
