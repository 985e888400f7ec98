"""Speed of the structure of a difference on 65,536 words (reported, never gated)."""

import numpy as np
import pytest

from faults.pattern import analyse, dump_evidence

pytestmark = pytest.mark.perf
ADDRESS = np.arange(1 << 16)
EXPECTED = np.random.default_rng(7).integers(0, 1 << 16, 1 << 16).astype(np.uint64)
NOISE = np.random.default_rng(8).integers(0, 1 << 16, 1 << 16).astype(np.uint64)
OBSERVED = {
    "bank not selected": np.where(ADDRESS >> 10 & 1, 0, EXPECTED).astype(np.uint64),
    "address bit stuck": EXPECTED[ADDRESS | 1 << 5],
    "slice alias": EXPECTED & ~np.uint64(8) | EXPECTED[ADDRESS | 32] & np.uint64(8),
    "one percent noise": np.where(NOISE % 100 == 0, EXPECTED ^ NOISE[::-1], EXPECTED),
    "four erratic bits": EXPECTED ^ (NOISE & NOISE[::-1] & np.uint64(0xF)),
}


@pytest.mark.parametrize("name", sorted(OBSERVED))
def test_analyse_65536_words(benchmark, name):
    evidence = dump_evidence(ADDRESS, EXPECTED, OBSERVED[name], bits=16)
    report = benchmark.pedantic(analyse, args=(evidence,), rounds=3)
    assert report.findings
