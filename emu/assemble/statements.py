"""One line of a program: labels, then an instruction or a directive and its operands; all may be missing."""

import re
from typing import Final

from attrs import define, field, frozen

from emu.assemble.expression import Operand
from emu.assemble.forms import Argument, Form
from emu.assemble.layout import Spot, Stretch
from emu.assemble.lines import LineError, SourceLine, Span
from emu.assemble.operands import Value
from emu.assemble.tokens import BLANKS, Token, tokenize
from emu.errors import declare

BAD_LABEL: Final = declare(
    "asm-bad-label",
    "A label is a letter or _, then letters, digits and _, then a colon.",
    "Rename the label.",
    "; machine: dunlin\n1st: .word 1\n",
    "program",
)

_LABEL: Final = re.compile(r"\s*([A-Za-z_]\w*)[ \t]*:", re.ASCII)
_HEAD: Final = re.compile(r"\s*([^\s;:\"']+)", re.ASCII)


@frozen(eq=False)
class Statement:
    """A line taken apart as far as its first word. ``rest`` is the offset of the operands."""

    line: SourceLine
    labels: tuple[Token, ...]
    head: Token | None
    rest: int
    problem: LineError | None = None

    @property
    def span(self) -> Span:
        """What an error is about when it is about the whole statement."""
        if self.head:
            return self.head.span
        return self.labels[0].span if self.labels else Span(1)

    def tokens(self) -> list[Token]:
        """Return the operands' tokens."""
        return tokenize(self.line.text, self.rest)


def split_line(line: SourceLine) -> Statement:
    """Take a line apart. A label that is none is noted in ``problem``, not raised."""
    text, place = line.text, 0
    labels: list[Token] = []
    while found := _LABEL.match(text, place):
        labels.append(Token("name", found[1], found.start(1) + 1))
        place = found.end()
    found = _HEAD.match(text, place)
    if not found:
        return Statement(line, tuple(labels), None, place, _stray(text, place))
    head = Token("name", found[1], found.start(1) + 1)
    if text[found.end() : found.end() + 1] == ":":
        message = f"a label is a letter, then letters, digits and _, got {head.text!r}"
        return Statement(line, tuple(labels), None, place, LineError(BAD_LABEL, message, head.span))
    return Statement(line, tuple(labels), head, found.end())


def _stray(text: str, place: int) -> LineError | None:
    """Return what is wrong with a line on which no word stands but something else does."""
    rest = text[place:].lstrip(BLANKS)
    if not rest or rest.startswith(";"):
        return None
    message = f"a line begins with a label, an instruction or a directive, got {rest[0]!r}"
    return LineError(BAD_LABEL, message, Span(len(text) - len(rest) + 1))


@frozen(eq=False)
class Coded:
    """An instruction."""

    form: Form
    arguments: list[Argument]


@frozen(eq=False)
class Listed:
    """Words given one by one, by ``.word``."""

    operands: list[Operand]


@frozen(eq=False)
class Filled:
    """One word, many times."""

    operand: Operand


@frozen(eq=False)
class Ready:
    """Words known at once, from ``.text``."""

    words: tuple[int, ...]


@frozen(eq=False)
class Reserved:
    """Room for words; nothing is put there."""


Content = Coded | Listed | Filled | Ready | Reserved


@define(eq=False)
class Item:
    """What a line puts into memory.

    ``words`` has ``count`` words, one only for a fill, none for a reserve or before the second pass.
    ``values`` are those of the arguments of an instruction.
    """

    line: SourceLine
    span: Span
    labelled: bool
    stretches: list[Stretch]
    count: int
    content: Content
    words: list[int] = field(factory=list)
    values: list[Value] = field(factory=list)

    @property
    def spot(self) -> Spot:
        """Where the first word goes."""
        return self.stretches[0].spot

    def word(self, number: int) -> int | None:
        """Return one of the words, or None where room is only reserved."""
        if isinstance(self.content, Reserved):
            return None
        return self.words[0] if isinstance(self.content, Filled) else self.words[number]


@frozen(eq=False)
class Row:
    """A line of the listing: the source line and what it put into memory."""

    line: SourceLine
    item: Item | None
