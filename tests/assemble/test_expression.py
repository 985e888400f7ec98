"""Expressions against Python's own arithmetic, and every stated rule of numbers in source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.assemble.expression import anchor_of, evaluate, names_of, read_operand
from emu.assemble.lines import LineError
from emu.assemble.tokens import Reader, tokenize
from emu.words import WordFormat

WORD = WordFormat(16, "ones", 8)
NAMES = {"table": 0o1234, "size": 7, "minus": -3}


class Fixed:
    """A scope with a few fixed names."""

    word = WORD

    def value(self, name):
        return NAMES[name.text]

    def bank(self, name):
        return 3

    def index(self, name):
        return 99

    def here(self, span):
        return 0o400


def read(text, base=8):
    reader = Reader(tokenize(text), "VALUE")
    operand = read_operand(reader, base)
    reader.finish()
    return operand


def value(text, base=8):
    return evaluate(read(text, base).expression, Fixed())


class Toward:
    """Python integers with division toward zero, so that Python's own parser and precedence are the oracle."""

    def __init__(self, number):
        self.number = number

    def __repr__(self):
        return f"Toward({self.number})"


def _lift(operation):
    def method(self, other):
        result = operation(self.number, other.number)
        if abs(result) >= 1 << 64:
            raise OverflowError
        return Toward(result)

    return method


def _bits(operation):
    def checked(a, b):
        if a < 0 or b < 0:
            raise ValueError
        return operation(a, b)

    return _lift(checked)


def _quotient(a, b):
    sign = -1 if (a < 0) != (b < 0) else 1
    return sign * (abs(a) // abs(b))


def _shift(a, b, left):
    if not 0 <= b < 64 or (not left and a < 0):
        raise ValueError
    return a << b if left else a >> b


Toward.__add__ = _lift(lambda a, b: a + b)
Toward.__sub__ = _lift(lambda a, b: a - b)
Toward.__mul__ = _lift(lambda a, b: a * b)
Toward.__truediv__ = _lift(_quotient)
Toward.__mod__ = _lift(lambda a, b: a - b * _quotient(a, b))
Toward.__and__ = _bits(lambda a, b: a & b)
Toward.__or__ = _bits(lambda a, b: a | b)
Toward.__xor__ = _bits(lambda a, b: a ^ b)
Toward.__lshift__ = _lift(lambda a, b: _shift(a, b, True))
Toward.__rshift__ = _lift(lambda a, b: _shift(a, b, False))
Toward.__neg__ = lambda self: Toward(-self.number)
Toward.__pos__ = lambda self: self


def _invert(self):
    if not 0 <= self.number < 1 << 16:
        raise ValueError
    return Toward(self.number ^ 0xFFFF)


Toward.__invert__ = _invert

# (text for the assembler, text for Python); Python's precedence of these operators is that of C.
leaves = st.one_of(
    st.integers(0, 70000).map(lambda n: (f"0d{n}", f"Toward({n})")),
    st.integers(0, 500).map(lambda n: (f"{n:o}", f"Toward({n})")),
    st.integers(0, 500).map(lambda n: (f"0x{n:X}", f"Toward({n})")),
    st.sampled_from(sorted(NAMES)).map(lambda n: (n, f"Toward({NAMES[n]})")),
    st.just(("here", "Toward(256)")),
)


def _extend(inner):
    operators = st.sampled_from(["+", "-", "*", "/", "%", "<<", ">>", "&", "|", "^"])
    return st.one_of(
        st.tuples(inner, operators, inner).map(
            lambda t: tuple(f"{t[0][i]} {t[1]} {t[2][i]}" for i in (0, 1))
        ),
        st.tuples(inner, operators, inner).map(
            lambda t: tuple(f"({t[0][i]}{t[1]}{t[2][i]})" for i in (0, 1))
        ),
        st.tuples(st.sampled_from("-+~"), inner).map(lambda t: tuple(f"{t[0]}({t[1][i]})" for i in (0, 1))),
        st.tuples(st.sampled_from("-+~"), leaves).map(lambda t: tuple(f"{t[0]}{t[1][i]}" for i in (0, 1))),
    )


@given(st.recursive(leaves, _extend, max_leaves=12))
def test_value_is_pythons(texts):
    ours, pythons = texts
    try:
        expected = eval(pythons).number
    except (ZeroDivisionError, ValueError, OverflowError):
        with pytest.raises(LineError):
            value(ours)
        return
    assert value(ours) == expected


# Precedence of C: ISO/IEC 9899, 6.5.5 to 6.5.12 (from memory); each line's value differs under any other order.
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1 + 2 * 3", 7), ("1 << 2 + 1", 8), ("6 & 3 << 1", 6), ("1 | 6 ^ 3 & 2", 1 | (6 ^ (3 & 2))),
        ("10 - 3 - 2", 3), ("100 / 4 / 2", 8), ("-7 / 2", -3), ("-7 % 2", -1), ("7 % -2", 1), ("7 / -2", -3),
        ("- - 5", 5), ("-2 + 3", 1), ("~0", 0xFFFF), ("~1 & 7", 6), ("1 >> 0d63", 0), ("-1 << 3", -8),
        ("pattern(-1)", 0xFFFE), ("pattern(-1) & 7", 6), ("bank(table)", 3), ("index(table)", 99),
    ],
)  # fmt: skip
def test_worked_examples(text, expected):
    assert value(text) == expected


@pytest.mark.parametrize(
    ("text", "base", "expected"),
    [
        ("17", 8, 0o17), ("17", 10, 17), ("17", 16, 0x17), ("101", 2, 5), ("0ff", 16, 255), ("0FF", 16, 255),
        ("0o17", 16, 0o17), ("0x1F", 8, 0x1F), ("0b101", 8, 5), ("0d19", 8, 19), ("0b_101", 16, 5),
        ("0d_19", 16, 19), ("0x_1_0", 8, 16), ("1_000", 10, 1000), ("0O17", 8, 0o17), ("'A'", 8, 65),
        ("'\\n'", 8, 10), ("'\\''", 8, 39), ("'\"'", 8, 34), ("'\\\\'", 8, 92), ("';'", 8, 59), ("' '", 8, 32),
    ],
)  # fmt: skip
def test_constants(text, base, expected):
    assert value(text, base) == expected


@given(st.integers(0, (1 << 64) - 1), st.sampled_from([2, 8, 10, 16]))
def test_every_number_in_every_base(number, base):
    digits = {2: f"{number:b}", 8: f"{number:o}", 10: str(number), 16: f"0{number:x}"}[base]
    if not digits.startswith(("0b", "0d")):
        assert value(digits, base) == number
    for text in (f"0b_{number:b}", f"0o{number:o}", f"0d_{number}", f"0x{number:x}"):
        assert value(text, base) == number


@pytest.mark.parametrize("text", ["-0", "-00", "-0x0", "- 0"])
def test_minus_zero_is_told_from_zero(text):
    assert read(text).minus_zero
    assert value(text) == 0


@pytest.mark.parametrize("text", ["0", "+0", "--0", "-0 + 0", "0 - 0", "-1", "-size"])
def test_nothing_else_is_minus_zero(text):
    assert not read(text).minus_zero


def test_names_and_the_label_that_an_address_is_counted_from():
    assert [name.text for name in names_of(read("table + size * bank(minus)").expression)] == [
        "table",
        "size",
        "minus",
    ]
    assert anchor_of(read("table").expression).text == "table"
    assert anchor_of(read("table + 3 - 1").expression).text == "table"
    assert anchor_of(read("3 + table").expression).text == "table"
    for text in ("3 - table", "table * 2", "table - size", "5"):
        assert anchor_of(read(text).expression) is None


def test_long_and_deep_expressions_are_refused_not_crashed_on():
    for text in (
        "(" * 3000 + "1" + ")" * 3000,
        "+".join("1" * 3000),
        "-" * 3000 + "1",
        "pattern(" * 101 + "1",
    ):
        with pytest.raises(LineError):
            value(text)
    assert value("+".join("1" * 100)) == 100
    assert value("pattern(" * 99 + "1" + ")" * 99) == 1


@pytest.mark.parametrize("text", ["0d" + "9" * 10_000, "7" * 10_000, "0x" + "f" * 10_000])
def test_a_number_of_many_digits_is_refused(text):
    with pytest.raises(LineError):
        value(text)
