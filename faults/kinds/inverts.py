"""A cell that is inverted when another one changes."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.cells import coupled_cells, edge_of
from faults.effects.pairs import cells_apart
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import CellBit


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    return (coupled_cells(sites, edge_of(params[0]), "flip"),)


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    return cells_apart(sites)


KIND = Kind(
    "inverts",
    "Inverts: a cell whose change turns another over",
    (CellBit,),
    _lower,
    Entry(
        what=(
            "When the first cell goes from 0 to 1 (rise) or from 1 to 0 (fall), the second is inverted. "
            "March literature calls it an inversion coupling fault."
        ),
        see=("A word is wrong in one bit that nobody wrote, every second time the other cell changed."),
        confirm=("Change the first cell once and read the second; change it again and read again."),
        confused=("A cell forced by another, which does not come back."),
        caution=("Copy out what the store holds before anything is written to it."),
    ),
    "core/cell/0o17/3+0o20/3:inverts-rise",
    variants=(("rise",), ("fall",)),
    pair=True,
    fits=_fits,
    common=False,
    weight=0.1,
    shown_by="selftest-core-march",
)
