"""A request that the stand-in unit does not see."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.units import unit_words
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import StandIn


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    return (unit_words(sites[0], "clear"),)


KIND = Kind(
    "missed",
    "Missed: a unit that does not answer a request",
    (StandIn,),
    _lower,
    Entry(
        what=(
            "The unit that stands in for a store does not see the request, and nothing drives the data "
            "lines. As named it misses every request; with a chance, as in @2%, now and then."
        ),
        see=("A word of all zeros, parity bit included: odd parity raises an alarm, even parity does not."),
        confirm=("Count requests at the machine and at the unit and compare."),
        confused=("A bus that keeps the word before instead of reading zeros: that is a stale word."),
        caution=("The stand-in is suspect too: try the machine without it before blaming the machine."),
    ),
    "rope/unit:missed@2%",
    weight=1.0,
    shown_by="gates",
)
