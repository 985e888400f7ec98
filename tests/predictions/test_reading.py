"""Whole arrays at once give what the readable definition of a plan gives, word by word."""

import numpy as np
import pytest

from emu.load import load_machine
from emu.memory import EXTRA_CELLS, PlannedMemory
from faults.boards import load_board
from faults.dump import scattered
from faults.lower import plan_of
from faults.predictions.reading import readings
from faults.universe import universe_of


def word_by_word(plan, store, contents, times, written):
    cells = [[0] * (shape.words + EXTRA_CELLS) for shape in plan.shapes]
    memory = PlannedMemory(plan, cells)
    if written and plan.shapes[store].writable:
        for address, word in enumerate(contents.tolist()):
            memory.write(store, address, word)
        memory.last_word = memory.last_address = 0  # the reader begins with a quiet bus
    else:
        memory.cells[store][: len(contents)] = contents.tolist()
    read = []
    for _ in range(times):
        read = [memory.read(store, a) for a in range(len(contents))]
    return np.array(read, np.int64)


@pytest.mark.parametrize(("machine", "store"), [("fulmar", 0), ("fulmar", 1), ("dunlin", 0)])
@pytest.mark.parametrize("written", [True, False])
def test_every_kind_of_fault_reads_as_the_definition_says(machine, store, written):
    spec = load_machine(machine)
    board = load_board(spec)
    contents = scattered(spec, store)
    faults, seen = [], set()
    prefix = spec.stores[store].name
    rng = np.random.default_rng(3)
    listed = list(universe_of(board, cells=False).faults)
    for number in rng.permutation(len(listed)).tolist():
        part = listed[number].parts[0]
        family = (part.kind, part.params, part.sites[0].rstrip("0123456789"))
        if family not in seen and part.sites[0].startswith(f"{prefix}/"):
            seen.add(family)
            faults.append(listed[number])
    chosen = faults[:22]
    assert len(chosen) == 22
    for fault in chosen:
        plan = plan_of(board, fault)
        expected = word_by_word(plan, store, contents, 1, written)
        assert np.array_equal(readings(plan, store, contents, written=written), expected), fault


def test_a_second_reading_of_a_destructive_store():
    spec = load_machine("fulmar")
    board = load_board(spec)
    contents = scattered(spec, 0)
    for fault in list(universe_of(board, cells=False, stores=["core"]).faults)[::60]:
        plan = plan_of(board, fault)
        expected = word_by_word(plan, 0, contents, 2, False)
        assert np.array_equal(readings(plan, 0, contents, 2, written=False), expected), fault
