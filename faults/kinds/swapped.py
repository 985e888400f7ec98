"""Two lines that are exchanged."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.lines import swapped_lines
from faults.effects.pairs import alike
from faults.effects.words import word_rules
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import AddressLine, BusAddressLine, BusDataLine, DataLine


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    if isinstance(sites[0].role, AddressLine | BusAddressLine):
        return swapped_lines(board, sites)
    return word_rules(board, sites, "swap")


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    return alike(sites)


KIND = Kind(
    "swapped",
    "Swapped: two lines exchanged",
    (AddressLine, BusAddressLine, DataLine, BusDataLine),
    _lower,
    Entry(
        what=("Two lines are exchanged, mostly because somebody mended a plug, a cable or a socket."),
        see=(
            "Of a read/write store nothing at all, as long as it alone writes and reads its words: every "
            "test passes. What was loaded by another way, or a read-only store, reads with words in the "
            "wrong places (address lines) or with two bits exchanged (data lines)."
        ),
        confirm=(
            "Look at both lines while only one of them should change. Compare the wiring with the "
            "drawing, above all where work was done."
        ),
        confused=("Shorted lines, which disturb the same words but not in a way that can be undone."),
        caution=(
            "Write down every change of the wiring. A fault that appeared after work was done is first "
            "looked for where the work was."
        ),
    ),
    "rope/address/3+4:swapped",
    pair=True,
    symmetric=True,
    fits=_fits,
    weight=0.2,
    shown_by="gates",
)
