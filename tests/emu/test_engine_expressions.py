"""Every operator and function of the language as generated text, against its value by ``emu.words``."""

from itertools import product

import pytest

from emu.behaviour import tree
from emu.behaviour.functions import FUNCTIONS, evaluate, evaluate_binary, evaluate_unary
from emu.engine import compiled, wordops
from emu.engine.expressions import ExpressionText
from emu.words import ARITHMETICS, WordFormat

BINARY = (
    "add",
    "sub",
    "and",
    "or",
    "xor",
    "shift-left",
    "shift-right",
    "equal",
    "unequal",
    "below",
    "not-above",
    "above",
    "not-below",
)
PLAIN = {n: f for n, f in vars(wordops).items() if callable(f)} | {"ctpop": int.bit_count}


class Names:
    """Writes lines into a list; operands are Python names."""

    def __init__(self):
        self.lines, self.count = [], 0

    def line(self, text):
        self.lines.append(text)

    def name(self):
        self.count += 1
        return f"t{self.count}"

    def operand(self, letter):
        return letter


def function_of(node, word, given):
    """Return a Python function of a, b and c that computes the generated text of a node."""
    names = Names()
    text = ExpressionText(names, word.bits, word.arithmetic)
    result = text.value(node)
    body = "\n".join(f"    {line}" for line in [*names.lines, f"return {result}"])
    space = dict(given)
    exec(f"def f(a, b, c):\n{body}\n", space)
    return space["f"]


def calls(width):  # noqa: C901 - a table of cases
    """Yield (name, arguments' widths, width of the result) for every function."""
    w = width
    one = {"widen": w + 2, "extend": w + 3, "low": max(1, w - 1)}
    for name in FUNCTIONS:
        if name == "bits":
            continue
        if name in one:
            yield name, (w,), one[name]
            yield name, (w,), w
        elif name in {"negative", "zero", "parity", "count_ones"}:
            yield name, (w,), 7 if name == "count_ones" else 1
        elif name in {"arith_right", "rotate_left", "rotate_right"}:
            yield name, (w, 3), w
        elif name == "part":
            yield name, (w, 3), 2
        elif name == "patch":
            yield name, (w, 3, 2), w
        elif name == "pick":
            yield name, (1, w, w), w
        elif name == "add_with":
            yield name, (w, w, 1), w
        elif name in {"join", "signed_product"}:
            if 2 * w <= 62 and (w > 1 or name == "join"):
                yield name, (w, w), 2 * w
        elif name in {"borrow", "overflow", "underflow", "less", "same"}:
            yield name, (w, w), 1
        elif name == "carry":
            yield name, (w, w), 1
            yield name, (w, w, 1), 1
        else:
            yield name, (w, w), w


def operands(widths):
    return tuple(tree.Operand(letter, w) for letter, w in zip("abc", widths, strict=False))


def edges(width):
    full = (1 << width) - 1
    return sorted(
        {0, 1, full, full - 1 if full else 0, full >> 1, (full >> 1) + 1 & full, 0x2AAAAAAAAAAAAAAA & full}
    )


@pytest.mark.parametrize("arithmetic", ARITHMETICS)
@pytest.mark.parametrize("width", [1, 2, 4])
def test_functions_for_all_values_of_small_widths(arithmetic, width) -> None:
    word = WordFormat(width, arithmetic)
    for name, widths, result in calls(width):
        generated = function_of(tree.Call(name, operands(widths), result), word, PLAIN)
        for values in product(*(range(1 << w) for w in widths)):
            wanted = evaluate(name, values, widths, result, arithmetic)
            assert generated(*values, *[0] * (3 - len(values))) == wanted, (name, values)


@pytest.mark.parametrize("arithmetic", ARITHMETICS)
@pytest.mark.parametrize("width", [1, 3, 4, 62])
def test_operators(arithmetic, width) -> None:
    for word in (WordFormat(width, arithmetic), WordFormat(width + 1, arithmetic)):
        for op in BINARY:
            widths = (width, 4) if op.startswith("shift") else (width, width)
            generated = function_of(tree.Binary(op, *operands(widths), width), word, PLAIN)
            for a, b in product(edges(width), edges(widths[1])):
                assert generated(a, b, 0) == evaluate_binary(op, a, b, width, word), (op, a, b)
        for op in ("invert", "negate"):
            generated = function_of(tree.Unary(op, *operands((width,)), width), word, PLAIN)
            for a in edges(width):
                assert generated(a, 0, 0) == evaluate_unary(op, a, width, word)


@pytest.mark.slow
@pytest.mark.parametrize("arithmetic", ARITHMETICS)
def test_compiled_at_the_widest(arithmetic) -> None:
    numba = pytest.importorskip("numba")

    natives = compiled._natives()
    given = {n: natives["inner"](f) for n, f in vars(wordops).items() if callable(f)} | {
        "ctpop": natives["ctpop"]
    }
    for width in (31, 59):
        word = WordFormat(width, arithmetic)
        for name, widths, result in calls(width):
            generated = numba.njit(
                function_of(tree.Call(name, operands(widths), result), word, given), error_model="numpy"
            )
            for values in product(*(edges(w) for w in widths)):
                wanted = evaluate(name, values, widths, result, arithmetic)
                assert generated(*values, *[0] * (3 - len(values))) == wanted, (name, width, values)
