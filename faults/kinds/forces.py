"""A cell that is set or cleared when another one changes."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.cells import coupled_cells, edge_of
from faults.effects.pairs import cells_apart
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import CellBit


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    return (coupled_cells(sites, edge_of(params[0]), "set" if params[1] == "1" else "clear"),)


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    return cells_apart(sites)


KIND = Kind(
    "forces",
    "Forces: a cell whose change sets or clears another",
    (CellBit,),
    _lower,
    Entry(
        what=(
            "When the first cell goes from 0 to 1 (rise) or from 1 to 0 (fall), the second becomes 0 or "
            "1. March literature calls it an idempotent coupling fault."
        ),
        see=("A word is wrong in one bit that nobody wrote, after the other cell changed."),
        confirm=("Set the second cell to the other level, change the first, and read the second."),
        confused=("A cell inverted by another, which comes back at the second change."),
        caution=("Copy out what the store holds before anything is written to it."),
    ),
    "core/cell/0o17/3+0o20/3:forces-rise-1",
    variants=(("rise", "0"), ("rise", "1"), ("fall", "0"), ("fall", "1")),
    pair=True,
    fits=_fits,
    common=False,
    weight=0.1,
    shown_by="selftest-core-march",
)
