"""Faults on the way from address to cell, and of cells that are never opened.

An address opens no cell, one or two. Where it opens none, a write is lost and a read gives a fixed value
or repeats the *sense latch*, the value last read anywhere. Two cells are written alike and read as their
AND or OR.
"""

from typing import Literal

from attrs import field, frozen

from faults.march.operations import Steps
from faults.march.primitives import columns

Wired = Literal["and", "or"]
Floating = Literal[0, 1, "hold"]


@frozen(cache_hash=True)
class AddressPattern:
    """What each address of a fault opens, in slots of the fault's own cell list (see ``CellPattern``).

    ``opens[s]`` lists the slots that the address of slot s opens; ``floating`` is what a read gives where
    it opens none.
    """

    kind: str
    words: str
    parameters: tuple[int | str, ...]
    opens: tuple[tuple[int, ...], ...]
    wired: Wired = "or"
    floating: Floating = 0
    slots: int = field(init=False)
    history: bool = field(init=False)
    variables: int = field(init=False)

    @slots.default
    def _slots(self) -> int:
        return len(self.opens)

    @history.default
    def _history(self) -> bool:
        return self.floating == "hold"

    @variables.default
    def _variables(self) -> int:
        """With the latch the lanes run over its two first values as well: it is the highest bit."""
        return len(self.opens) + (self.floating == "hold")

    def simulate(self, steps: Steps) -> int:
        """Return the lanes, one per content of the fault's cells and latch, in which the fault is seen."""
        cells = columns(self.variables)
        full = (1 << (1 << self.variables)) - 1
        latch = cells[-1] if self.history else (full if self.floating else 0)
        failed = 0
        for step in steps:
            ((slot, bit),) = step.data
            value = full if bit else 0
            if self.history and step.latch >= 0:
                latch = full if step.latch else 0
            if step.write:
                for cell in self.opens[slot]:
                    cells[cell] = value
                continue
            seen = self._read(cells, slot, latch)
            latch = seen if self.history else latch
            failed |= seen ^ value
        return failed

    def _read(self, cells: list[int], slot: int, floating: int) -> int:
        opened = self.opens[slot]
        if not opened:
            return floating
        first, last = cells[opened[0]], cells[opened[-1]]
        return first & last if self.wired == "and" else first | last
