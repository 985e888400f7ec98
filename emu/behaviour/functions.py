"""The functions and operators of the behaviour language: one table, and their values on Python ints.

The table is what the checker, the walking engine and docs/reference/behaviour.md are held to. A call in
the typed tree keeps only the arguments that are values: a size (``n`` in ``extend(x, n)``) is the width
of the call, so ``Call("extend", (x,), n)``, ``Call("low", (x,), n)``, ``Call("part", (x, at), n)``.
``bits(n, w)`` leaves no call: it becomes ``Const(n, w)``.
"""

from collections.abc import Callable, Sequence
from typing import Final, Literal

from attrs import frozen

from emu import words
from emu.behaviour.tree import BinaryOp, UnaryOp
from emu.words import Arithmetic, WordFormat

Role = Literal[
    "literal",  # a number as written
    "size",  # a literal number of bits; kept as the width of the call
    "value",  # any value
    "like",  # as wide as the other arguments of this role
    "bit",  # 1 bit
    "amount",  # any value; a literal takes the bits it needs
]
Result = Literal["size", "sum", "first", "one", "seven"]
Size = Literal["", "at least x", "at most x"]

# Values and widths of the arguments kept in the tree, width of the result, arithmetic -> pattern.
Compute = Callable[[Sequence[int], Sequence[int], int, Arithmetic], int]


@frozen
class Function:
    """One function. ``optional`` of the ``roles``, counted from the end, may be left out.

    ``variadic``: the last role repeats. ``size`` bounds a size argument by the first argument's width.
    ``form``, ``meaning`` and ``width`` are the three columns of the table in the reference page.
    """

    name: str
    form: str
    meaning: str
    width: str
    roles: tuple[Role, ...]
    result: Result
    compute: Compute
    size: Size = ""
    optional: int = 0
    variadic: bool = False

    def takes(self, count: int) -> bool:
        """Tell whether the function takes so many arguments."""
        most = 1 << 30 if self.variadic else len(self.roles)
        return len(self.roles) - self.optional <= count <= most

    def role(self, position: int) -> Role:
        """Return the role of an argument, counted from 0."""
        return self.roles[min(position, len(self.roles) - 1)]


def _join(values: Sequence[int], widths: Sequence[int], _width: int, _arithmetic: Arithmetic) -> int:
    joined = 0
    for value, width in zip(values, widths, strict=True):
        joined = joined << width | value
    return joined


def _patch(values: Sequence[int], widths: Sequence[int], width: int, _arithmetic: Arithmetic) -> int:
    whole, at, piece = values
    if at >= width:
        return whole
    hole = words.mask(widths[2]) << at & words.mask(width)
    return whole & ~hole | piece << at & hole


def _carry(values: Sequence[int], widths: Sequence[int], _width: int, _arithmetic: Arithmetic) -> int:
    return sum(values) >> widths[0]


def _less(values: Sequence[int], widths: Sequence[int], _width: int, arithmetic: Arithmetic) -> int:
    left, right = (words.to_signed(v, widths[0], arithmetic) for v in values)
    return int(left < right)


def _same(values: Sequence[int], widths: Sequence[int], _width: int, arithmetic: Arithmetic) -> int:
    left, right = (words.to_signed(v, widths[0], arithmetic) for v in values)
    return int(left == right)


def _zero(values: Sequence[int], widths: Sequence[int], _width: int, arithmetic: Arithmetic) -> int:
    return int(words.to_signed(values[0], widths[0], arithmetic) == 0)


def _signed_product(values: Sequence[int], widths: Sequence[int], width: int, arithmetic: Arithmetic) -> int:
    left, right = (words.to_signed(v, w, arithmetic) for v, w in zip(values, widths, strict=True))
    return words.from_signed(left * right, width, arithmetic)


_TWO: Final[tuple[Role, ...]] = ("like", "like")

_TABLE: Final = (
    Function(
        "bits", "bits(n, w)", "the literal n, w bits wide", "w", ("literal", "size"), "size",
        lambda v, _w, _n, _a: v[0],
    ),
    Function(
        "join", "join(a, b, …)", "concatenation, a leftmost", "sum", ("value", "value"), "sum",
        _join, variadic=True,
    ),
    Function(
        "extend", "extend(x, n)", "zeros on the left", "n", ("value", "size"), "size",
        lambda v, _w, _n, _a: v[0], size="at least x",
    ),
    Function(
        "widen", "widen(x, n)",
        "signed widening (two's and ones' complement repeat the sign, sign-magnitude moves it)", "n",
        ("value", "size"), "size", lambda v, w, n, a: words.widen(v[0], w[0], n, a), size="at least x",
    ),
    Function(
        "low", "low(x, n)", "the n lowest bits", "n", ("value", "size"), "size",
        lambda v, _w, n, _a: v[0] & words.mask(n), size="at most x",
    ),
    Function(
        "part", "part(x, at, n)", "n bits of x from bit `at` on (`at` any expression); bits beyond x are 0",
        "n", ("value", "amount", "size"), "size",
        lambda v, w, n, _a: words.shift_right(v[0], v[1], w[0]) & words.mask(n),
    ),
    Function(
        "patch", "patch(x, at, v)", "x with v put in from bit `at` on; what falls beyond x is lost", "of x",
        ("value", "amount", "value"), "first", _patch,
    ),
    Function(
        "pick", "pick(c, a, b)", "a if c is 1, else b (both are computed)", "of a",
        ("bit", "like", "like"), "first", lambda v, _w, _n, _a: v[1] if v[0] else v[2],
    ),
    Function(
        "wrap_add", "wrap_add(a, b)", "plain binary sum", "of a", _TWO, "first",
        lambda v, _w, n, _a: words.add(v[0], v[1], n, "twos"),
    ),
    Function(
        "wrap_sub", "wrap_sub(a, b)", "plain binary difference", "of a", _TWO, "first",
        lambda v, _w, n, _a: words.sub(v[0], v[1], n, "twos"),
    ),
    Function(
        "add_with", "add_with(a, b, c)", "plain binary a + b + c, c 1 bit", "of a",
        ("like", "like", "bit"), "first", lambda v, _w, n, _a: sum(v) & words.mask(n),
    ),
    Function(
        "carry", "carry(a, b)` or `carry(a, b, c)", "carry out of the plain binary sum (c: carry in, 1 bit)",
        "1", ("like", "like", "bit"), "one", _carry, optional=1,
    ),
    Function(
        "borrow", "borrow(a, b)", "1 if a < b unsigned", "1", _TWO, "one",
        lambda v, _w, _n, _a: int(v[0] < v[1]),
    ),
    Function(
        "overflow", "overflow(a, b)", "1 if a + b leaves the signed range", "1", _TWO, "one",
        lambda v, w, _n, a: words.add_overflow(v[0], v[1], w[0], a),
    ),
    Function(
        "underflow", "underflow(a, b)", "1 if a - b leaves the signed range", "1", _TWO, "one",
        lambda v, w, _n, a: words.sub_overflow(v[0], v[1], w[0], a),
    ),
    Function("less", "less(a, b)", "a < b signed (both zeros equal)", "1", _TWO, "one", _less),
    Function("same", "same(a, b)", "equal as signed numbers (both zeros equal)", "1", _TWO, "one", _same),
    Function(
        "negative", "negative(x)", "the top bit", "1", ("value",), "one",
        lambda v, w, _n, _a: words.sign_bit(v[0], w[0]),
    ),
    Function(
        "zero", "zero(x)", "1 if x is zero; either zero where there are two", "1", ("value",), "one", _zero
    ),
    Function(
        "arith_right", "arith_right(x, n)", "shift right, copies of the top bit move in", "of x",
        ("value", "amount"), "first", lambda v, _w, n, _a: words.arithmetic_right(v[0], v[1], n),
    ),
    Function(
        "rotate_left", "rotate_left(x, n)", "turned left, amount modulo the width", "of x",
        ("value", "amount"), "first", lambda v, _w, n, _a: words.rotate_left(v[0], v[1], n),
    ),
    Function(
        "rotate_right", "rotate_right(x, n)", "turned right, amount modulo the width", "of x",
        ("value", "amount"), "first", lambda v, _w, n, _a: words.rotate_right(v[0], v[1], n),
    ),
    Function(
        "signed_product", "signed_product(a, b)", "full signed product", "sum", ("value", "value"), "sum",
        _signed_product,
    ),
    Function(
        "low_product", "low_product(a, b)", "the low half of the unsigned product", "of a", _TWO, "first",
        lambda v, _w, n, _a: words.product(v[0], v[1]) & words.mask(n),
    ),
    Function(
        "quotient", "quotient(a, b)", "unsigned", "of a", _TWO, "first",
        lambda v, _w, n, _a: words.quotient(v[0], v[1], n),
    ),
    Function(
        "remainder", "remainder(a, b)", "unsigned", "of a", _TWO, "first",
        lambda v, _w, _n, _a: words.remainder(v[0], v[1]),
    ),
    Function(
        "signed_quotient", "signed_quotient(a, b)", "signed, toward zero", "of a", _TWO, "first",
        lambda v, _w, n, a: words.signed_quotient(v[0], v[1], n, a),
    ),
    Function(
        "signed_remainder", "signed_remainder(a, b)", "signed, with the sign of a", "of a", _TWO, "first",
        lambda v, _w, n, a: words.signed_remainder(v[0], v[1], n, a),
    ),
    Function(
        "count_ones", "count_ones(x)", "how many bits are 1", "7", ("value",), "seven",
        lambda v, _w, _n, _a: words.count_ones(v[0]),
    ),
    Function(
        "parity", "parity(x)", "1 if that is odd", "1", ("value",), "one",
        lambda v, _w, _n, _a: words.parity(v[0]),
    ),
)  # fmt: skip

FUNCTIONS: Final[dict[str, Function]] = {function.name: function for function in _TABLE}


def documentation() -> str:
    """Return the table of functions as it stands in docs/reference/behaviour.md."""
    rows = [f"| `{f.form}` | {f.meaning} | {f.width} |" for f in _TABLE]
    return "\n".join(["| function | result | width |", "|---|---|---|", *rows])


def evaluate(
    name: str, args: Sequence[int], widths: Sequence[int], result_width: int, arithmetic: Arithmetic
) -> int:
    """Return the pattern of a call of the typed tree: arguments and widths as kept there."""
    return FUNCTIONS[name].compute(args, widths, result_width, arithmetic)


def evaluate_unary(op: UnaryOp, value: int, width: int, word: WordFormat) -> int:
    """Return the pattern of a one-operand operation; ``width`` is that of the operand.

    ``negate`` follows the arithmetic of ``word`` at the word's width, and is plain binary elsewhere.
    """
    if op == "negate":
        return words.negate(value, width, arithmetic_at(width, word))
    return value ^ words.mask(width)  # "not" is "invert" of one bit


def evaluate_binary(op: BinaryOp, a: int, b: int, width: int, word: WordFormat) -> int:
    """Return the pattern of a two-operand operation; ``width`` is that of the left operand.

    ``add`` and ``sub`` follow the arithmetic of ``word`` at the word's width, plain binary elsewhere.
    """
    return BINARY[op](a, b, width, arithmetic_at(width, word))


def arithmetic_at(width: int, word: WordFormat) -> Arithmetic:
    """Return which arithmetic + and - follow at a width."""
    return word.arithmetic if width == word.bits else "twos"


BINARY: Final[dict[BinaryOp, Callable[[int, int, int, Arithmetic], int]]] = {
    "add": words.add,
    "sub": words.sub,
    "and": lambda a, b, _w, _a: a & b,
    "or": lambda a, b, _w, _a: a | b,
    "xor": lambda a, b, _w, _a: a ^ b,
    "shift-left": lambda a, b, w, _a: words.shift_left(a, b, w),
    "shift-right": lambda a, b, w, _a: words.shift_right(a, b, w),
    "multiply": lambda a, b, _w, _a: words.product(a, b),
    "equal": lambda a, b, _w, _a: int(a == b),
    "unequal": lambda a, b, _w, _a: int(a != b),
    "below": lambda a, b, _w, _a: int(a < b),
    "not-above": lambda a, b, _w, _a: int(a <= b),
    "above": lambda a, b, _w, _a: int(a > b),
    "not-below": lambda a, b, _w, _a: int(a >= b),
}
