"""A line or a cell that always has one level."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.cells import stuck_cell
from faults.effects.lines import forced_line
from faults.effects.words import forced_bits
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import AddressLine, BusAddressLine, BusDataLine, CellBit, Chip, ChipLeg, DataLine


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:
    site, level = sites[0], int(params[0])
    if isinstance(site.role, CellBit):
        return (stuck_cell(site, site.role, level),)
    if isinstance(site.role, AddressLine | BusAddressLine | ChipLeg):
        return forced_line(board, site, level)
    return forced_bits(board, site, level)


KIND = Kind(
    "stuck",
    "Stuck: always at one level",
    (AddressLine, BusAddressLine, ChipLeg, DataLine, BusDataLine, Chip, CellBit),
    _lower,
    Entry(
        what=("The line, the output of the chip, or the single cell has one level whatever it should carry."),
        see=(
            "An address line: every word is a valid word, but half of them are copies of the other half, "
            "in groups as long as the weight of the line; no parity alarm comes of it, but a program that "
            "looks for its words in the wrong half goes astray. A data line: one bit is always 0, or "
            "always 1, in every word the line serves, and parity alarms come wherever the bit should have "
            "been the other one. A cell: the same in one word alone."
        ),
        confirm=(
            "Fill a read/write store with each word's own address and read it back; of a read-only store "
            "compare a dump with what it should hold. Then look at the level of the line while addresses "
            "run through."
        ),
        confused=(
            "A line that is open drifts to a level and looks the same. Two shorted lines differ only "
            "where the two should carry different levels. A stuck line of a whole store and of a single "
            "chip differ in how many bits are struck."
        ),
        caution=(
            "Copy out what a store holds before anything is written to it. Never move a card or a clip "
            "while the machine is powered."
        ),
    ),
    "rope/address/10:stuck-0",
    variants=(("0",), ("1",)),
    shown_by="gates",
)
