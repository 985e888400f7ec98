"""One fault accounts for a dump but for a few bits, another for those: both are proposed together."""

import numpy as np
import pytest

from emu.load import load_machine
from faults.boards import load_board
from faults.case.model import Dump
from faults.dump import scattered
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault
from faults.predictions.book import Book
from faults.predictions.dumppairs import by_bits
from faults.predictions.evidence import Observed
from faults.predictions.plans import Plans
from faults.predictions.reading import readings
from faults.universe import universe_of


@pytest.fixture(scope="module")
def setting():
    plans = Plans(load_board(load_machine("dunlin")), cached=False)
    kinds = ["always-on", "stuck", "open"]
    faults = list(universe_of(plans.board, cells=False, kinds=kinds).faults)
    faults = [f for f in faults if fault_text(f, plans.board).startswith(("core/y/", "bus/", "core/sense/"))]
    contents = scattered(plans.board.machine, 0)
    book = Book(plans, 0, contents)
    digests = [plans.digest(f) for f in faults]
    book.enter(faults, digests)
    return plans, faults, digests, book


def test_bits_are_those_of_the_words(setting):
    plans, faults, digests, book = setting
    draw = np.random.default_rng(3)
    both = np.where(draw.random(len(book.contents)) < 0.01, 0o7771, 0)
    observed = book.contents ^ draw.integers(0, 2, len(both)) * 0o10
    chosen = list(range(0, len(faults), 9))
    reads = [readings(plan_of(plans.board, faults[i]), 0, book.contents) for i in chosen]
    names = [digests[i] for i in chosen]
    off = [int(np.bitwise_or.reduce((r ^ observed) & both)) for r in reads]
    struck = [int(np.bitwise_or.reduce((r ^ book.contents) & both)) for r in reads]
    assert book.bits_off(names, observed, both).tolist() == off
    assert book.bits_struck(names, both).tolist() == struck
    assert len(set(off)) > 2
    assert len(set(struck)) > 2


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("core/y/13:always-on", "bus/data/5:open"),
        ("core/y/60:always-on", "core/sense/0/7:open"),
        ("core/sense/0/2:stuck-1", "bus/address/3:open"),  # which no dump shows
    ],
)
def test_pairs_that_read_so_are_among_those_proposed(setting, first, second):
    """The true one, or one of which the first part reads as its like does."""
    plans, faults, digests, book = setting
    one, other = parse_fault(first, plans.board), parse_fault(second, plans.board)
    read = readings(plan_of(plans.board, one & other), 0, book.contents)
    full, sure = np.full(len(read), 0o7777), np.full(len(read), 0o17777)
    seen = Observed(0, Dump(store="core", file="x"), 0, read & full, full, book.contents, sure)
    found = by_bits(book, seen, digests, np.ones(len(digests)), 5000)
    assert 0 < len(found) < len(faults) ** 2 / 20
    wanted = plans.digest(other)
    with_it = [
        i if digests[j] == wanted else j for i, j in found.tolist() if wanted in (digests[i], digests[j])
    ]
    like = [plan_of(plans.board, faults[i] & other) for i in with_it]
    assert any(((readings(plan, 0, book.contents) ^ read) & full == 0).all() for plan in like)
    few = by_bits(book, seen, digests, np.ones(len(digests)), 7)
    assert few.tolist() == found[:7].tolist()
