"""Typed expressions -> text of the generated function.

Reads of memory and ports come out as lines of their own, in the order of the language, each into a name;
what is left is a pure expression over ints.
"""

from collections.abc import Callable
from typing import Final, Protocol

from attrs import define, field

from emu.behaviour import tree
from emu.words import Arithmetic, mask, signed_range

_LONGEST = 100  # longer texts get a name, so that nesting stays shallow
_SIGNED: Final = {"twos": "signed_twos", "ones": "signed_ones", "sign-magnitude": "signed_magnitude"}
_FROM: Final = {"twos": "from_twos", "ones": "from_ones", "sign-magnitude": "from_magnitude"}
_COMPARES: Final = {
    "equal": "==", "unequal": "!=", "below": "<", "not-above": "<=", "above": ">", "not-below": ">=",
}  # fmt: skip
_BITWISE: Final = {"and": "&", "or": "|", "xor": "^"}


class Sink(Protocol):
    """Where lines go and what knows how memory and ports are read."""

    def line(self, text: str) -> None:
        """Write a line."""
        ...

    def name(self) -> str:
        """Return a fresh name."""
        ...

    def load(self, address: str) -> str:
        """Write the lines of a memory read; return the name that holds the word."""
        ...

    def port_read(self, number: str) -> str:
        """Write the lines of a port read; return the name that holds the word."""
        ...

    def register(self, name: str) -> str:
        """Return the text of a register."""
        ...

    def file_entry(self, name: str, index: str) -> str:
        """Return the text of a register of a file."""
        ...

    def operand(self, letter: str) -> str:
        """Return the text of a field of the instruction word."""
        ...

    def local(self, name: str) -> str:
        """Return the generated name of a name bound by ``let``."""
        ...


@define
class ExpressionText:
    """Turns expressions into text; ``uses`` gathers the functions of ``wordops`` that are called."""

    sink: Sink
    word_bits: int
    arithmetic: Arithmetic
    uses: set[str] = field(factory=set)

    def value(self, node: tree.Expr) -> str:
        """Return the text of a value (an int), after writing the lines of its reads."""
        text = self._value(node)
        if len(text) <= _LONGEST:
            return text
        name = self.sink.name()
        self.sink.line(f"{name} = {text}")
        return name

    def test(self, node: tree.Expr) -> str:
        """Return the text of a 1-bit value as a condition."""
        if isinstance(node, tree.Binary) and node.op in _COMPARES:
            left, right = self.value(node.left), self.value(node.right)
            return f"{left} {_COMPARES[node.op]} {right}"
        return self.value(node)

    def call(self, function: str, *arguments: object) -> str:
        """Return a call of a function of ``wordops``."""
        self.uses.add(function)
        return f"{function}({', '.join(str(a) for a in arguments)})"

    def _value(self, node: tree.Expr) -> str:  # noqa: PLR0911 - one return a kind of node
        sink = self.sink
        match node:
            case tree.Const(value, _):
                return str(value)
            case tree.Register(name, _):
                return sink.register(name)
            case tree.Operand(letter, _):
                return sink.operand(letter)
            case tree.Local(name, _):
                return sink.local(name)
            case tree.FileEntry(name, index, _):
                return sink.file_entry(name, self.value(index))
            case tree.Load(address, _):
                return sink.load(self.value(address))
            case tree.PortRead(number, _):
                return sink.port_read(self.value(number))
            case tree.Slice(operand, high, low, width):
                return _sliced(self.value(operand), operand.width, high, low, width)
            case tree.Unary():
                return self._unary(node)
            case tree.Binary():
                return self._binary(node)
            case tree.Call():
                values = [self.value(a) for a in node.arguments]
                return _CALLS[node.function](self, values, [a.width for a in node.arguments], node.width)

    def _unary(self, node: tree.Unary) -> str:
        x, width = self.value(node.operand), node.operand.width
        if node.op != "negate":
            return f"({x} ^ {mask(width)})"
        arithmetic = self._at(width)
        if arithmetic == "ones":
            return f"({x} ^ {mask(width)})"
        if arithmetic == "twos":
            return f"((-{x}) & {mask(width)})"
        return self.call("negate_magnitude", x, width)

    def _at(self, width: int) -> Arithmetic:
        return self.arithmetic if width == self.word_bits else "twos"

    def _binary(self, node: tree.Binary) -> str:
        a, b, width = self.value(node.left), self.value(node.right), node.left.width
        if node.op in _COMPARES:
            return f"(1 if {a} {_COMPARES[node.op]} {b} else 0)"
        if node.op in _BITWISE:
            return f"({a} {_BITWISE[node.op]} {b})"
        if node.op == "multiply":
            return f"({a} * {b})"
        if node.op in {"add", "sub"}:
            return self.sum(node.op, a, b, width, self._at(width))
        return self._shift(node, a, b, width)

    def _shift(self, node: tree.Binary, a: str, b: str, width: int) -> str:
        left = node.op == "shift-left"
        if not isinstance(node.right, tree.Const):
            return self.call("shift_left" if left else "shift_right", a, b, width)
        if node.right.value >= width:
            return "0"
        return f"(({a} << {b}) & {mask(width)})" if left else f"({a} >> {b})"

    def sum(self, op: str, a: str, b: str, width: int, arithmetic: Arithmetic) -> str:
        """Return a + b or a - b in an arithmetic."""
        sign = "+" if op == "add" else "-"
        if arithmetic == "twos":
            return f"(({a} {sign} {b}) & {mask(width)})"
        if arithmetic == "ones":
            return self.call("add_ones", a, b if op == "add" else f"{b} ^ {mask(width)}", width)
        total = f"{self.signed(a, width)} {sign} {self.signed(b, width)}"
        return self.call("from_magnitude", total, width)

    def signed(self, x: str, width: int) -> str:
        """Return the value of a pattern, by the machine's arithmetic at that width."""
        return self.call(_SIGNED[self.arithmetic], x, width)

    def pattern(self, value: str, width: int) -> str:
        """Return the pattern of a value, by the machine's arithmetic at that width."""
        return self.call(_FROM[self.arithmetic], value, width)

    def range_test(self, sign: str, v: list[str], width: int) -> str:
        """Return 1 if the signed sum or difference leaves the range."""
        low, high = signed_range(width, self.arithmetic)
        total = f"{self.signed(v[0], width)} {sign} {self.signed(v[1], width)}"
        return self.call("outside", total, low, high)

    def named(self, text: str) -> str:
        """Return a name that holds the value, for texts that are used more than once."""
        if text.isidentifier() or text.isdigit():
            return text
        name = self.sink.name()
        self.sink.line(f"{name} = {text}")
        return name

    def zero(self, x: str, width: int) -> str:
        """Return the condition that a pattern is zero (either zero)."""
        if self.arithmetic == "twos":
            return f"{x} == 0"
        if self.arithmetic == "sign-magnitude":
            return f"({x} & {mask(width - 1)}) == 0"
        x = self.named(x)
        return f"{x} == 0 or {x} == {mask(width)}"

    def signed_quotient(self, v: list[str], width: int, rest: str) -> str:
        """Return the signed quotient, or the remainder if ``rest`` names what a division by zero leaves."""
        a, b = self.named(self.signed(v[0], width)), self.named(self.signed(v[1], width))
        divided = self.call("signed_rest" if rest else "signed_division", a, b)
        return f"({self.pattern(divided, width)} if {b} else {rest or mask(width)})"


def _sliced(x: str, operand_width: int, high: int, low: int, width: int) -> str:
    moved = f"({x} >> {low})" if low else x
    return moved if high == operand_width - 1 else f"({moved} & {mask(width)})"


Form = Callable[[ExpressionText, list[str], list[int], int], str]


def _join(_g: ExpressionText, v: list[str], w: list[int], _n: int) -> str:
    text, below = [], sum(w)
    for value, width in zip(v, w, strict=True):
        below -= width
        text.append(f"({value} << {below})" if below else value)
    return f"({' | '.join(text)})"


def _widen(g: ExpressionText, v: list[str], w: list[int], n: int) -> str:
    if w[0] == n:
        return v[0]
    x = g.named(v[0])
    sign = f"({x} >> {w[0] - 1})"
    if g.arithmetic == "sign-magnitude":
        return f"(({x} & {mask(w[0] - 1)}) | ({sign} << {n - 1}))"
    return f"({x} | ({sign} * {mask(n) ^ mask(w[0])}))"


def _part(g: ExpressionText, v: list[str], w: list[int], n: int) -> str:
    return f"({g.call('shift_right', v[0], v[1], w[0])} & {mask(n)})"


def _less(g: ExpressionText, v: list[str], w: list[int], _n: int) -> str:
    return f"(1 if {g.signed(v[0], w[0])} < {g.signed(v[1], w[0])} else 0)"


def _same(g: ExpressionText, v: list[str], w: list[int], _n: int) -> str:
    return f"(1 if {g.signed(v[0], w[0])} == {g.signed(v[1], w[0])} else 0)"


_CALLS: Final[dict[str, Form]] = {
    "join": _join,
    "extend": lambda _g, v, _w, _n: v[0],
    "widen": _widen,
    "low": lambda _g, v, w, n: v[0] if w[0] == n else f"({v[0]} & {mask(n)})",
    "part": _part,
    "patch": lambda g, v, w, n: g.call("patch", v[0], v[1], v[2], n, w[2]),
    "pick": lambda _g, v, _w, _n: f"({v[1]} if {v[0]} else {v[2]})",
    "wrap_add": lambda _g, v, _w, n: f"(({v[0]} + {v[1]}) & {mask(n)})",
    "wrap_sub": lambda _g, v, _w, n: f"(({v[0]} - {v[1]}) & {mask(n)})",
    "add_with": lambda _g, v, _w, n: f"(({' + '.join(v)}) & {mask(n)})",
    "carry": lambda _g, v, w, _n: f"(({' + '.join(v)}) >> {w[0]})",
    "borrow": lambda _g, v, _w, _n: f"(1 if {v[0]} < {v[1]} else 0)",
    "overflow": lambda g, v, w, _n: g.range_test("+", v, w[0]),
    "underflow": lambda g, v, w, _n: g.range_test("-", v, w[0]),
    "less": _less,
    "same": _same,
    "negative": lambda _g, v, w, _n: f"({v[0]} >> {w[0] - 1})",
    "zero": lambda g, v, w, _n: f"(1 if {g.zero(v[0], w[0])} else 0)",
    "arith_right": lambda g, v, _w, n: g.call("arith_right", v[0], v[1], n),
    "rotate_left": lambda g, v, _w, n: g.call("rotate_left", v[0], v[1], n),
    "rotate_right": lambda g, v, _w, n: g.call("rotate_right", v[0], v[1], n),
    "signed_product": lambda g, v, w, n: g.pattern(f"{g.signed(v[0], w[0])} * {g.signed(v[1], w[1])}", n),
    "low_product": lambda _g, v, _w, n: f"(({v[0]} * {v[1]}) & {mask(n)})",
    "quotient": lambda g, v, _w, n: g.call("quotient", v[0], v[1], n),
    "remainder": lambda g, v, _w, _n: g.call("remainder", v[0], v[1]),
    "signed_quotient": lambda g, v, _w, n: g.signed_quotient(v, n, ""),
    "signed_remainder": lambda g, v, _w, n: g.signed_quotient([g.named(v[0]), v[1]], n, g.named(v[0])),
    "count_ones": lambda _g, v, _w, _n: f"ctpop({v[0]})",
    "parity": lambda _g, v, _w, _n: f"(ctpop({v[0]}) & 1)",
}  # fmt: skip
