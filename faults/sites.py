"""Sites: every physical place of a memory that can be named, labelled and broken.

A board (``faults.boards``) turns a board file into sites; a kind of fault (``faults.kinds``) says which
roles it applies to and what it does there. A new board that uses these roles gets every kind for nothing,
and a new kind works on every board.
"""

from typing import Literal

import numpy as np
import numpy.typing as npt
from attrs import frozen

IntArray = npt.NDArray[np.int64]
Way = Literal["read", "write", "both"]

# The order in which a signal passes the stages, from the processor to the cells and back (emu.compose).
STAGE_BUS_ADDRESS = 0
STAGE_STORE_ADDRESS = 20
STAGE_SELECT = 30
STAGE_CELL = 40
STAGE_SENSE = 50
STAGE_WRITE = 55
STAGE_STORE_DATA = 60
STAGE_BUS_DATA = 99


@frozen
class Region:
    """A set of cells of one store: those in one of the ranges (first, last) with ``cell & mask == value``."""

    ranges: tuple[tuple[int, int], ...]
    mask: int = 0
    value: int = 0

    def cells(self) -> IntArray:
        """Return the cells, ascending (int64[n])."""
        parts = [np.arange(first, last + 1, dtype=np.int64) for first, last in self.ranges]
        cells = np.concatenate(parts) if parts else np.zeros(0, np.int64)
        chosen: IntArray = cells[(cells & self.mask) == self.value]
        return chosen


@frozen
class Labels:
    """What is written on the drawing or the part; "" where unknown. Shown to people, never interpreted."""

    card: str = ""
    slot: str = ""
    connector: str = ""
    pin: str = ""
    wire: str = ""
    chip: str = ""

    def text(self) -> str:
        """Return ``card A7, slot 3, pin 23``, or "" where nothing is known."""
        parts = [(k, getattr(self, k)) for k in ("card", "slot", "connector", "pin", "wire", "chip")]
        return ", ".join(f"{k} {v}" for k, v in parts if v)


@frozen
class AddressLine:
    """Line ``bit`` (weight 2**bit) of a store's address. ``bits``: the data bits it serves (a chip's
    address leg serves one; otherwise all). ``floats``: the level an open line drifts to.
    """  # noqa: D205

    store: int
    bit: int
    bits: int
    floats: int = 1
    bank: bool = False


@frozen
class BusAddressLine:
    """Line ``bit`` of the processor's address, before the windows."""

    bit: int
    floats: int = 1


@frozen
class DataLine:
    """A line that carries one stored bit (mask ``bit``) of the cells of ``region``.

    ``way``: read (a sense wire, an output), write (an input) or both (a bus). ``side`` ``sense`` lies
    between cells and the memory register, so that a restore sees it; ``bus`` lies behind it.
    """

    store: int
    bit: int
    region: Region | None
    way: Way
    side: Literal["sense", "bus"]
    floats: int = 0


@frozen
class SelectLine:
    """A line that must be active for the cells of ``region`` to be opened: an X or Y line, a driver group,
    a module, a strand, a chip row, a chip.

    ``mask``/``value``: the part of the cell number the family of lines decodes (``cell & mask == value``
    in the region of this line), used when the line is active all the time: then cell c also opens
    ``(c & ~mask) | value``. mask 0: not a power-of-two family; then ``family`` gives, for line i, its
    first cell and the lines have equal lengths: cell c also opens ``first + (c - first of its line)``.
    ``bits``: data bits affected (all, or one chip's). ``way``: the half cycle it serves.
    """  # noqa: D205

    store: int
    region: Region
    bits: int
    mask: int = 0
    value: int = 0
    family: tuple[int, ...] = ()
    way: Way = "both"


@frozen
class CoreInhibit:
    """In a woven store: the inhibit line that blocks the cores whose address bit ``bit`` is not ``level``
    (it is driven when the address bit is ``level``). ``region``: the cells of its module or of the store.
    ``parity_pair``: the store also has an inhibit pair driven by the parity of the address bits
    ``decoded`` (mask of the address bits that choose the core); bit -1 is a line of that pair.
    """  # noqa: D205

    store: int
    bit: int
    level: int
    region: Region
    decoded: int
    parity_pair: bool = False


@frozen
class ZeroInhibit:
    """In a coincident-current store: the winding that lets a 0 be written in one bit of a section."""

    store: int
    bit: int
    region: Region


@frozen
class Control:
    """A timing or control line: ``strobe``, ``rewrite``, ``refresh``, ``clear``."""

    store: int
    purpose: Literal["strobe", "rewrite", "refresh", "clear"]
    region: Region | None
    bits: int


@frozen
class SharedNet:
    """A net that feeds several sites (a supply pin): it fails for all of them at once."""

    members: tuple[str, ...]
    effect: Literal["read-ones", "read-zeros", "dead"]


@frozen
class CellBit:
    """One bit (mask) of one cell."""

    store: int
    cell: int
    bit: int


@frozen
class StandIn:
    """A unit that serves a store's words on request, beside or instead of the store."""

    store: int


Role = (
    AddressLine
    | BusAddressLine
    | DataLine
    | SelectLine
    | CoreInhibit
    | ZeroInhibit
    | Control
    | SharedNet
    | CellBit
    | StandIn
)


@frozen
class Site:
    """A named place. ``path`` is its name in notation (``rope/address/10``, ``core/x/13``); the last part
    is a number where the site is one of a family of lines. ``part``: the class whose prior it takes
    (``contact``, ``wire``, ``driver``, ``amplifier``, ``core``, ``chip``, ``decoder``, ``supply``, ``unit``).
    ``noun``: what a volunteer calls it ("address line 10 of the rope").
    """  # noqa: D205

    path: str
    role: Role
    stage: int
    part: str
    noun: str
    labels: Labels = Labels()
    probes: tuple[str, ...] = ()  # names of points that can be measured, for next-step advice
