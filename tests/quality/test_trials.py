"""Hidden faults are found, and the answers are as sure as they claim. The whole table: ``python trials.py``."""

import math

import pytest

from faults.notation import parse_fault

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
@pytest.mark.parametrize(("machine", "count"), [("fulmar", 6), ("dunlin", 4)])
def test_pairs(trials, machine, count):
    done = trials.Trials(machine, 8).many("pair", count)
    pairs = [o for o in done if o.sort == "pair"]
    assert len(pairs) == count
    assert sum(o.top_three for o in pairs) >= 0.75 * len(pairs)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("machine", "pair"),
    [
        ("dunlin", "core/y/13:always-on & bus/data/5:open"),  # bits tell
        ("dunlin", "core/x/61:always-on & core/inhibit/0/2:open"),  # lies near one that nearly fits
        ("sandpiper", "chips/leg/0/0/3:open & chips/leg/0/check4/5:stuck-1"),  # beside every other
    ],
)
def test_pairs_that_neither_part_leads_to(trials, machine, pair):
    one = trials.Trials(machine, 5)
    done = one.run("pair", parse_fault(pair, one.workshop.board), 0)
    assert done is not None
    assert done.top_three
