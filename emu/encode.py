"""Encodings: bit patterns of instructions <-> mask, match and fields; words <-> operand values."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

from attrs import define, field, frozen

from emu.behaviour.tokens import RESERVED, sample
from emu.errors import Problems, declare
from emu.spec import InstructionSpec, OperandBits
from emu.where import Place
from emu.words import mask

BAD_PATTERN: Final = declare(
    "encoding",
    "An encoding has one 0, 1, '-' or letter for every bit of the word; blanks are free.",
    "Count the bits, and use letters (neither M nor P) for fields.",
    sample("acc = 1").replace("0000 aaaa", "000 aaaa"),
    "machine",
)
OVERLAP: Final = declare(
    "encodings-overlap",
    "No word is two instructions.",
    "Change a fixed bit (0 or 1) of one of the two encodings.",
    sample("acc = 1")
    + """
[[instruction]]
name = "stay"
bits = "0000 0000"
does = []
example = { text = "stay", word = 0 }
""",
    "machine",
)

Locate = Callable[[int, int], Place]


@frozen
class Pattern:
    """A bit pattern: ``w & mask == match`` for its words, and the runs of bits of every letter.

    ``fields`` keeps the order of first appearance; runs are (high, low), leftmost first.
    """

    mask: int
    match: int
    fields: Mapping[str, tuple[tuple[int, int], ...]]

    def meets(self, other: "Pattern") -> int | None:
        """Return a word that both patterns match, or None."""
        if (self.match ^ other.match) & self.mask & other.mask:
            return None
        return self.match | other.match


def read_pattern(text: str, width: int, locate: Locate, problems: Problems) -> Pattern | None:
    """Return the pattern of an encoding of ``width`` bits; report what is wrong and return None.

    ``locate(offset, length)`` gives the place of a piece of the text.
    """
    marks = [(at, char) for at, char in enumerate(text) if char not in " \t"]
    wrong = False
    for at, char in marks:
        if char not in "01-" and not (char.isascii() and char.isalpha() and char not in RESERVED):
            message = f"an encoding is made of 0, 1, '-' and letters but M and P; got {char!r}"
            problems.add(BAD_PATTERN, message, locate(at, 1))
            wrong = True
            break
    if len(marks) != width:
        message = f"an encoding has a mark for every bit of the word; of {width} bits, given {len(marks)}"
        problems.add(BAD_PATTERN, message, locate(0, max(len(text), 1)))
        wrong = True
    return None if wrong else _pattern([char for _, char in marks])


def _pattern(marks: Sequence[str]) -> Pattern:
    fixed = match = 0
    runs: dict[str, list[tuple[int, int]]] = {}
    for position, char in zip(reversed(range(len(marks))), marks, strict=True):
        if char in "01":
            fixed |= 1 << position
            match |= int(char) << position
        elif char != "-":
            mine = runs.setdefault(char, [])
            if mine and mine[-1][1] == position + 1:
                mine[-1] = (mine[-1][0], position)
            else:
                mine.append((position, position))
    return Pattern(fixed, match, {letter: tuple(found) for letter, found in runs.items()})


def overlaps(patterns: Sequence[Pattern]) -> Iterator[tuple[int, int, int]]:
    """Yield ``(i, j, word)``, i < j, for every two patterns that both match a word."""
    for j, later in enumerate(patterns):
        for i in range(j):
            word = patterns[i].meets(later)
            if word is not None:
                yield i, j, word


def put(operand: OperandBits, value: int) -> int:
    """Return the bits of a word that a field's value sets. ValueError if the field cannot hold it."""
    if not 0 <= value <= mask(operand.width):
        raise ValueError(f"field {operand.field.letter!r} holds 0 to {mask(operand.width)}, got {value}")
    word, left = 0, operand.width
    for high, low in operand.runs:
        left -= high - low + 1
        word |= (value >> left & mask(high - low + 1)) << low
    return word


def take(operand: OperandBits, word: int) -> int:
    """Return the value of a field in a word."""
    value = 0
    for high, low in operand.runs:
        value = value << (high - low + 1) | word >> low & mask(high - low + 1)
    return value


def insert(instruction: InstructionSpec, values: Mapping[str, int]) -> int:
    """Return the word of an instruction with the patterns of its fields by letter; '-' bits are 0.

    ValueError if a value does not fit its field, or a letter is missing or strange.
    """
    letters = {operand.field.letter for operand in instruction.operands}
    if letters != set(values):
        raise ValueError(f"{instruction.name} has the fields {sorted(letters)}, got {sorted(values)}")
    word = instruction.match
    for operand in instruction.operands:
        word |= put(operand, values[operand.field.letter])
    return word


def extract(instruction: InstructionSpec, word: int) -> dict[str, int]:
    """Return the patterns of an instruction's fields by letter, as they stand in a word."""
    return {operand.field.letter: take(operand, word) for operand in instruction.operands}


@define
class Decoder:
    """Finds the instruction of a word; built once for a machine."""

    instructions: tuple[InstructionSpec, ...]
    _tables: dict[int, dict[int, InstructionSpec]] = field(init=False, repr=False)

    def __attrs_post_init__(self) -> None:
        self._tables = {}
        for instruction in self.instructions:
            self._tables.setdefault(instruction.mask, {})[instruction.match] = instruction

    def find(self, word: int) -> InstructionSpec | None:
        """Return the instruction of a word, or None if it is none."""
        for fixed, table in self._tables.items():
            found = table.get(word & fixed)
            if found is not None:
                return found
        return None
