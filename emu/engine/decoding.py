"""A tree of look-ups that tells which instruction a word is, for words too wide for one table."""

from collections.abc import Iterator
from typing import Final

from emu.spec import InstructionSpec, MachineSpec

_MOST_BITS: Final = 8
_MOST_ENTRIES: Final = 1 << 15
_UNKNOWN: Final = -1
Numbered = tuple[int, InstructionSpec]


class _TooLargeError(Exception):
    """The tree would be larger than a list is worth."""


def decoding_tree(machine: MachineSpec) -> list[int]:
    """Return nodes behind each other: shift, mask, then an entry for every value of those bits.

    An entry is the place of another node, or -2 - n for instruction n (-1: no instruction). The first
    instruction in the order of the machine file wins, as in the walking engine. Encodings that share few
    bits could make a tree of any size; then the instructions are tried one after the other.
    """
    tree: list[int] = []
    try:
        _node(tree, list(enumerate(machine.instructions)), 0, 0)
    except _TooLargeError:
        return _one_by_one(machine.instructions)
    return tree


def _one_by_one(instructions: tuple[InstructionSpec, ...]) -> list[int]:
    """Return a chain: the runs of bits of the first instruction; on a mismatch those of the next."""
    runs = [list(_runs(i.mask)) for i in instructions]
    sizes = [sum(2 + (1 << width) for _, width in r) for r in runs]
    tree: list[int] = []
    for number, instruction in enumerate(instructions):
        after = sum(sizes[: number + 1])
        other = after if number + 1 < len(instructions) else _UNKNOWN
        for place, (shift, width) in enumerate(runs[number]):
            wanted = instruction.match >> shift & ((1 << width) - 1)
            following = len(tree) + 2 + (1 << width) if place + 1 < len(runs[number]) else -2 - number
            tree += [shift, (1 << width) - 1]
            tree += [following if value == wanted else other for value in range(1 << width)]
    return tree


def _runs(bits: int) -> Iterator[tuple[int, int]]:
    """Yield shift and width of runs of ones, none wider than a node tests; (0, 0) if there is none."""
    if not bits:
        yield 0, 0
    while bits:
        shift, width = _longest_run(bits)
        yield shift, width
        bits &= ~(((1 << width) - 1) << shift)


def _node(tree: list[int], candidates: list[Numbered], known: int, value: int) -> int:
    """Append the node for words whose ``known`` bits are ``value``; return its place."""
    place = len(tree)
    if place > _MOST_ENTRIES:
        raise _TooLargeError
    shift, width = _bits_to_test(candidates, known)
    tree += [shift, (1 << width) - 1, *([_UNKNOWN] * (1 << width))]
    tested = ((1 << width) - 1) << shift
    for number in range(1 << width):
        now_known, now = known | tested, value | number << shift
        left = [c for c in candidates if (c[1].match ^ now) & c[1].mask & now_known == 0]
        tree[place + 2 + number] = _entry(tree, left, now_known, now)
    return place


def _entry(tree: list[int], candidates: list[Numbered], known: int, value: int) -> int:
    if not candidates:
        return _UNKNOWN
    number, first = candidates[0]
    if first.mask & ~known == 0:
        return -2 - number
    return _node(tree, candidates, known, value)


def _bits_to_test(candidates: list[Numbered], known: int) -> tuple[int, int]:
    """Return shift and width of the longest run of untested bits that all candidates, or the first, ask."""
    common = ~known
    for _, instruction in candidates:
        common &= instruction.mask
    asked = common if common > 0 else candidates[0][1].mask & ~known if candidates else 0
    return _longest_run(asked)


def _longest_run(bits: int) -> tuple[int, int]:
    best = (0, 1)
    shift = 0
    while bits >> shift:
        width = 0
        while bits >> (shift + width) & 1:
            width += 1
        if width > best[1] or (width and best == (0, 1)):
            best = (shift, width)
        shift += width + 1
    shift, width = best
    return shift, min(width, _MOST_BITS)
