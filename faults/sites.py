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
Undriven = Literal["zeros", "ones", "residue"]

# The order in which a signal passes the stages, from the processor to the cells and back (emu.compose).
STAGE_BUS_ADDRESS = 0
STAGE_STORE_ADDRESS = 20
STAGE_SELECT = 30  # lines that open cells besides those meant,
STAGE_CLOSED = 31  # then lines that open none
STAGE_LEG = 33
STAGE_INHIBIT_OPEN = 35  # what an open inhibit line lets through,
STAGE_INHIBIT_ON = 36  # what one that is always on blocks,
STAGE_INHIBIT_PARITY = 37  # and what the parity pair blocks after all
STAGE_CORE = 38  # a core that does not switch even so
STAGE_CELL = 40
STAGE_WIRE = 50
STAGE_STROBE = 51  # pulses that the strobe misses
STAGE_SENSE = 52
STAGE_WRITE = 55
STAGE_WRITE_DRIVE = 56
STAGE_STORE_DATA = 60
STAGE_BUS_DATA = 99


@frozen
class Region:
    """The cells ``c`` of a store of ``words`` words with ``c & mask == value``."""

    words: int
    mask: int = 0
    value: int = 0

    def cells(self) -> IntArray:
        """Return the cells, ascending (int64[n])."""
        cells = np.arange(self.words, dtype=np.int64)
        chosen: IntArray = cells[(cells & self.mask) == self.value]
        return chosen

    def __contains__(self, cell: int) -> bool:
        return 0 <= cell < self.words and cell & self.mask == self.value

    def within(self, mask: int, value: int) -> "Region | None":
        """Return the part of the region where also ``cell & mask == value``; None if there is none."""
        if (self.value ^ value) & self.mask & mask:
            return None
        return Region(self.words, self.mask | mask, self.value | value)


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
    """Line ``bit`` (weight 2**bit) of a store's address. ``floats``: the level an open line drifts to.
    ``bank``: the line comes from a bank register. ``undriven``: what is read at an address beyond the words
    of the store, where nothing answers.
    """  # noqa: D205

    store: int
    bit: int
    floats: int = 1
    bank: bool = False
    undriven: Undriven = "zeros"


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
    ``worst``: parts (mask, value) of the addresses where half-select noise is against the signal, as the
    winding of the sense wire has it; () where the store has no such winding.
    """

    store: int
    bit: int
    region: Region | None
    way: Way
    side: Literal["sense", "bus"]
    floats: int = 0
    worst: tuple[tuple[int, int], ...] = ()


@frozen
class BusDataLine:
    """The line of the processor's data bus that carries one stored bit (mask ``bit``) of every store."""

    bit: int
    floats: int = 0


@frozen
class SelectLine:
    """A line that must be active for the cells of ``region`` to be opened: an X or Y line, a driver,
    a module, a strand, a row of chips, a single core.

    ``mask``/``value``: the part of the cell number that the family of lines decodes (``cell & mask ==
    value`` in the region of this line). When the line is active all the time, cell c also opens
    ``(c & ~mask) | value``. ``bits``: the data bits affected (all, or one chip's). ``way``: the half cycle
    it serves. ``undriven``: what is read where nothing is selected.
    """  # noqa: D205

    store: int
    region: Region
    bits: int
    mask: int = 0
    value: int = 0
    way: Way = "both"
    undriven: Undriven = "zeros"


@frozen
class CoreInhibit:
    """In a woven store: the inhibit line that blocks the cores whose address bit ``bit`` is not ``level``
    (it is driven when the address bit is ``level``). ``region``: the cells of its module or of the store.
    ``decoded``: mask of the address bits that choose the core. ``parity_pair``: the store also has an
    inhibit pair driven by the parity of those bits; bit -1 is a line of that pair.
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
    """A timing or control line: ``strobe``, ``rewrite``, ``refresh``. ``worst`` as for :class:`DataLine`."""

    store: int
    purpose: Literal["strobe", "rewrite", "refresh"]
    region: Region
    bits: int
    worst: tuple[tuple[int, int], ...] = ()
    faded: tuple[tuple[int, int], ...] = ()  # refresh: parts (mask, value) whose cells fade to 1, not 0


@frozen
class SharedNet:
    """A net that feeds several sites (a supply pin): it fails for all of them at once."""

    members: tuple[str, ...]
    effect: Literal["read-ones", "read-zeros", "dead"]


@frozen
class Chip:
    """A chip that holds one stored bit (mask ``bit``) of the cells of ``region``.

    ``top``: its address bits from the most significant, as masks of the store's address.
    """

    store: int
    bit: int
    region: Region
    top: tuple[int, ...]
    undriven: Undriven = "zeros"


@frozen
class ChipLeg:
    """An address leg of one chip. ``mask``: the store's address bits it carries (two if multiplexed)."""

    store: int
    bit: int
    region: Region
    mask: int
    floats: int = 1


@frozen
class CellBit:
    """One bit (mask) of one cell."""

    store: int
    cell: int
    bit: int


@frozen
class StandIn:
    """A unit that serves a store's words on request, in place of the store."""

    store: int
    bits: int


Role = (
    AddressLine
    | BusAddressLine
    | DataLine
    | BusDataLine
    | SelectLine
    | CoreInhibit
    | ZeroInhibit
    | Control
    | SharedNet
    | Chip
    | ChipLeg
    | CellBit
    | StandIn
)


@frozen
class Site:
    """A named place. ``path`` is its name in notation (``rope/address/10``, ``core/x/13``); the last part
    is a number where the site is one of a family of lines. ``part``: the class whose prior it takes
    (``contact``, ``wire``, ``driver``, ``amplifier``, ``core``, ``chip``, ``decoder``, ``supply``, ``unit``).
    ``noun``: what a volunteer calls it ("address line 9 of the rope").
    """  # noqa: D205

    path: str
    role: Role
    stage: int
    part: str
    noun: str
    labels: Labels = Labels()
    probes: tuple[str, ...] = ()  # names of points that can be measured, for next-step advice
