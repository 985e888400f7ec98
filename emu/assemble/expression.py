"""Expressions: whole numbers only, exact, with the precedence of C; a result that is too large is an error.

From loosest to tightest: ``|``, ``^``, ``&``, ``<< >>``, ``+ -``, ``* / %``, then the signs ``- + ~``.
Division is toward zero and the remainder has the sign of the dividend. ``& | ^ ~ >>`` work on bit patterns
and so take numbers from 0 up; ``~`` inverts all bits of a word.
"""

from typing import Final, Protocol

from attrs import frozen

from emu.assemble.lines import LineError, Span
from emu.assemble.tokens import EXPECTED, Reader, Token, number_value, quoted_value
from emu.errors import declare
from emu.words import Base, WordFormat, from_signed, mask, signed_range

NODE_LIMIT: Final = 100
VALUE_LIMIT: Final = 1 << 64
HERE: Final = "here"
FUNCTIONS: Final = ("bank", "index", "pattern")

TOO_LONG: Final = declare(
    "asm-too-long",
    f"An expression has at most {NODE_LIMIT} numbers, names, signs and brackets.",
    "Give parts of it names with .let.",
    "; machine: dunlin\n.word " + "-" * (NODE_LIMIT + 1) + "1\n",
    "program",
)
TOO_LARGE: Final = declare(
    "asm-too-large",
    "Every value in an expression, between the steps too, is less than 2**64 in size.",
    "Reorder the expression; no machine word is as large.",
    "; machine: dunlin\n.word 0x100000000 * 0x100000000\n",
    "program",
)
BY_ZERO: Final = declare(
    "asm-by-zero",
    "The right side of / and % is not zero.",
    "Look at the value of the name on the right side in the symbol table.",
    "; machine: dunlin\n.word 1 / 0\n",
    "program",
)
NOT_BITS: Final = declare(
    "asm-not-bits",
    "The operators & | ^ ~ << >> work on numbers that have bits and on amounts that make sense.",
    "Write pattern(-1) for the word that holds a negative number.",
    "; machine: dunlin\n.word -1 & 7\n",
    "program",
)

_LEVELS: Final = {
    "|": 1, "^": 2, "&": 3, "<<": 4, ">>": 4, "+": 5, "-": 5, "*": 6, "/": 6, "%": 6,
}  # fmt: skip


@frozen
class Number:
    """A number or a character."""

    value: int
    span: Span


@frozen
class Name:
    """A label or a constant."""

    text: str
    span: Span


@frozen
class Here:
    """The address of the first word of the line."""

    span: Span


@frozen
class Signed:
    """A sign before a value: ``-``, ``+`` or ``~``."""

    sign: str
    operand: "Expression"
    span: Span


@frozen
class Joined:
    """Two values and the operator between them; the span is the operator's."""

    operator: str
    left: "Expression"
    right: "Expression"
    span: Span


@frozen
class Applied:
    """``bank(label)``, ``index(label)`` or ``pattern(value)``."""

    function: str
    argument: "Expression"
    span: Span


Expression = Number | Name | Here | Signed | Joined | Applied


@frozen
class Operand:
    """An expression of a statement and the part of the line that it takes."""

    expression: Expression
    span: Span

    @property
    def minus_zero(self) -> bool:
        """Whether it is exactly ``-0``, the second zero of machines that have two."""
        sign = self.expression
        return (
            isinstance(sign, Signed)
            and sign.sign == "-"
            and isinstance(sign.operand, Number)
            and not sign.operand.value
        )


class Scope(Protocol):
    """What an expression may ask of its surroundings."""

    @property
    def word(self) -> WordFormat:
        """The machine's word."""
        ...

    def value(self, name: Name) -> int:
        """Return the value of a name."""
        ...

    def bank(self, name: Name) -> int:
        """Return the bank of a label."""
        ...

    def index(self, name: Name) -> int:
        """Return the word of its store that a label stands for."""
        ...

    def here(self, span: Span) -> int:
        """Return the address of the line."""
        ...


def read_operand(reader: Reader, base: Base) -> Operand:
    """Read one expression."""
    start = reader.at
    expression = _read(reader, base, 1)
    return Operand(expression, reader.span_from(start))


def _read(reader: Reader, base: Base, level: int) -> Expression:
    left = _read_signed(reader, base)
    while reader.now.kind == "mark":
        binding = _LEVELS.get(reader.now.text, 0)
        if binding < level or reader.now.text == reader.stop:
            break
        operator = reader.take()
        right = _read(reader, base, binding + 1)
        left = Joined(operator.text, left, right, operator.span)
    return left


def _read_signed(reader: Reader, base: Base) -> Expression:
    reader.nodes += 1
    if reader.nodes > NODE_LIMIT:
        raise LineError(TOO_LONG, f"an expression has at most {NODE_LIMIT} parts, got more", reader.now.span)
    token = reader.now
    if token.kind == "mark" and token.text in "-+~":
        reader.take()
        return Signed(token.text, _read_signed(reader, base), token.span)
    return _read_value(reader, base)


def _read_value(reader: Reader, base: Base) -> Expression:
    token = reader.take()
    if token.kind == "number":
        return Number(number_value(token, base), token.span)
    if token.kind == "char":
        return Number(ord(quoted_value(token)), token.span)
    if token.kind == "name":
        return _read_name(reader, base, token)
    if token.kind == "mark" and token.text == "(":
        return _read_inside(reader, base)
    raise LineError(
        EXPECTED, f"a value stands here, got {token.shown}", token.span, hint=f"the form is: {reader.usage}"
    )


def _read_name(reader: Reader, base: Base, token: Token) -> Expression:
    if token.text == HERE:
        return Here(token.span)
    if token.text not in FUNCTIONS:
        return Name(token.text, token.span)
    reader.expect("(", token.text)
    argument = _read_inside(reader, base)
    if token.text != "pattern" and not isinstance(argument, Name):
        message = f"{token.text}() takes the name of a label, got something else"
        raise LineError(EXPECTED, message, token.span, hint=f"write {token.text}(LABEL)")
    return Applied(token.text, argument, token.span)


def _read_inside(reader: Reader, base: Base) -> Expression:
    """Read what stands in brackets; no mark of the form ends it there."""
    stop, reader.stop = reader.stop, ""
    inside = _read(reader, base, 1)
    reader.stop = stop
    _close(reader)
    return inside


def _close(reader: Reader) -> None:
    if not reader.mark(")"):
        raise LineError(
            EXPECTED,
            f"a bracket that was opened is closed by ')', got {reader.now.shown}",
            reader.now.span,
            hint=f"the form is: {reader.usage}",
        )


def evaluate(expression: Expression, scope: Scope) -> int:
    """Return the value; :class:`LineError` where a rule is broken."""
    value = _evaluate(expression, scope)
    if abs(value) >= VALUE_LIMIT:
        raise LineError(TOO_LARGE, "a value is less than 2**64 in size, got a larger one", expression.span)
    return value


def _evaluate(expression: Expression, scope: Scope) -> int:
    match expression:
        case Number(value=value):
            return value
        case Name():
            return scope.value(expression)
        case Here(span=span):
            return scope.here(span)
        case Signed():
            return _sign(expression, evaluate(expression.operand, scope), scope.word)
        case Joined():
            left, right = evaluate(expression.left, scope), evaluate(expression.right, scope)
            return _join(expression, left, right)
        case Applied():
            return _apply(expression, scope)


def _apply(expression: Applied, scope: Scope) -> int:
    if isinstance(expression.argument, Name) and expression.function != "pattern":
        asked = scope.bank if expression.function == "bank" else scope.index
        return asked(expression.argument)
    value = evaluate(expression.argument, scope)
    return word_pattern(value, scope.word, expression.span)


def word_pattern(value: int, word: WordFormat, span: Span) -> int:
    """Return the bit pattern of a number in a word; :class:`LineError` if it does not fit."""
    low, high = signed_range(word.bits, word.arithmetic)[0], mask(word.bits)
    if not low <= value <= high:
        message = f"a word of {word.bits} bits holds {low} to {high}, got {value} (decimal)"
        raise LineError(DOES_NOT_FIT, message, span)
    return value if value >= 0 else from_signed(value, word.bits, word.arithmetic)


DOES_NOT_FIT: Final = declare(
    "asm-does-not-fit",
    "A value fits the word or the field it is put in; nothing is cut off silently.",
    "Use a smaller value, or take the part that is meant with & and >>.",
    "; machine: dunlin\n.word 0o10000\n",
    "program",
)


def _sign(expression: Signed, value: int, word: WordFormat) -> int:
    if expression.sign == "-":
        return -value
    if expression.sign == "+":
        return value
    if not 0 <= value <= mask(word.bits):
        message = f"~ inverts the bits of a word, 0 to {mask(word.bits)}, got {value} (decimal)"
        raise LineError(NOT_BITS, message, expression.span, hint=_as_pattern(value))
    return value ^ mask(word.bits)


def _as_pattern(value: int) -> str:
    return "pattern(…) gives the word that holds a negative number" if value < 0 else ""


def _join(expression: Joined, left: int, right: int) -> int:
    match expression.operator:
        case "+":
            return left + right
        case "-":
            return left - right
        case "*":
            return left * right
        case "/" | "%":
            return _divide(expression, left, right)
        case "<<" | ">>":
            return _shift(expression, left, right)
        case _:
            return _combine(expression, left, right)


def _divide(expression: Joined, left: int, right: int) -> int:
    if not right:
        raise LineError(
            BY_ZERO, f"the right side of {expression.operator} is not zero, got 0", expression.span
        )
    size = abs(left) // abs(right)
    quotient = -size if (left < 0) != (right < 0) else size
    return quotient if expression.operator == "/" else left - right * quotient


def _shift(expression: Joined, left: int, right: int) -> int:
    if not 0 <= right < 64:
        message = f"the amount of a shift is 0 to 63, got {right} (decimal)"
        raise LineError(NOT_BITS, message, expression.span)
    if expression.operator == "<<":
        return left << right
    _need_bits(expression, left)
    return left >> right


def _combine(expression: Joined, left: int, right: int) -> int:
    _need_bits(expression, left)
    _need_bits(expression, right)
    if expression.operator == "&":
        return left & right
    return left | right if expression.operator == "|" else left ^ right


def _need_bits(expression: Joined, value: int) -> None:
    if value < 0:
        message = f"{expression.operator} works on numbers from 0 up, got {value} (decimal)"
        raise LineError(NOT_BITS, message, expression.span, hint=_as_pattern(value))


def names_of(expression: Expression) -> list[Name]:
    """Return every name in an expression, left to right."""
    match expression:
        case Name():
            return [expression]
        case Signed():
            return names_of(expression.operand)
        case Joined():
            return names_of(expression.left) + names_of(expression.right)
        case Applied():
            return names_of(expression.argument)
        case _:
            return []


def anchor_of(expression: Expression) -> Name | None:
    """Return the one name that an address is counted from (``table``, ``table + 3``), or None."""
    if isinstance(expression, Name):
        return expression
    if isinstance(expression, Joined) and expression.operator in "+-":
        if not names_of(expression.right):
            return anchor_of(expression.left)
        if expression.operator == "+" and not names_of(expression.left):
            return anchor_of(expression.right)
    return None
