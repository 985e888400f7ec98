"""A request after which the bus still shows its last word."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.units import unit_words
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import StandIn


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    return (unit_words(sites[0], "hold"),)


KIND = Kind(
    "stale",
    "Stale: a unit that leaves the last word on the bus",
    (StandIn,),
    _lower,
    Entry(
        what=(
            "The unit that stands in for a store does not open its drivers, and the machine takes what "
            "was on the bus last, whichever store it came from."
        ),
        see=(
            "A read repeats the word that passed before, read or written. It is a valid word, and parity is "
            "silent. As named, without a chance, nothing has passed at power-up: the first word is all "
            "zeros, parity bit included, and stays so until another store is accessed."
        ),
        confirm=(
            "Let an access to another store pass before each read, and look whether its word comes back."
        ),
        confused=("A late word, which repeats what the unit gave at the request before."),
        caution=("The stand-in is suspect too: try the machine without it before blaming the machine."),
    ),
    "rope/unit:stale@2%",
    weight=1.0,
    shown_by="gates",
)
