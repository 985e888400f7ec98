"""The words of the behaviour language: numbers, names and symbols, each with its place."""

import re
from collections.abc import Callable
from typing import Final, Literal

from attrs import field, frozen

from emu.errors import Problems, declare
from emu.where import Place, Source

MAX_TEXT: Final = 8_000  # characters of all strings of one `does`
MAX_TEXTS: Final = 200_000  # characters of all behaviours of a machine, so that none takes long to load
MAX_WIDTH: Final = 62  # bits of any value

KEYWORDS: Final = frozenset(
    {"let", "if", "else", "skip", "halt", "rearm", "restart", "alarm", "trap", "and", "or", "not"}
)
RESERVED: Final = KEYWORDS | {"M", "P"}  # names that no register, letter or `let` may have

_PATTERN: Final = re.compile(
    r"(?P<blank>[ \t\r\n]+)"
    r"|(?P<number>[0-9][0-9A-Za-z_]*)"
    r"|(?P<name>[A-Za-z_][A-Za-z0-9_]*)"
    r"|(?P<symbol>==|!=|<=|>=|<<|>>|\.\.|[;={}\[\](),<>+\-*&|^~])"
)
_INSTEAD: Final = {
    "!": "write 'not' for a bit, '~' for a pattern",
    "/": "write quotient(a, b)",
    "%": "write remainder(a, b)",
    "?": "write pick(c, a, b)",
    "#": "comments stand outside the string",
    ":": "bits are written x[high..low]",
    ".": "bits are written x[high..low]",
}


def sample(does: str) -> str:
    """Return a whole small machine whose one instruction does that: the example of an error code."""
    return f"""\
format = "machine/1"
name = "sample"
word = {{ bits = 8, arithmetic = "twos", base = 8, numbering = "lsb0" }}
address = {{ bits = 8 }}
fetch = {{ counter = "pc", start = 0 }}

[[register]]
name = "pc"
bits = 8

[[register]]
name = "acc"
bits = 8

[[store]]
name = "core"
words = 256

[[window]]
first = 0
last = 255
store = "core"

[[instruction]]
name = "go"
bits = "0000 aaaa"
does = ["{does}"]
example = {{ text = "go 1", word = 1 }}
"""


SYNTAX: Final = declare(
    "behaviour-syntax",
    "What an instruction does is written in the grammar of the behaviour language.",
    "Look at the caret, and at the grammar in docs/reference/behaviour.md.",
    sample("acc = acc +"),
    "machine",
)
SIZE: Final = declare(
    "behaviour-size",
    f"The text of one `does` has at most {MAX_TEXT} characters, all of a machine file together have "
    f"{MAX_TEXTS}, and it is nested to a bounded depth.",
    "Divide the instruction, or bind parts of it by `let`.",
    sample("acc = " + "(" * 100 + "acc" + ")" * 100),
    "machine",
)


@frozen
class Text:
    """One string of a `does`. ``locate(offset, length)`` gives the place of a piece of it in the file."""

    text: str
    locate: Callable[[int, int], Place] = field(eq=False)

    @classmethod
    def plain(cls, text: str, file: str = "does") -> "Text":
        """Return a text that is a file of its own, for tests and documents."""
        return cls(text, Source(file, text).place)


@frozen
class Span:
    """A piece of a text, so that a message can point at it."""

    text: Text = field(repr=False)
    offset: int
    length: int = 1

    @property
    def place(self) -> Place:
        """The place in the file."""
        return self.text.locate(self.offset, max(self.length, 1))

    def to(self, end: "Span") -> "Span":
        """Return the span from the start of this to the end of another."""
        return Span(self.text, self.offset, end.offset + end.length - self.offset)


@frozen
class Token:
    """A word of the language; ``value`` is that of a number. A ``wrong`` one has been reported."""

    kind: Literal["number", "name", "symbol", "end", "wrong"]
    text: str
    span: Span
    value: int = 0


def tokenize(text: Text, problems: Problems) -> list[Token]:
    """Return the tokens of a text, the last one of kind ``end``; wrong ones are reported."""
    tokens: list[Token] = []
    at = 0
    while at < len(text.text):
        found = _PATTERN.match(text.text, at)
        if found is None:
            char = text.text[at]
            message = f"a behaviour is made of names, numbers and operators; got {char!r}"
            tokens.append(_wrong(char, Span(text, at), message, problems, _INSTEAD.get(char, "")))
            at += 1
            continue
        at = found.end()
        span = Span(text, found.start(), len(found.group()))
        match found.lastgroup:
            case "number":
                tokens.append(_number(found.group(), span, problems))
            case "name":
                tokens.append(Token("name", found.group(), span))
            case "symbol":
                tokens.append(Token("symbol", found.group(), span))
    tokens.append(Token("end", "the end", Span(text, len(text.text.rstrip()))))
    return tokens


def _wrong(text: str, span: Span, message: str, problems: Problems, hint: str = "") -> Token:
    if not problems.full:
        problems.add(SYNTAX, message, span.place, hint=hint)
    return Token("wrong", text, span)


def _number(digits: str, span: Span, problems: Problems) -> Token:
    try:
        value = int(digits, 0)
    except ValueError:
        message = f"a number is written 12, 0o17, 0x1F or 0b101; got {digits[:40]!r}"
        return _wrong(digits, span, message, problems)
    if value.bit_length() > MAX_WIDTH:
        message = f"a number has at most {MAX_WIDTH} bits; this has {value.bit_length()}"
        return _wrong(digits, span, message, problems)
    return Token("number", digits, span, value)
