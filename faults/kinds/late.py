"""A word that the stand-in unit serves one request too late."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.units import unit_words
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import StandIn


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    return (unit_words(sites[0], "late"),)


KIND = Kind(
    "late",
    "Late: a unit that still shows the word of the request before",
    (StandIn,),
    _lower,
    Entry(
        what=(
            "The unit that stands in for a store is too slow, and the machine takes the word that the unit "
            "served at the request before. As named it lags by one word all the time, zeros at the first "
            "request; with a chance, as in @2%, it happens now and then."
        ),
        see=(
            "With a chance, words come twice: A A C D where A B C D was asked for. As named: 0 A B C. Each "
            "but the first is a valid word, and parity is silent."
        ),
        confirm=(
            "Look at the data lines against the moment at which the machine takes them. Slow the machine "
            "down, if it can be."
        ),
        confused=("A stale word, which shows what was last on the bus and not what the unit gave last."),
        caution=("The stand-in is suspect too: try the machine without it before blaming the machine."),
    ),
    "rope/unit:late@2%",
    weight=1.0,
    shown_by="gates",
)
