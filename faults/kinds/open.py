"""A line that is interrupted."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.lines import forced_line
from faults.effects.nets import unfed
from faults.effects.selection import inhibit_open, never_selected
from faults.effects.words import forced_bits, masked
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import (
    AddressLine,
    BusAddressLine,
    BusDataLine,
    ChipLeg,
    CoreInhibit,
    DataLine,
    SelectLine,
    SharedNet,
    Site,
    ZeroInhibit,
)

_MADE_OF_LINES = ("wire", "contact")


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    site = sites[0]
    match site.role:
        case AddressLine() | BusAddressLine() | ChipLeg() as role:
            return forced_line(board, site, role.floats)
        case DataLine() | BusDataLine() as role:
            return forced_bits(board, site, role.floats)
        case SelectLine() as role:
            return never_selected(board, site, role)
        case CoreInhibit() as role:
            return inhibit_open(site, role)
        case ZeroInhibit() as role:
            return (masked(site, role.store, "write", role.region, role.bit, 1),)
        case SharedNet() as role:
            return unfed(board, role)
        case _:
            raise AssertionError("reason_against lets no other role in")


def _listed(site: Site, params: Params) -> bool:  # noqa: ARG001
    return not isinstance(site.role, SelectLine) or site.part in _MADE_OF_LINES


KIND = Kind(
    "open",
    "Open: a wire, a contact or a pin that does not connect",
    (
        AddressLine,
        BusAddressLine,
        ChipLeg,
        DataLine,
        BusDataLine,
        SelectLine,
        CoreInhibit,
        ZeroInhibit,
        SharedNet,
    ),
    _lower,
    Entry(
        what=(
            "The line is interrupted, so that what it should bring about does not happen: a selected line "
            "carries no current, an inhibit line blocks nothing, an address or data line drifts to the "
            "level its board file says, and a shared supply pin leaves all it feeds without power."
        ),
        see=(
            "An X or Y line: all words on it read as zeros in every bit, parity bit included, which odd "
            "parity notices and even parity does not. A sense wire: one bit is 0 in all the words it "
            "serves. An inhibit winding of core: a 0 cannot be written in one bit of one section, and a "
            "read turns a stored 0 into a 1 on its rewrite. An inhibit line of a woven store: for half of "
            "the addresses two cores switch and the word read is the OR of two; where the store has an "
            "extra pair of lines driven by the parity of these bits, nothing is seen at all. A supply pin: "
            "several bits at once."
        ),
        confirm=(
            "With the power off, ring the line out from one end to the other, best at the connector of "
            "the module and behind it. Reseat the contact and look whether anything changes, one change "
            "at a time."
        ),
        confused=(
            "A dead driver in front of the line; a line that is stuck at the level to which the open one "
            "drifts. The two ends of one contact cannot be told apart from what the machine does."
        ),
        caution=(
            "Power off, and wait until the rails are at 0 V. Ring out core windings only with a meter of "
            "low voltage and current. Check every pair of an irreplaceable module before it is connected."
        ),
    ),
    "core/x/13:open",
    listed=_listed,
    weight=3.0,
    shown_by="selftest-core-march",
)
