"""Faults of cells as fault primitives ``<S/F/R>``, and their simulation over all first contents at once.

A primitive says: when a stated operation finds a stated content (S), the victim takes the value F and the
read returns R. The form is van de Goor and Al-Ars's (VTS 2000, from memory). A simple fault is one
primitive, a linked fault several on one victim.

Contents are *lanes*: bit i of an integer is the value in the i-th first content, so one pass over the
steps answers for all of them.
"""

from typing import Literal

from attrs import field, frozen

from faults.march.operations import Step, Steps

Trigger = Literal["read", "write", "write-read", "state"]
Effect = Literal[0, 1, "flip"]
Bit = Literal[0, 1]


@frozen
class Primitive:
    """One fault primitive; cells are slots of the fault's own cell list.

    ``trigger``: the kind of operation on ``slot``; "state" means always, at power-up and after every
    operation; "write-read" a write directly followed by a read of the same cell. ``before``: the real
    content of ``slot`` before that operation (for "state": the content now, None for any). ``data``: the
    data written. ``guard``: (slot, content) that must hold as well. ``force``: what ``victim`` becomes,
    None for no change. ``returns``: what the read gives, None for the content.
    """

    trigger: Trigger
    slot: int
    victim: int
    before: Bit | None = None
    data: Bit | None = None
    guard: tuple[int, Bit] | None = None
    force: Effect | None = None
    returns: Bit | None = None


@frozen(cache_hash=True)
class CellPattern:
    """What goes wrong in the cells of a fault, whichever cells these are.

    ``words`` is the pattern in words, ``parameters`` the same as plain values. ``slots`` is how many cells
    it takes, ``variables`` how many bits of first content its lanes run over, and ``history`` whether it
    depends on what happened directly before.
    """

    kind: str
    words: str
    parameters: tuple[int | str, ...]
    slots: int
    primitives: tuple[Primitive, ...]
    history: bool = field(init=False)
    variables: int = field(init=False)

    @history.default
    def _history(self) -> bool:
        return any(p.trigger == "write-read" for p in self.primitives)

    @variables.default
    def _variables(self) -> int:
        return self.slots

    def simulate(self, steps: Steps) -> int:
        """Return the lanes, one per content of the fault's cells, in which the steps see the fault."""
        return _Run(self).all(steps)


def columns(count: int) -> list[int]:
    """Return ``count`` truth-table columns over ``2**count`` lanes: bit i of column j is bit j of i."""
    full = (1 << (1 << count)) - 1
    halves = (1 << j for j in range(count))
    return [full // ((1 << half) + 1) << half for half in halves]


class _Run:
    """One simulation. Plain attributes and small integers, as this is the inner loop."""

    def __init__(self, pattern: CellPattern) -> None:
        self.cells = columns(pattern.slots)
        self.full = (1 << (1 << pattern.slots)) - 1
        self.triggered = [p for p in pattern.primitives if p.trigger != "state"]
        self.states = [p for p in pattern.primitives if p.trigger == "state"]
        self.before = list(self.cells)
        self.written_over: list[int] | None = None
        self.written: dict[int, int] = {}

    def all(self, steps: Steps) -> int:
        failed = 0
        self.hold()
        for step in steps:
            failed |= self.step(step)
            self.hold()
        return failed

    def step(self, step: Step) -> int:
        """Do one operation; the fault acts after it and is stronger. Return the lanes that fail."""
        self.before = list(self.cells)
        if step.write:
            for slot, bit in step.data:
                self.cells[slot] = self.full if bit else 0
        seen = list(self.before)
        data = dict(step.data)
        for primitive in self.triggered:
            if primitive.slot in data:
                self.apply(primitive, self.fires(primitive, step, data[primitive.slot]), seen)
        self.written_over = self.before if step.write else None
        self.written = data
        if step.write:
            return 0
        failed = 0
        for slot, bit in step.data:
            failed |= seen[slot] ^ (self.full if bit else 0)
        return failed

    def fires(self, primitive: Primitive, step: Step, bit: int) -> int:
        """Return the lanes in which the primitive is triggered, judged on the real contents."""
        slot = primitive.slot
        if primitive.trigger == "write":
            lanes = self.full if step.write and bit == primitive.data else 0
        elif step.write:
            lanes = 0
        elif primitive.trigger == "read":
            lanes = self.full
        else:
            lanes = self.directly_after_write(primitive, step)
        if primitive.trigger != "write-read" and primitive.before is not None:
            lanes &= self.holding(self.before[slot], primitive.before)
        if primitive.guard:
            lanes &= self.holding(self.before[primitive.guard[0]], primitive.guard[1])
        return lanes

    def directly_after_write(self, primitive: Primitive, step: Step) -> int:
        slot = primitive.slot
        if not step.adjacent or self.written_over is None or self.written.get(slot) != primitive.data:
            return 0
        assert primitive.before is not None
        was = self.holding(self.written_over[slot], primitive.before)
        return was & self.holding(self.before[slot], primitive.data)

    def apply(self, primitive: Primitive, lanes: int, seen: list[int]) -> None:
        victim = primitive.victim
        if primitive.force == "flip":
            self.cells[victim] ^= lanes
        elif primitive.force is not None:
            self.cells[victim] = self.forced(self.cells[victim], lanes, primitive.force)
        if primitive.returns is not None:
            seen[primitive.slot] = self.forced(seen[primitive.slot], lanes, primitive.returns)

    def hold(self) -> None:
        """Apply the faults that act by state alone."""
        for primitive in self.states:
            lanes = self.full
            if primitive.before is not None:
                lanes = self.holding(self.cells[primitive.slot], primitive.before)
            self.apply(primitive, lanes, self.cells)

    def holding(self, value: int, bit: int | None) -> int:
        return value if bit else self.full ^ value

    @staticmethod
    def forced(value: int, lanes: int, bit: int) -> int:
        return value | lanes if bit else value & ~lanes
