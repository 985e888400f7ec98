"""A data line that loses ones or zeros where the noise is against them."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.words import weak_bits
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import DataLine


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:
    return weak_bits(board, sites[0], 1 if params[0] == "ones" else 0)


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    role = sites[0].role
    if isinstance(role, DataLine) and role.way == "read":
        return ""
    return "only lines on which a store is read are weak"


KIND = Kind(
    "weak",
    "Weak: a bit lost where the noise is against it",
    (DataLine,),
    _lower,
    Entry(
        what=(
            "A sense wire or amplifier gives too little, so that ones are taken for zeros (weak-ones), or "
            "too much noise, so that zeros are taken for ones (weak-zeros). In a core store whose winding is "
            "known it happens where the sense wire runs through the core the other way, so that the "
            "half-selected cores work against the signal. Elsewhere it happens where the cells of the store "
            "gave the other level in that bit when it was last read, as from an amplifier that is slow to "
            "recover. The fault as named loses the bit each time; with a chance, as in @20%, it is the "
            "sporadic fault that people meet."
        ),
        see=(
            "Where the winding is known: one bit is wrong in half of the addresses, in a chequered pattern "
            "that follows the winding, and comes and goes with temperature and supply. Elsewhere: one bit "
            "is lost at each change of its level from one word read to the next, so that a run of equal "
            "levels loses only its first."
        ),
        confirm=(
            "Write the pattern that is worst for this winding, and its inverse; compare how often the bit "
            "fails. Then look at both ends of the sense pair, differentially, against the strobe."
        ),
        confused=(
            "A strobe at the wrong time, which strikes all bits; an open sense wire or a stuck amplifier, "
            "which strikes all addresses."
        ),
        caution=(
            "A probe loads the wire and may move the fault. Watch the temperature of the stack: the drive "
            "currents follow it."
        ),
    ),
    "core/sense/3:weak-ones@20%",
    variants=(("ones",), ("zeros",)),
    fits=_fits,
    weight=1.0,
    shown_by="gates",
)
