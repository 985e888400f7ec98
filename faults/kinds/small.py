"""A chip of the wrong size in the socket."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.lines import redirected
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import STAGE_LEG, Chip, ChipLeg, Site


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:
    role = sites[0].role
    assert isinstance(role, Chip), "reason_against lets no other role in"
    lost = 0
    for mask in role.top[: 1 if params[0] == "half" else 2]:
        lost |= mask
    leg = ChipLeg(role.store, role.bit, role.region, lost)
    site = Site(sites[0].path, leg, STAGE_LEG, sites[0].part, sites[0].noun)
    return (redirected(board, site, leg, lost, 0),)


def _fits(sites: Sites, params: Params) -> str:
    role = sites[0].role
    enough = isinstance(role, Chip) and len(role.top) > (1 if params[0] == "half" else 2)
    return "" if enough else "the chip has no legs to spare"


KIND = Kind(
    "small",
    "Small: a chip of half or a quarter of the size",
    (Chip,),
    _lower,
    Entry(
        what=(
            "A chip with fewer cells sits in the socket and does not look at the topmost one (half) or "
            "two (quarter) of its address legs. Where a leg brings in two address bits, both are lost."
        ),
        see=(
            "One bit of the words in the row reads what was last written to any of the addresses that the "
            "chip takes for the same. A test that writes a word and reads it at once passes."
        ),
        confirm=(
            "Write to every word a value of its own, all of them, and only then read them back. Read what "
            "is printed on the chip."
        ),
        confused=("An address leg that is open or bent out, which does the same with one leg."),
        caution=("Wear a wrist strap when handling chips, and none while working on live mains parts."),
    ),
    "sandpiper chips/chip/2/7:small-quarter",
    variants=(("half",), ("quarter",)),
    fits=_fits,
    weight=0.2,
    shown_by="selftest-march",
)
