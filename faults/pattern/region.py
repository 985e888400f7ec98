"""Parts of the address space: cubes (some address bits fixed) and spans, and how to name them."""

import numpy as np
from attrs import frozen

from emu.words import WordFormat, mask
from faults.counts import counted
from faults.pattern.evidence import Addresses, Evidence, Flags, bits_of


@frozen
class Cube:
    """All addresses whose bits under ``fixed`` are those of ``value`` (``value`` lies under ``fixed``)."""

    fixed: int
    value: int

    def contains(self, addresses: Addresses) -> Flags:
        """Return which addresses lie in the cube."""
        inside: Flags = (addresses & self.fixed) == self.value
        return inside

    def without(self, bits: int) -> "Cube":
        """Return the cube with the given bits left free."""
        return Cube(self.fixed & ~bits, self.value & ~bits)

    def condition(self, form: WordFormat) -> str:
        """Return ``address bit 10 is 1 and bit 3 is 0``, with bits by the machine's own numbers."""
        parts = [f"bit {form.label(n)} is {self.value >> n & 1}" for n in reversed(bits_of(self.fixed))]
        return "address " + " and ".join(parts) if parts else "any address"


def enclosing_cube(addresses: Addresses, varying: tuple[int, ...]) -> Cube:
    """Return the smallest cube that holds the addresses, over the bits that vary at all."""
    over = sum(1 << n for n in varying)
    ones = int(np.bitwise_and.reduce(addresses)) & over
    zeros = int(np.bitwise_and.reduce(~addresses)) & over
    return Cube(ones | zeros, ones)


def region_text(cube: Cube, evidence: Evidence) -> str:
    """Say where a cube is: a block, every n-th word, alternate groups, or the bits that must match."""
    form, varying = evidence.address, evidence.varying
    over = sum(1 << n for n in varying)
    if cube.fixed & over in (0, over):
        one = f"at address {form.tagged(cube.value | int(evidence.addresses[0]) & ~over)}"
        return one if cube.fixed & over else "at every address read"
    if not varying or over != mask(max(varying) + 1):
        return f"where {cube.condition(form)}"
    top, low = block_bits(cube, max(varying) + 1)
    inner = cube.fixed & ~top
    block = block_text(cube.value & top, over & ~top, evidence)
    inside = f" from {block}" if top else ""
    if not inner:
        return f"in the block {block}"
    if inner == mask(low):
        which = f"where {cube.without(top).condition(form)}"
        if low > 3:
            value = WordFormat(low, base=form.base).tagged(cube.value & inner)
            which = f"whose last {low} address bits are {value}"
        return f"at every {ordinal(1 << low)} word{inside} (those {which})"
    if inner.bit_count() == 1:
        group = 1 << bits_of(inner)[0]
        size = "single words" if group == 1 else f"groups of {group:,} words"
        which = f"where {cube.without(top).condition(form)}"
        return f"in alternate {size}{inside} ({which})"
    return f"where {cube.condition(form)}"


def bit_list(bits: int, form: WordFormat) -> str:
    """Return the bits of a mask by the machine's numbers, runs drawn together: ``15 to 11, 9, 3 to 0``."""
    runs: list[list[int]] = []
    for n in reversed(bits_of(bits)):
        if runs and runs[-1][-1] == n + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    parts = []
    for run in runs:
        ends = [form.label(n) for n in run]
        parts += [f"{ends[0]} to {ends[-1]}"] if len(run) > 2 else ends
    return ", ".join(parts)


def named_bits(noun: str, bits: int, form: WordFormat) -> str:
    """Return ``data bit 3``, ``data bits 7 to 4, 0``, or ``all 17 bits`` of a word."""
    if noun == "data" and bits.bit_count() == form.bits > 1:
        return f"all {form.bits} bits"
    return f"{noun} bit{'s' if bits.bit_count() > 1 else ''} {bit_list(bits, form)}"


def block_bits(cube: Cube, width: int) -> tuple[int, int]:
    """Return the fixed bits that run down from the top without a gap, and how many run up from bit 0."""
    top, n = 0, width - 1
    while n >= 0 and cube.fixed >> n & 1:
        top |= 1 << n
        n -= 1
    low = 0
    while low < n and cube.fixed >> low & 1:
        low += 1
    return top, low


def block_text(first: int, free: int, evidence: Evidence) -> str:
    """Return ``0o2000 to 0o3777 (1,024 words)`` for the aligned block at ``first`` of ``free`` low bits."""
    over = sum(1 << n for n in evidence.varying)
    start = first | int(evidence.addresses[0]) & ~over
    tagged = evidence.address.tagged
    return f"{tagged(start)} to {tagged(start | free)} ({counted(free + 1, 'word')})"


def ordinal(number: int) -> str:
    """Return ``2nd``, ``4th``, ``1,024th``."""
    tail = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number:,}{'th' if number % 100 in (11, 12, 13) else tail}"
