"""Hidden faults are found, and the answers are as sure as they claim. The whole table: ``python trials.py``."""

import math

import pytest

QUICK = ("selftest-parity", "selftest-bank-switch", "selftest-registers")


def test_a_few_hidden_faults_of_fulmar(trials, monkeypatch):
    """Short programs and dumps only, so that nobody waits."""
    monkeypatch.setitem(trials.PROGRAMS, "fulmar", QUICK)
    done = trials.Trials("fulmar", 11).many("prior", 12)
    assert len(done) == 12
    assert sum(o.hit for o in done) >= 11
    assert all(0 < o.sure <= 1 for o in done)


@pytest.mark.slow
@pytest.mark.parametrize("machine", ["fulmar", "dunlin", "sandpiper"])
def test_hidden_faults_of_every_machine(trials, machine):
    """A tenth of the whole trials; bounds leave room for the chance of so few."""
    one = trials.Trials(machine, 5)
    clean = [*one.many("prior", 60), *one.many("kind", 40)]
    assert sum(o.hit for o in clean) >= 0.96 * len(clean)
    misread = one.many("misread", 30)
    assert sum(o.hit for o in misread) >= 0.8 * len(misread)
    sure = one.many("calibration", 80)
    expected, right = sum(o.sure for o in sure), sum(o.hit for o in sure)
    spread = math.sqrt(sum(o.sure * (1 - o.sure) for o in sure)) + 1
    assert abs(right - expected) <= 3 * spread


@pytest.mark.slow
def test_pairs_of_fulmar(trials):
    done = trials.Trials("fulmar", 8).many("pair", 12)
    pairs = [o for o in done if o.sort == "pair"]
    assert len(pairs) == 12
    assert sum(o.top_three for o in pairs) >= 0.8 * len(pairs)
