"""A tree of look-ups that tells which instruction a word is, for words too wide for one table."""

from typing import Final

from emu.spec import InstructionSpec, MachineSpec

_MOST_BITS: Final = 8
_UNKNOWN: Final = -1
Numbered = tuple[int, InstructionSpec]


def decoding_tree(machine: MachineSpec) -> list[int]:
    """Return nodes behind each other: shift, mask, then an entry for every value of those bits.

    An entry is the place of another node, or -2 - n for instruction n (-1: no instruction). The first
    instruction in the order of the machine file wins, as in the walking engine.
    """
    tree: list[int] = []
    _node(tree, list(enumerate(machine.instructions)), 0, 0)
    return tree


def _node(tree: list[int], candidates: list[Numbered], known: int, value: int) -> int:
    """Append the node for words whose ``known`` bits are ``value``; return its place."""
    place = len(tree)
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
