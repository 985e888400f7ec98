"""Words of a line: numbers in the machine's base, names, quoted text and marks."""

import re
from typing import Final, Literal

from attrs import define

from emu.assemble.lines import LineError, Span
from emu.errors import declare
from emu.words import BASE_NAMES, Base

Kind = Literal["number", "name", "text", "char", "mark", "end"]

BAD_NUMBER: Final = declare(
    "asm-bad-number",
    "A number is digits of its base, with _ only between digits.",
    "Write digits of the machine's base, or a base of your choice after 0o, 0x, 0b or 0d.",
    "; machine: dunlin\n.word 0x\n",
    "program",
)
BAD_DIGIT: Final = declare(
    "asm-bad-digit",
    "Every digit of a number belongs to its base; plain digits are in the machine's base.",
    "Write a decimal number as 0d19 where the machine's base is not ten.",
    "; machine: dunlin\n.word 19\n",
    "program",
)
AMBIGUOUS: Final = declare(
    "asm-ambiguous-number",
    "Where the machine's base is sixteen, 0b1 and 0d1 could be two numbers each.",
    "Write 0x0b1 for the hexadecimal number, 0b_1 or 0d_1 for the binary or decimal one.",
    "; machine: sandpiper\n.word 0b1\n",
    "program",
)
BAD_CHARACTER: Final = declare(
    "asm-bad-character",
    "A line is made of names, numbers, quoted text and the marks of the language.",
    "Take the character out, or put it behind a ; as a comment.",
    "; machine: dunlin\n.word 1 \u00a7 2\n",
    "program",
)
BAD_TEXT: Final = declare(
    "asm-bad-text",
    "Text stands between two \" and a character between two ', on one line.",
    "Close the quote; write a quote inside as \\\" or \\'.",
    '; machine: dunlin\n.text "open the gate\n',
    "program",
)
BAD_ESCAPE: Final = declare(
    "asm-bad-escape",
    "After a \\ in quoted text stands one of n t r 0 \\ \" '.",
    "Write \\\\ for the \\ itself.",
    '; machine: dunlin\n.text "gate \\q"\n',
    "program",
)
EXPECTED: Final = declare(
    "asm-expected",
    "A statement has the shape that its description shows.",
    "Compare the line with the form in the hint.",
    "; machine: dunlin\n.fill 2 3\n",
    "program",
)

_PREFIXES: Final[dict[str, Base]] = {"0b": 2, "0o": 8, "0x": 16, "0d": 10}
DIGIT_LIMIT: Final = 200
BLANKS: Final = " \t\r\n\v\f"
_DIGITS: Final = "0123456789abcdef"
_SPELT: Final = {2: "0 and 1", 8: "0 to 7", 10: "0 to 9", 16: "0 to 9 and a to f"}
_ESCAPES: Final = {"n": "\n", "t": "\t", "r": "\r", "0": "\0", "\\": "\\", '"': '"', "'": "'"}
_KINDS: Final[dict[str, Kind]] = {
    "number": "number", "name": "name", "text": "text", "char": "char", "mark": "mark",
}  # fmt: skip
_TOKEN: Final = re.compile(
    r"""\s*(?:(?P<space>;.*|$)|(?P<number>[0-9]\w*)|(?P<name>[A-Za-z_]\w*)
    |(?P<text>"(?:[^"\\]|\\.)*")|(?P<char>'(?:[^'\\]|\\.)')|(?P<mark><<|>>|[!#$%&()*+,\-./<=>?@\[\\\]^`{|}~]))""",
    re.ASCII | re.VERBOSE,
)


@define  # not frozen: tens of thousands are made, and a frozen one takes three times as long
class Token:
    """A word of a line. ``text`` is as written; the ``end`` token stands behind the last one."""

    kind: Kind
    text: str
    column: int

    @property
    def span(self) -> Span:
        """The part of the line that the token takes."""
        return Span(self.column, len(self.text))

    @property
    def shown(self) -> str:
        """The token as an error names it."""
        return "the end of the line" if self.kind == "end" else repr(self.text)


def tokenize(text: str, start: int = 0) -> list[Token]:
    """Return the tokens of a line from offset ``start`` on, the ``end`` token last."""
    tokens: list[Token] = []
    place = start
    while True:
        found = _TOKEN.match(text, place)
        if found is None or found.lastgroup is None:
            raise _stray(text, place)
        kind = found.lastgroup
        if kind == "space":
            break
        tokens.append(Token(_KINDS[kind], found.group(kind), found.start(kind) + 1))
        place = found.end()
    end = tokens[-1].column + len(tokens[-1].text) if tokens else start + 1
    tokens.append(Token("end", "", end))
    return tokens


def _stray(text: str, place: int) -> LineError:
    place += len(text[place:]) - len(text[place:].lstrip(BLANKS))
    if text[place] == '"':
        return LineError(BAD_TEXT, 'text ends with a " on the same line, got none', Span(place + 1))
    if text[place] == "'":
        message = "a character stands alone between two ', got " + repr(text[place : place + 3])
        return LineError(BAD_TEXT, message, Span(place + 1), hint="text of several characters needs .text")
    message = f"this character has no meaning outside text and comments, got {text[place]!r}"
    return LineError(BAD_CHARACTER, message, Span(place + 1))


def number_value(token: Token, base: Base) -> int:
    """Return the value of a number token on a machine of that base."""
    low = token.text.lower()
    digits, used = low, base
    if low[:2] in _PREFIXES:
        if base == 16 and low[1] in "bd" and low[2:3] != "_":
            raise _ambiguous(token)
        digits, used = low[2:].removeprefix("_"), _PREFIXES[low[:2]]
    if not digits or digits.endswith("_") or "__" in digits or digits.startswith("_"):
        raise LineError(
            BAD_NUMBER, f"a number has digits, and _ only between digits, got {token.text!r}", token.span
        )
    if len(digits) > DIGIT_LIMIT:
        message = f"a number has at most {DIGIT_LIMIT} digits, got {len(digits)}"
        raise LineError(BAD_NUMBER, message, token.span)
    for offset, digit in enumerate(digits, len(low) - len(digits)):
        if digit != "_" and digit not in _DIGITS[:used]:
            raise _bad_digit(token, offset, used, base)
    return int(digits.replace("_", ""), used)


def _ambiguous(token: Token) -> LineError:
    prefix, rest = token.text[:2], token.text[2:]
    return LineError(
        AMBIGUOUS,
        f"{prefix} may begin a hexadecimal number here or mark another base, got {token.text!r}",
        token.span,
        hint=f"write 0x{token.text} or {prefix}_{rest}",
    )


def _bad_digit(token: Token, offset: int, used: Base, base: Base) -> LineError:
    message = f"{BASE_NAMES[used]} digits are {_SPELT[used]}, got {token.text[offset]!r} in {token.text!r}"
    hint = ""
    if token.text.isdigit() and used == base:
        hint = f"plain digits are {BASE_NAMES[base]} on this machine; decimal {token.text} is 0d{token.text}"
    return LineError(BAD_DIGIT, message, token.span, hint=hint)


def quoted_value(token: Token) -> str:
    """Return what a text or character token spells, its escapes replaced."""
    inside = token.text[1:-1]
    out: list[str] = []
    place = 0
    while place < len(inside):
        letter = inside[place]
        if letter == "\\":
            place += 1
            letter = _escape(token, inside, place)
        out.append(letter)
        place += 1
    return "".join(out)


def _escape(token: Token, inside: str, place: int) -> str:
    if inside[place] not in _ESCAPES:
        message = f"after a \\ stands one of n t r 0 \\ \" ', got {inside[place]!r}"
        raise LineError(BAD_ESCAPE, message, Span(token.column + place, 2))
    return _ESCAPES[inside[place]]


@define
class Reader:
    """Reads the tokens of one statement from left to right. ``usage`` is the form that hints show."""

    tokens: list[Token]
    usage: str
    at: int = 0
    nodes: int = 0
    stop: str = ""  # a mark of the form that ends the expression before it, though it could be an operator

    @property
    def now(self) -> Token:
        """The token to be read next."""
        return self.tokens[self.at]

    @property
    def done(self) -> bool:
        """Whether nothing is left."""
        return self.now.kind == "end"

    def take(self) -> Token:
        """Return the next token and move on (never beyond the end)."""
        token = self.now
        self.at = min(self.at + 1, len(self.tokens) - 1)
        return token

    def mark(self, text: str) -> bool:
        """Take that mark if it is next."""
        if self.now.kind != "mark" or self.now.text != text:
            return False
        self.take()
        return True

    def expect(self, text: str, after: str) -> None:
        """Take that mark, or raise: it must stand here."""
        if not self.mark(text):
            self.refuse(f"{text!r} stands after {after}, got {self.now.shown}")

    def expect_text(self, text: str, after: str) -> None:
        """Take a token that reads exactly so, or raise: it must stand here."""
        if self.now.text != text:
            self.refuse(f"{text!r} stands after {after}, got {self.now.shown}")
        self.take()

    def refuse(self, message: str) -> None:
        """Raise for the token to be read next."""
        raise LineError(EXPECTED, message, self.now.span, hint=f"the form is: {self.usage}")

    def finish(self) -> None:
        """Raise if anything is left."""
        if not self.done:
            self.refuse(f"nothing more stands on this line, got {self.now.shown}")

    def span_from(self, start: int) -> Span:
        """Return the part of the line from token number ``start`` to the last one taken."""
        first, last = self.tokens[start], self.tokens[max(self.at - 1, start)]
        return Span(first.column, last.column + len(last.text) - first.column)
