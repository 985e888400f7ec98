"""The directives: where words go, words and text, names, other files."""

from collections.abc import Callable
from typing import Final, Protocol

from attrs import frozen

from emu.assemble.expression import Operand, read_operand
from emu.assemble.layout import Layout, Spot, digits
from emu.assemble.lines import LineError, Span, hint_of
from emu.assemble.statements import Content, Filled, Listed, Ready, Reserved
from emu.assemble.tokens import Reader, Token, quoted_value
from emu.errors import declare
from emu.words import mask

UNKNOWN_DIRECTIVE: Final = declare(
    "asm-unknown-directive",
    "A word that begins with a dot is one of the directives.",
    "Look the directive up in docs/reference/assembler.md.",
    "; machine: dunlin\n.words 1\n",
    "program",
)
BAD_COUNT: Final = declare(
    "asm-bad-count",
    "A count of words is 0 or more, a boundary to align to 1 or more.",
    "Look at the value of the names used in it.",
    "; machine: dunlin\n.reserve -1\n",
    "program",
)
TEXT_DOES_NOT_FIT: Final = declare(
    "asm-text-does-not-fit",
    "A character of .text fits its word, or 8 bits where several share a word.",
    "Use characters of ASCII; pack text only where words have 8 bits or more.",
    '; machine: dunlin\n.text "tide \u2192 high"\n',
    "program",
)
START_TWICE: Final = declare(
    "asm-start-twice",
    "A program starts at one place.",
    "Take one of the .start lines out.",
    "; machine: dunlin\n.start 0\n.start 1\n",
    "program",
)


class Pass(Protocol):
    """What a directive may do to the assembly."""

    layout: Layout
    banks: dict[int, int]

    def now(self, operand: Operand) -> int:
        """Return the value of an expression that must be known already."""
        ...

    def spot_now(self) -> Spot:
        """Return the place of the next word; raises if there is none."""
        ...

    def move(self, spot: Spot) -> None:
        """Let the next word go there."""
        ...

    def put(self, count: int, content: Content) -> None:
        """Place that many words here."""
        ...

    def change_bank(self, bank: int) -> None:
        """Let banked windows show another bank."""
        ...

    def name(self, token: Token, operand: Operand) -> None:
        """Define a constant."""
        ...

    def start_at(self, operand: Operand) -> None:
        """Let the program start there."""
        ...

    def begin_if(self, operand: Operand) -> None:
        """Read the lines up to ``.else`` or ``.end`` only if the value is not 0."""
        ...

    def otherwise(self) -> None:
        """Read the lines up to ``.end`` only if those above were left out."""
        ...

    def end_if(self) -> None:
        """Read on in any case."""
        ...

    def include(self, token: Token, file: str) -> None:
        """Read another file here."""
        ...


@frozen
class Directive:
    """A directive: how it is written, what it does in words, and what it does."""

    usage: str
    doc: str
    run: Callable[[Pass, Reader], None]


def _operand(state: Pass, reader: Reader) -> Operand:
    reader.nodes = 0
    return read_operand(reader, state.layout.base)


def _last(state: Pass, reader: Reader) -> Operand:
    operand = _operand(state, reader)
    reader.finish()
    return operand


def _count(state: Pass, operand: Operand, least: int) -> int:
    value = state.now(operand)
    if value < least:
        given = digits(value, state.layout.base)
        raise LineError(BAD_COUNT, f"this number is {least} or more, got {given}", operand.span)
    return value


def _spanned(operand: Operand, problem: LineError) -> LineError:
    problem.span = operand.span
    return problem


def _at(state: Pass, reader: Reader) -> None:
    operand = _last(state, reader)
    address = state.now(operand)
    try:
        state.move(state.layout.spot_at(address, state.banks))
    except LineError as problem:
        raise _spanned(operand, problem) from None


def _in(state: Pass, reader: Reader) -> None:
    start = reader.at
    while not reader.done and reader.now.text != ",":
        reader.take()
    span = reader.span_from(start)
    name = "".join(token.text for token in reader.tokens[start : reader.at])
    reader.expect(",", "the store")
    operand = _last(state, reader)
    index = state.now(operand)
    names = [store.name for store in state.layout.machine.stores]
    try:
        state.move(state.layout.spot_in(name, index))
    except LineError as problem:
        problem.span = operand.span if name in names else span
        raise


def _bank(state: Pass, reader: Reader) -> None:
    operand = _last(state, reader)
    bank = state.now(operand)
    try:
        state.layout.check_bank(bank)
    except LineError as problem:
        raise _spanned(operand, problem) from None
    state.change_bank(bank)


def _word(state: Pass, reader: Reader) -> None:
    operands = [_operand(state, reader)]
    while reader.mark(","):
        operands.append(_operand(state, reader))
    reader.finish()
    state.put(len(operands), Listed(operands))


def _reserve(state: Pass, reader: Reader) -> None:
    state.put(_count(state, _last(state, reader), 0), Reserved())


def _fill(state: Pass, reader: Reader) -> None:
    number = _operand(state, reader)
    reader.expect(",", "the number of words")
    value = _last(state, reader)
    state.put(_count(state, number, 0), Filled(value))


def _let(state: Pass, reader: Reader) -> None:
    token = reader.now
    if token.kind != "name":
        reader.refuse(f"the name of the constant stands here, got {token.shown}")
    reader.take()
    reader.expect("=", "the name")
    state.name(token, _last(state, reader))


def _align(state: Pass, reader: Reader) -> None:
    boundary = _count(state, _last(state, reader), 1)
    spot = state.spot_now()
    unit = state.layout.machine.windows[spot.window].unit if spot.window >= 0 else 1
    place = spot.address if spot.window >= 0 else spot.index
    missing = -place % boundary
    if missing % unit:
        missing = -place % (boundary * unit)
    state.move(state.layout.stretches(spot, missing // unit)[1])


def _quoted(reader: Reader, what: str) -> Token:
    if reader.now.kind != "text":
        reader.refuse(f'{what} stands here between two ", got {reader.now.shown}')
    return reader.take()


def _text(state: Pass, reader: Reader) -> None:
    token = _quoted(reader, "the text")
    order = ""
    if reader.mark(","):
        if reader.now.text not in {"high", "low"}:
            reader.refuse(f"high or low stands after the text, got {reader.now.shown}")
        order = reader.take().text
    reader.finish()
    words = pack_text(token, quoted_value(token), state.layout.machine.word.bits, order)
    state.put(len(words), Ready(words))


def pack_text(token: Token, text: str, bits: int, order: str) -> tuple[int, ...]:
    """Return the words of a text: one character each, or as many of 8 bits as a word holds.

    ``order`` "high": the first character in the highest of the bits used; "low": in the lowest; "": one
    character a word. Words are filled up with zeros.
    """
    each = bits // 8 if order else 1
    limit = mask(8) if order else mask(bits)
    if not each:
        message = f"words of 8 bits or more hold packed characters, got words of {bits} bits"
        raise LineError(TEXT_DOES_NOT_FIT, message, token.span)
    for letter in text:
        if ord(letter) > limit:
            place = Span(token.column + max(token.text.find(letter), 0))
            message = (
                f"a character here has a code of at most {limit}, got {letter!r} with {ord(letter)} (decimal)"
            )
            raise LineError(TEXT_DOES_NOT_FIT, message, place)
    return tuple(_packed(text[place : place + each], each, order) for place in range(0, len(text), each))


def _packed(letters: str, each: int, order: str) -> int:
    codes = [ord(letter) for letter in letters.ljust(each, "\0")]
    if order == "high":
        codes.reverse()
    return sum(code << 8 * place for place, code in enumerate(codes))


def _start(state: Pass, reader: Reader) -> None:
    state.start_at(_last(state, reader))


def _if(state: Pass, reader: Reader) -> None:
    state.begin_if(_last(state, reader))


def _else(state: Pass, reader: Reader) -> None:
    state.otherwise()
    reader.finish()


def _end(state: Pass, reader: Reader) -> None:
    state.end_if()
    reader.finish()


def _include(state: Pass, reader: Reader) -> None:
    token = _quoted(reader, "the name of the file")
    reader.finish()
    state.include(token, quoted_value(token))


DIRECTIVES: Final = {
    ".at": Directive(".at ADDRESS", "The words that follow go to this program address.", _at),
    ".in": Directive(".in STORE, WORD", "The words that follow go to this word of a store.", _in),
    ".bank": Directive(".bank NUMBER", "The .at lines that follow mean this bank in banked windows.", _bank),
    ".word": Directive(".word VALUE, VALUE, …", "Words with these values.", _word),
    ".reserve": Directive(".reserve COUNT", "Room for so many words; nothing is put there.", _reserve),
    ".fill": Directive(".fill COUNT, VALUE", "So many words with the same value.", _fill),
    ".let": Directive(".let NAME = VALUE", "A name for a number.", _let),
    ".text": Directive(
        '.text "TEXT" or .text "TEXT", high or .text "TEXT", low', "Characters, one a word or packed.", _text
    ),
    ".align": Directive(".align NUMBER", "Go on to the next multiple of this address.", _align),
    ".if": Directive(".if VALUE", "The lines up to .else or .end count only if the value is not 0.", _if),
    ".else": Directive(".else", "The lines up to .end count only if those above do not.", _else),
    ".end": Directive(".end", "The end of an .if.", _end),
    ".include": Directive('.include "FILE"', "Read another file here.", _include),
    ".start": Directive(".start ADDRESS", "The program begins at this address.", _start),
}


def find_directive(head: Token) -> Directive:
    """Return a directive by its word."""
    if head.text not in DIRECTIVES:
        message = f"a word with a dot is a directive, got {head.text!r}"
        raise LineError(UNKNOWN_DIRECTIVE, message, head.span, hint=hint_of(head.text, DIRECTIVES))
    return DIRECTIVES[head.text]
