"""Reads that show what was on the bus before."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.selection import left_on_bus
from faults.effects.words import word_rules
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import BusDataLine, Chip, DataLine, SelectLine, Site


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    site = sites[0]
    if isinstance(site.role, SelectLine | Chip):
        bits = site.role.bits if isinstance(site.role, SelectLine) else site.role.bit
        return (left_on_bus(site, site.role.store, bits, site.role.region),)
    return word_rules(board, sites, "hold", "bus")


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    role = sites[0].role
    match role:
        case DataLine() if role.way == "write":
            return "a line on which nothing is read shows no echo"
        case SelectLine() if role.way == "write":
            return "a line of the write half cycle shows no echo"
        case SelectLine() if sites[0].part != "decoder":
            return "where cores are not selected, the sense amplifiers still drive the bus: it reads zeros"
    return ""


def _listed(site: Site, params: Params) -> bool:  # noqa: ARG001
    return site.part in {"contact", "decoder", "chip"}


KIND = Kind(
    "echo",
    "Echo: nothing answers, and the bus keeps the word before",
    (DataLine, BusDataLine, SelectLine, Chip),
    _lower,
    Entry(
        what=(
            "Nothing drives the line, or the row of chips does not answer, and the bus keeps the charge "
            "of what it carried last: the read gives that."
        ),
        see=(
            "A read shows bits of the word that passed before, often the instruction's own. A test that "
            "writes a word and reads it at once passes, even with no chip in the socket."
        ),
        confirm=(
            "Read two unlike words one after the other, in both orders. Write a word and let another "
            "access pass before reading it back."
        ),
        confused=(
            "A stale word of a unit that missed a request; a line that is stuck, which does not follow "
            "the word before."
        ),
        caution=("A probe may discharge the bus and change what is seen."),
    ),
    "core/data/3:echo",
    fits=_fits,
    listed=_listed,
    weight=0.3,
    shown_by="gates",
)
