"""Two lines that touch."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.lines import Tie, tied_lines
from faults.effects.pairs import alike
from faults.effects.selection import shorted_selects
from faults.effects.words import tied_bits
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import AddressLine, BusAddressLine, BusDataLine, DataLine, SelectLine


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:
    tie: Tie = "or" if params[0] == "or" else "and"
    role = sites[0].role
    if isinstance(role, AddressLine | BusAddressLine):
        return tied_lines(board, sites, tie)
    if isinstance(role, SelectLine):
        return shorted_selects(board, sites, tie)
    return tied_bits(board, sites, tie)


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    return alike(sites)


KIND = Kind(
    "shorted",
    "Shorted: two lines of a kind that touch",
    (AddressLine, BusAddressLine, DataLine, BusDataLine, SelectLine),
    _lower,
    Entry(
        what=(
            "Two lines that should be apart touch. Both then carry the OR or the AND of what the two "
            "should carry, as the circuits have it. Of two select lines, both open their cells when one "
            "is meant (or), or neither gets enough current (and)."
        ),
        see=(
            "Data lines: the two bits are never different; words in which they should be are wrong in one "
            "bit, and parity tells. Address lines: a quarter of the addresses fall on others, and every "
            "word read is a valid one. Select lines: the words of the two lines are mixed, or lost."
        ),
        confirm=(
            "Ring the two lines out against one another with the power off. Neighbouring pins and "
            "neighbouring wires come first."
        ),
        confused=(
            "One line stuck: it disturbs words whatever its neighbour carries. Exchanged lines, which "
            "disturb the same words in another way."
        ),
        caution=(
            "Power off, and wait until the rails are at 0 V. Ring out core windings only with a meter of "
            "low voltage and current."
        ),
    ),
    "rope/sense/3+4:shorted-or",
    variants=(("or",), ("and",)),
    pair=True,
    symmetric=True,
    fits=_fits,
    weight=0.5,
    shown_by="gates",
)
