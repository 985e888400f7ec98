"""A cell that cannot make one of its transitions."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.cells import refusing_cell
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import CellBit


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    role = sites[0].role
    assert isinstance(role, CellBit), "reason_against lets no other role in"
    return (refusing_cell(sites[0], role, "rise" if params[0] == "rise" else "fall"),)


KIND = Kind(
    "refuses",
    "Refuses: a cell that does not go from 0 to 1, or from 1 to 0",
    (CellBit,),
    _lower,
    Entry(
        what=(
            "A single cell stays at 0 when a 1 is written over a 0 (rise), or at 1 when a 0 is written "
            "over a 1 (fall). It may hold either level when the power comes on. March literature calls it "
            "a transition fault."
        ),
        see=(
            "One bit of one word keeps its old level when it should change one way, and changes well the "
            "other way."
        ),
        confirm=("Write 0, then 1, and read; then 1, then 0, and read."),
        confused=("A cell that is stuck, which is wrong from the start."),
        caution=("Copy out what the store holds before anything is written to it."),
    ),
    "core/cell/0o17/3:refuses-rise",
    variants=(("rise",), ("fall",)),
    common=False,
    weight=0.3,
    shown_by="selftest-core-march",
)
