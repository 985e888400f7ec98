"""The simulator agrees with a naive model that shares no code with it: test by test, content by content."""

import importlib.util
import random
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faults.march.classes import CLASSES, fault_class, intra_word
from faults.march.coverage import Bench, bench, coverage
from faults.march.named import NAMED, find
from faults.march.notation import MarchTest, parse
from faults.march.operations import Streams, expand, streams, with_backgrounds

_path = Path(__file__).parents[1] / "oracles" / "march_naive.py"
_spec = importlib.util.spec_from_file_location("march_naive", _path)
naive = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(naive)

CELLS = 4
FAULTS = {c.name: c.instances(CELLS) for c in CLASSES}
ARROW = {"up": "^", "down": "v"}


@st.composite
def notations(draw):
    """Text of a consistent march test, made from random operations."""
    held, text = draw(st.integers(0, 1)), []
    text.append(f"{draw(st.sampled_from('^v~'))}(w{held})")
    for _ in range(draw(st.integers(1, 5))):
        ops = []
        for _ in range(draw(st.integers(1, 5))):
            kind = draw(st.sampled_from("rrww"))
            held = draw(st.integers(0, 1)) if kind == "w" else held
            ops.append(f"{kind}{held}")
        if draw(st.integers(0, 5)) == 0:
            text.append("Del")
        text.append(f"{draw(st.sampled_from('^v~'))}({','.join(ops)})")
    return " ".join(text)


def agrees(table, operations, fault, content, latch, cells):
    first = [content >> i & 1 for i in range(cells)]
    seen = table.detection(fault).seen_from([first[c] for c in fault.cells], latch)
    slow = naive.detects(operations, fault.kind, fault.cells, fault.pattern.parameters, first, latch)
    assert seen == slow, (str(fault), first, latch)


@given(notations(), st.sampled_from(["up", "down"]), st.data())
@settings(max_examples=200, deadline=None)
def test_agreement_on_drawn_tests(text, either, data):
    table = bench(parse(text), CELLS, either)
    operations = naive.expand(text, CELLS, ARROW[either])
    for _ in range(8):
        faults = FAULTS[data.draw(st.sampled_from(sorted(FAULTS)))]
        fault = data.draw(st.sampled_from(faults))
        content, latch = data.draw(st.integers(0, 2**CELLS - 1)), data.draw(st.integers(0, 1))
        agrees(table, operations, fault, content, latch, CELLS)


@pytest.mark.parametrize("known", [k for k in NAMED if isinstance(k.test, MarchTest)], ids=lambda k: k.name)
def test_expansion_is_the_naive_one(known):
    ours = [op and (op.address, "w" if op.write else "r", op.data) for op in expand(known.test, 5)]
    assert ours == naive.expand(str(known.test), 5)


@pytest.mark.parametrize("name", ["March C-", "March RAW", "March G", "GALPAT"])
def test_agreement_on_every_pattern_of_every_class(name):
    rng = random.Random(2024)
    table = bench(find(name).test, CELLS)
    operations = [
        op and (op.address, "w" if op.write else "r", op.data) for op in expand(find(name).test, CELLS)
    ]
    patterns = {}
    for faults in FAULTS.values():
        for fault in faults:
            patterns.setdefault(fault.pattern, []).append(fault)
    for faults in patterns.values():
        for fault in rng.sample(faults, min(2, len(faults))):
            for content in rng.sample(range(2**CELLS), 4):
                agrees(table, operations, fault, content, rng.randrange(2), CELLS)


@pytest.mark.parametrize("name", ["Zero-One", "MATS+", "March C-", "Checkerboard"])
@pytest.mark.parametrize("kind", ["TF", "AF-C", "SOF", "CFid", "CFst", "CFds", "LCFin 3c", "dyn 1c"])
def test_counts_over_all_first_contents(name, kind):
    known, cells = find(name), 3
    operations = [op and (op.address, "w" if op.write else "r", op.data) for op in expand(known.test, cells)]
    always = sometimes = from_zero = 0
    for fault in fault_class(kind).instances(cells):
        # The last of the four values is the latch; the first start tried is all zero.
        starts = product((0, 1), repeat=cells + 1)
        seen = [
            naive.detects(
                operations, fault.kind, fault.cells, fault.pattern.parameters, start[:cells], start[cells]
            )
            for start in starts
        ]
        always, sometimes, from_zero = always + all(seen), sometimes + any(seen), from_zero + seen[0]
    row = coverage(known, cells, classes=[kind]).row(kind)
    assert (row.always, row.sometimes, row.from_zero) == (always, sometimes, from_zero)


@pytest.mark.parametrize("kind", [c.name for c in CLASSES if c.name.startswith(("AF", "ABIT", "SOF"))])
def test_what_each_address_opens(kind):
    for fault in fault_class(kind).instances(8):
        memory = naive.Memory(kind, fault.cells, fault.pattern.parameters, [0] * 8)
        for slot, address in enumerate(fault.cells):
            assert sorted(fault.cells[s] for s in fault.pattern.opens[slot]) == sorted(memory.opened(address))


@pytest.mark.slow
@pytest.mark.parametrize("known", NAMED, ids=lambda k: k.name)
def test_agreement_on_every_fault_of_five_cells(known):
    rng = random.Random(known.name)
    table = bench(known.test, 5)
    operations = [op and (op.address, "w" if op.write else "r", op.data) for op in expand(known.test, 5)]
    for fault in (f for c in CLASSES for f in c.instances(5)):
        agrees(table, operations, fault, rng.randrange(32), rng.randrange(2), 5)


@given(st.sampled_from(["MATS+", "March X", "March C-", "March SS"]), st.data())
@settings(max_examples=60, deadline=None)
def test_agreement_in_words(name, data):
    words, bits = data.draw(st.sampled_from([(2, 4), (3, 2), (1, 5)]))
    patterns = data.draw(st.lists(st.integers(0, 2**bits - 1), min_size=1, max_size=3))
    test = find(name).test
    table = Bench(Streams(tuple(with_backgrounds(s, patterns, bits) for s in streams(test, words)), bits))
    operations = naive.expand(str(test), words)
    for _ in range(8):
        kind = data.draw(st.sampled_from(intra_word(words, bits)))
        fault = data.draw(st.sampled_from(kind.instances(words * bits)))
        content = data.draw(st.integers(0, 2 ** (words * bits) - 1))
        first = [content >> i & 1 for i in range(words * bits)]
        seen = table.detection(fault).seen_from([first[c] for c in fault.cells])
        slow = naive.detects_in_words(
            operations, bits, patterns, fault.kind, fault.cells, fault.pattern.parameters, first
        )
        assert seen == slow, (str(fault), first)
