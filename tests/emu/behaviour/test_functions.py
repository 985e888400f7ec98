"""What functions and operators compute, against plain integers and stated cases."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.behaviour.functions import FUNCTIONS, documentation, evaluate, evaluate_binary, evaluate_unary
from emu.words import WordFormat

PAGE = Path(__file__).parents[3] / "docs" / "reference" / "behaviour.md"
ARITHMETICS = ("twos", "ones", "sign-magnitude")
WIDTHS = st.integers(1, 62)


def test_the_reference_page_holds_the_table():
    assert documentation() in PAGE.read_text(encoding="utf-8")


def f(name, *args, width=8, result=None, arithmetic="twos"):
    return evaluate(name, args, [width] * len(args), width if result is None else result, arithmetic)


@pytest.mark.parametrize(
    ("got", "right"),
    [
        (evaluate("join", [0b101, 0b01], [3, 2], 5, "twos"), 0b10101),
        (f("extend", 0x80, result=12), 0x080),
        (f("widen", 0x80, result=12), 0xF80),
        (f("widen", 0x80, result=12, arithmetic="ones"), 0xF80),
        (f("widen", 0x81, result=12, arithmetic="sign-magnitude"), 0x801),
        (f("low", 0xAB, result=4), 0xB),
        (f("part", 0xAB, 4, result=4), 0xA),
        (f("part", 0xAB, 6, result=4), 0b10),
        (f("part", 0xAB, 8, result=4), 0),
        (evaluate("part", [0xAB, (1 << 62) - 1], [8, 62], 4, "twos"), 0),
        (evaluate("patch", [0xAB, 4, 0xC], [8, 3, 4], 8, "twos"), 0xCB),
        (evaluate("patch", [0xAB, 6, 0xF], [8, 3, 4], 8, "twos"), 0xEB),
        (evaluate("patch", [0xAB, (1 << 62) - 1, 0xF], [8, 62, 4], 8, "twos"), 0xAB),
        (evaluate("pick", [1, 3, 4], [1, 8, 8], 8, "twos"), 3),
        (evaluate("pick", [0, 3, 4], [1, 8, 8], 8, "twos"), 4),
        (evaluate("carry", [0xFF, 0, 1], [8, 8, 1], 1, "ones"), 1),
        (f("borrow", 3, 4, result=1), 1),
        # Both zeros are equal as signed numbers.
        (f("same", 0x00, 0xFF, result=1, arithmetic="ones"), 1),
        (f("same", 0x00, 0xFF, result=1), 0),
        (f("less", 0xFF, 0x00, result=1, arithmetic="ones"), 0),
        (f("less", 0xFF, 0x00, result=1), 1),
        (f("less", 0x80, 0x00, result=1, arithmetic="sign-magnitude"), 0),
        (f("zero", 0xFF, result=1, arithmetic="ones"), 1),
        (f("zero", 0x80, result=1, arithmetic="sign-magnitude"), 1),
        (f("zero", 0x80, result=1), 0),
        (f("negative", 0x80, result=1), 1),
        # Shifts by the width and more; rotation modulo the width.
        (f("arith_right", 0x80, 9), 0xFF),
        (f("arith_right", 0x80, 2), 0xE0),
        (f("rotate_left", 0x81, 9), 0x03),
        (f("rotate_right", 0x81, 9), 0xC0),
        # Division: by zero all ones and the dividend; toward zero; the remainder has the sign of a.
        (f("quotient", 7, 0), 0xFF),
        (f("remainder", 7, 0), 7),
        (f("signed_quotient", 0xF9, 2), 0xFD),
        (f("signed_remainder", 0xF9, 2), 0xFF),
        (f("signed_quotient", 0x80, 0xFF), 0x80),
        (f("signed_remainder", 0x80, 0xFF), 0),
        (f("signed_quotient", 7, 0xFF, arithmetic="ones"), 0xFF),
        (f("signed_remainder", 7, 0xFF, arithmetic="ones"), 7),
        (f("low_product", 0xFF, 0xFF), 0x01),
        (f("count_ones", 0xFF, result=7), 8),
        (f("parity", 0x07, result=1), 1),
    ],
)
def test_stated_cases(got, right):
    assert got == right


@st.composite
def pairs(draw):
    width = draw(WIDTHS)
    value = st.integers(0, (1 << width) - 1)
    return draw(value), draw(value), width, draw(st.sampled_from(ARITHMETICS))


def signed(pattern, width, arithmetic):
    """The value of a pattern, from the definitions of the three arithmetics."""
    if not pattern >> (width - 1):
        return pattern
    return {
        "twos": pattern - (1 << width),
        "ones": pattern - (1 << width) + 1,
        "sign-magnitude": -(pattern - (1 << (width - 1))),
    }[arithmetic]


@given(pairs())
def test_against_integers(case):
    a, b, width, arithmetic = case
    x, y = signed(a, width, arithmetic), signed(b, width, arithmetic)

    def call(name, result):
        return evaluate(name, [a, b], [width, width], result, arithmetic)

    assert call("less", 1) == (x < y)
    assert call("same", 1) == (x == y)
    assert call("borrow", 1) == (a < b)
    assert call("wrap_add", width) == (a + b) % (1 << width)
    assert call("wrap_sub", width) == (a - b) % (1 << width)
    assert call("carry", 1) == (a + b) // (1 << width)
    assert evaluate("add_with", [a, b, 1], [width, width, 1], width, arithmetic) == (a + b + 1) % (1 << width)
    assert call("low_product", width) == a * b % (1 << width)
    limits = range(-(1 << (width - 1)) + (arithmetic != "twos"), 1 << (width - 1))
    assert call("overflow", 1) == (x + y not in limits)
    assert call("underflow", 1) == (x - y not in limits)
    if b:
        assert (call("quotient", width), call("remainder", width)) == divmod(a, b)
    product = call("signed_product", 2 * width)
    assert signed(product, 2 * width, arithmetic) == x * y


@given(pairs(), st.sampled_from(["add", "sub"]))
def test_the_machines_arithmetic_holds_at_the_width_of_the_word_only(case, op):
    a, b, width, arithmetic = case
    other = WordFormat(width + 1, arithmetic)
    plain = (a + b if op == "add" else a - b) % (1 << width)
    assert evaluate_binary(op, a, b, width, other) == plain
    assert evaluate_unary("negate", a, width, other) == -a % (1 << width)
    value = signed(evaluate_binary(op, a, b, width, WordFormat(width, arithmetic)), width, arithmetic)
    exact = signed(a, width, arithmetic) + (1 if op == "add" else -1) * signed(b, width, arithmetic)
    if abs(exact) < 1 << (width - 1):
        assert value == exact


@given(pairs())
def test_operators_against_integers(case):
    a, b, width, arithmetic = case
    word = WordFormat(width, arithmetic)
    ops = {
        "and": a & b, "or": a | b, "xor": a ^ b, "multiply": a * b, "equal": a == b, "unequal": a != b,
        "below": a < b, "not-above": a <= b, "above": a > b, "not-below": a >= b,
        "shift-left": 0 if b >= width else (a << b) % (1 << width), "shift-right": 0 if b >= width else a >> b,
    }  # fmt: skip
    for op, right in ops.items():
        assert evaluate_binary(op, a, b, width, word) == right, op
    assert evaluate_unary("invert", a, width, word) == (1 << width) - 1 - a


@given(st.data())
def test_every_function_gives_a_pattern_of_its_width(data):
    function = data.draw(st.sampled_from(sorted(FUNCTIONS.values(), key=lambda f: f.name)))
    arithmetic = data.draw(st.sampled_from(ARITHMETICS))
    like = data.draw(st.integers(1, 31))
    widths = [
        {"bit": 1, "like": like}.get(role, data.draw(st.integers(1, 31)))
        for role in function.roles
        if role != "size"
    ]
    size = {
        "sum": sum(widths), "one": 1, "seven": 7, "first": widths[1 if function.roles[0] == "bit" else 0],
        "size": widths[0] + 3 if function.size == "at least x" or function.name == "bits" else 1,
    }[function.result]  # fmt: skip
    args = [data.draw(st.integers(0, (1 << w) - 1)) for w in widths]
    assert 0 <= evaluate(function.name, args, widths, size, arithmetic) < 1 << size
