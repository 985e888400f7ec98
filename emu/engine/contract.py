"""What every engine takes and gives; one that passes ``emu.engine.conformance`` may be used anywhere."""

from collections.abc import Mapping
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt
from attrs import field, fields, frozen

from emu.image import ProgramImage
from emu.memory import MemoryPlan
from emu.record import Event
from emu.spec import MachineSpec

StopKind = Literal["halt", "alarm-halt", "loop", "steps", "time", "outputs", "restarts"]


@frozen(eq=False)
class RunRequest:
    """One run, from power-up.

    ``inputs`` maps an input port number to the words it offers, one per read; the last one stays (0 if
    none). ``conditions`` are the names that hold ("warm", "single-step") and that a plan may ask about.
    Limits: the run stops before the instruction that would exceed ``max_steps`` instructions (restarts
    and timer ticks are no steps), at the first instruction boundary at or after ``max_time_ns``, after
    ``max_outputs`` outputs or ``max_restarts`` restarts. ``stop_on_loop``: stop when the whole state has
    been seen before (only for plans without gates). ``trace``: keep every event, up to ``max_events``.
    ``power_up``: what writable stores hold where the image says nothing: ``zeros`` or ``seeded`` (words
    from a hash of seed, store and address, with right check bits).
    """

    machine: MachineSpec
    image: ProgramImage
    plan: MemoryPlan | None = None
    inputs: Mapping[int, tuple[int, ...]] = field(factory=dict)
    conditions: frozenset[str] = frozenset()
    seed: int = 0
    max_steps: int = 1_000_000
    max_time_ns: int = 1 << 62
    max_outputs: int = 100_000
    max_restarts: int = 1_000
    max_events: int = 1_000_000
    stop_on_loop: bool = True
    trace: bool = False
    power_up: Literal["zeros", "seeded"] = "zeros"


@frozen
class AlarmTally:
    """One kind of alarm: how often, and the first time (time, the access's store and address, pc)."""

    name: str
    count: int
    first_ns: int
    first_store: int
    first_address: int
    first_pc: int


@frozen
class Stop:
    """How a run ended.

    For ``loop``: the state at ``loop_from_step`` recurs every ``loop_steps``
    instructions and ``loop_ns`` of time, in which ``loop_restarts`` restarts happen; ``loop_low`` and
    ``loop_high`` bound the program counter inside the loop. All five are 0 for other stops.
    """

    kind: StopKind
    pc: int
    loop_from_step: int = 0
    loop_steps: int = 0
    loop_ns: int = 0
    loop_restarts: int = 0
    loop_low: int = 0
    loop_high: int = 0


@frozen(eq=False)
class RunResult:
    """What a run did. Two engines agree when all fields are equal (``same``).

    ``registers``: values by name (a tuple for a file). ``memory``: stored words (data and check bits,
    int64) of each store by number, cells only. ``restart_times_ns``: the first 64. ``outputs``: (time,
    port, word). ``lamps``: what each lamp row shows at the end.
    """

    stop: Stop
    steps: int
    time_ns: int
    fetches: int
    reads: int
    writes: int
    alarms: tuple[AlarmTally, ...]
    restarts: int
    restart_times_ns: tuple[int, ...]
    outputs: tuple[tuple[int, int, int], ...]
    registers: Mapping[str, int | tuple[int, ...]]
    lamps: Mapping[str, int]
    memory: tuple[npt.NDArray[np.int64], ...]
    events: tuple[Event, ...] = ()

    def same(self, other: "RunResult") -> bool:
        """Return whether every field agrees, event for event and cell for cell."""
        return not self.differences(other)

    def differences(self, other: "RunResult") -> tuple[str, ...]:
        """Name the fields that differ, for a readable failure of a conformance test."""
        compared = [a.name for a in fields(RunResult) if a.name != "memory"]
        names = [name for name in compared if getattr(self, name) != getattr(other, name)]
        if len(self.memory) != len(other.memory) or not all(
            np.array_equal(a, b) for a, b in zip(self.memory, other.memory, strict=False)
        ):
            names.append("memory")
        return tuple(names)


class Engine(Protocol):
    """An engine: a name for messages, and one method."""

    name: str

    def run(self, request: RunRequest) -> RunResult:
        """Execute the request to its stop. Raises nothing but ``emu.errors.InputError`` for a bad image."""
        ...
