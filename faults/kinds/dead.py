"""A driver, a chip, a half cycle that does nothing."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.selection import never_selected, silent_chip
from faults.effects.words import masked
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import Chip, Control, SelectLine, Site, Way

_MADE_OF_LINES = ("wire", "contact")


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    site = sites[0]
    match site.role:
        case SelectLine() as role:
            return never_selected(board, site, role)
        case Chip() as role:
            return (silent_chip(site, role),)
        case Control() as role:
            way: Way = "write" if role.purpose == "rewrite" else "read"
            return (masked(site, role.store, way, role.region, role.bits, 0),)
        case _:
            raise AssertionError("reason_against lets no other role in")


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    role = sites[0].role
    refresh = isinstance(role, Control) and role.purpose == "refresh"
    return "a refresh that fails is 'faded'" if refresh else ""


def _listed(site: Site, params: Params) -> bool:  # noqa: ARG001
    return not isinstance(site.role, SelectLine) or site.part not in _MADE_OF_LINES


KIND = Kind(
    "dead",
    "Dead: a driver, a chip or a half cycle that does nothing",
    (SelectLine, Chip, Control),
    _lower,
    Entry(
        what=(
            "A part that should drive something does not: a driver of X or Y lines, a module or strand "
            "select, a chip, the strobe, or the write half of the cycle."
        ),
        see=(
            "A driver: all words of its group read as zeros in every bit, parity bit included. A chip: "
            "one bit of its row shows what an undriven line shows, which the board file says. The strobe: "
            "nothing is read at all. The write half cycle: the first read of a word is right, all later "
            "reads give zeros, for reading destroys and nothing is written back."
        ),
        confirm=(
            "Look for the address bits that all failing addresses share; they name the group. Swap the "
            "card with one of its like and look whether the fault moves with it."
        ),
        confused=(
            "An open line behind the driver, if the group has a single line; a supply pin that several "
            "drivers share. A driver dead in its write half only lets the first read through."
        ),
        caution=(
            "If the write half cycle is dead, the first read may be the only one: dump before you test. A "
            "drive line must never be left on; limit the current and the width of test pulses."
        ),
    ),
    "core/y-driver-b/3:dead",
    fits=_fits,
    listed=_listed,
    weight=2.0,
    shown_by="selftest-core-march",
)
