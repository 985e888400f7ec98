"""Recognises a run that has come back to a state it was in before.

The state is everything that can change what happens next: registers, memory, offered inputs, the ages of
the watchdog and the timers, and what rules of the memory plan look back on. Both engines look for it at the
same moments: whenever an instruction left the program counter at or before its own address, and after a
restart. The state then compared with is taken anew whenever the number of steps has doubled.
"""

from collections.abc import Iterable
from typing import Any, SupportsIndex, overload

from attrs import define, field, frozen


class TrackedCells(list[int]):
    """The cells of one store, which know in what they differ from when :meth:`mark` was called."""

    def __init__(self, words: Iterable[int]) -> None:
        super().__init__(words)
        self.changed: dict[int, int] = {}

    def mark(self) -> None:
        """Take the present content as what to compare with."""
        self.changed.clear()

    @overload
    def __setitem__(self, index: SupportsIndex, value: int) -> None: ...
    @overload
    def __setitem__(self, index: slice, value: Iterable[int]) -> None: ...
    def __setitem__(self, index: Any, value: Any) -> None:
        """Set a cell (or, at power-up only, a slice) and note the difference."""
        if not isinstance(index, slice):
            first = self.changed.setdefault(index, self[index])
            if first == value:
                del self.changed[index]
        super().__setitem__(index, value)


@frozen
class Moment:
    """The part of the state that is compared directly, and where the run stood."""

    state: tuple[object, ...]
    steps: int
    time_ns: int
    restarts: int


@define
class LoopWatch:
    """Holds one past moment and says when it recurs."""

    stores: list[TrackedCells]
    past: Moment | None = None
    due: int = 0
    low: int = field(default=1 << 62)
    high: int = -1

    def executed(self, pc: int) -> None:
        """Note the address of an executed instruction."""
        self.low = min(self.low, pc)
        self.high = max(self.high, pc)

    def recurs(self, now: Moment) -> bool:
        """Return whether the state is that of the past moment; take a new one when it is due."""
        if self.past is not None and self.past.state == now.state and not any(s.changed for s in self.stores):
            return True
        if now.steps >= self.due:
            self.past = now
            self.due = 2 * now.steps
            self.low, self.high = 1 << 62, -1
            for store in self.stores:
                store.mark()
        return False
