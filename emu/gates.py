"""Gates: when an alteration of the memory is there at all.

Chance never comes from a stream of random numbers but from a hash of its coordinates, so that a run can be
split, resumed and explained, and both engines draw alike. The numbers drawn may change from one version of
the plan format to the next; within a version they are promised.
"""

import math
from functools import lru_cache
from typing import Literal

from attrs import define, frozen

MASK64 = (1 << 64) - 1
DRAW_FORMAT = 0x434F5245  # changes with the plan format, so that nobody relies on the numbers
CHANCE_ONE = 1 << 32
MIN_DWELL_NS = 1_000
BY_CHANCE = frozenset(
    {"chance", "contact"}
)  # kinds whose openings are drawn; all others open alike in every run


@frozen(order=True)
class Gate:
    """One gate. All numbers are whole.

    ``chance``: open at an access with probability ``low / 2**32``.
    ``contact``: a bad contact; the gate is open while the contact is; mean times ``low`` ns open and
    ``high`` ns closed (at least 1,000 each), exponentially distributed; closed at power-up.
    ``window``: open for accesses ``low`` <= n < ``high``.
    ``after``: open when the previous access was to an address with ``address & low == high``.
    ``condition``: open when the condition ``name`` holds in the run.
    """

    kind: Literal["chance", "contact", "window", "after", "condition"]
    low: int = 0
    high: int = 0
    name: str = ""


@define
class GateClock:
    """The state of one contact gate: number of toggles so far and the time of the next one.

    ``next_ns`` -1 means that the first closed time has not been drawn yet.
    """

    toggles: int = 0
    next_ns: int = -1


def draw(seed: int, stream: int, index: int) -> int:
    """Return 64 hashed bits for one coordinate (finaliser of the SplitMix generator, public domain)."""
    z = (seed ^ DRAW_FORMAT) & MASK64
    for part in (stream, index):
        z = (z + 0x9E3779B97F4A7C15 * (part + 1)) & MASK64
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & MASK64
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & MASK64
        z ^= z >> 31
    return z


@lru_cache(maxsize=64)
def dwell_table(mean_ns: int) -> tuple[int, ...]:
    """Return 256 equally likely dwell times (ns) of an exponential distribution with that mean.

    The midpoints of 256 equal slices of probability; whole numbers, so that engines agree.
    """
    return tuple(max(1, round(-mean_ns * math.log((i + 0.5) / 256))) for i in range(256))


def is_open(
    gate: Gate, clock: GateClock, seed: int, stream: int, access: int, time_ns: int, last_address: int
) -> bool:
    """Return whether the gate is open for this access, moving its clock on."""
    if gate.kind == "chance":
        return draw(seed, stream, access) >> 32 < gate.low
    if gate.kind == "window":
        return gate.low <= access < gate.high
    if gate.kind == "after":
        return last_address & gate.low == gate.high
    if gate.kind == "contact":
        return _contact_open(gate, clock, seed, stream, time_ns)
    raise ValueError(f"condition gate {gate.name!r} was not settled before the run")


def _contact_open(gate: Gate, clock: GateClock, seed: int, stream: int, time_ns: int) -> bool:
    if clock.next_ns < 0:
        clock.next_ns = dwell_table(gate.high)[draw(seed, stream, 0) & 255]
    while time_ns >= clock.next_ns:
        clock.toggles += 1
        mean = gate.low if clock.toggles & 1 else gate.high
        clock.next_ns += dwell_table(mean)[draw(seed, stream, clock.toggles) & 255]
    return bool(clock.toggles & 1)
