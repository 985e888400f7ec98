"""A cell that is upset by being read."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.cells import upset_cell
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import CellBit


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    role = sites[0].role
    assert isinstance(role, CellBit), "reason_against lets no other role in"
    return (upset_cell(sites[0], role, int(params[0]), shows=params[1] == "now"),)


KIND = Kind(
    "upset",
    "Upset: a cell that turns over when it is read",
    (CellBit,),
    _lower,
    Entry(
        what=(
            "Reading a cell that holds the level named turns it over. The reader gets the new level at "
            "once (now), or still the old one (later), so that the next reader finds it. March literature "
            "calls the first a read destructive fault, the second a deceptive one. In a store whose reads "
            "are followed by a rewrite, `later` is mended by the rewrite and never seen."
        ),
        see=("A word that was right when it was read first is wrong in one bit when it is read again."),
        confirm=("Write a word once and read it twice."),
        confused=("A write half cycle that is dead, which loses whole words on the second read."),
        caution=("The first read may be the only good one: note what it says."),
    ),
    "sandpiper chips/cell/0x0118/3:upset-1-later",
    variants=(("0", "now"), ("0", "later"), ("1", "now"), ("1", "later")),
    common=False,
    weight=0.2,
    shown_by="logger",
)
