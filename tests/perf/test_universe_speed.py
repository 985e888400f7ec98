"""How fast single cells are listed and brought to their small form; how long a collapse takes."""

import itertools

import pytest

from emu.load import load_machine
from faults.boards import load_board
from faults.lower import single_cell_form
from faults.universe import universe_of

pytestmark = pytest.mark.perf
CELLS = 20_000


def test_cells_listed_and_lowered(benchmark):
    board = load_board(load_machine("sandpiper"))
    cells = universe_of(board, kinds=["stuck"]).faults.blocks[-1]

    def run():
        return sum(single_cell_form(board, f) is not None for f in itertools.islice(cells.all(), CELLS))

    assert benchmark(run) == CELLS


def test_structure_of_fulmar_collapsed(benchmark):
    board = load_board(load_machine("fulmar"))
    groups = benchmark.pedantic(lambda: universe_of(board, cells=False).collapse(), rounds=1)
    assert len(groups) > 3_000
