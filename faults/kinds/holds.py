"""A cell that is held while another one has a level."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.cells import held_cell
from faults.effects.pairs import cells_apart
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import CellBit


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    return (held_cell(sites, int(params[0]), int(params[1])),)


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    return cells_apart(sites)


KIND = Kind(
    "holds",
    "Holds: a cell that keeps another at a level",
    (CellBit,),
    _lower,
    Entry(
        what=(
            "While the first cell has the first level named, the second is held at the second level "
            "named, whatever is written. March literature calls it a state coupling fault."
        ),
        see=("One bit of one word is stuck, but only while another word has a certain bit."),
        confirm=("Write the second cell both ways while the first is 0, then while it is 1."),
        confused=("A stuck cell, which is stuck always."),
        caution=("Copy out what the store holds before anything is written to it."),
    ),
    "core/cell/0o17/3+0o20/3:holds-1-0",
    variants=(("0", "0"), ("0", "1"), ("1", "0"), ("1", "1")),
    pair=True,
    fits=_fits,
    common=False,
    weight=0.1,
    shown_by="selftest-core-march",
)
