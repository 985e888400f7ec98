"""Draws typed behaviour trees: every kind of node and every function of the language turns up."""

from random import Random
from typing import Any, Final

from attrs import define, field

from emu.behaviour import tree
from emu.behaviour.functions import FUNCTIONS

_MOST = 62
_BITWISE: Final[tuple[tree.BinaryOp, ...]] = ("add", "sub", "and", "or", "xor", "shift-left", "shift-right")
_COMPARES: Final[tuple[tree.BinaryOp, ...]] = (
    "equal", "unequal", "below", "not-above", "above", "not-below", "and", "or", "xor",
)  # fmt: skip
_SAME_WIDTH: Final = (
    "wrap_add",
    "wrap_sub",
    "low_product",
    "quotient",
    "remainder",
    "signed_quotient",
    "signed_remainder",
)
_TESTS: Final = ("carry", "borrow", "overflow", "underflow", "less", "same")


@define
class TreeDrawer:
    """Draws expressions and statements for one machine.

    ``registers`` and ``files`` map a name to its width, ``operands`` those of the instruction at hand;
    ``locals`` are the names bound so far. ``reach`` are port numbers worth trying.
    """

    rng: Random
    word: int
    address: int
    registers: dict[str, int]
    files: dict[str, int]
    alarms: tuple[str, ...]
    traps: tuple[str, ...]
    plain: tuple[str, ...]
    operands: dict[str, int] = field(factory=dict)
    locals: dict[str, int] = field(factory=dict)
    depth: int = 3

    def expression(self, width: int, depth: int | None = None) -> tree.Expr:
        """Draw an expression of that width."""
        depth = self.depth if depth is None else depth
        if depth <= 0:
            return self._leaf(width)
        rng = self.rng
        kind = rng.randrange(10)
        if kind < 2:
            return self._leaf(width)
        if kind < 4:
            return self.fitted(self._load(depth) if rng.random() < 0.5 else self._wide(depth), width)
        if kind < 6:
            return self._call(width, depth)
        if width == 1 and kind < 8:
            return self._test(depth)
        return self._arithmetic(width, depth)

    def _leaf(self, width: int) -> tree.Expr:
        rng = self.rng
        choices: list[tree.Expr] = [tree.Const(self._number(width), width)]
        choices += [tree.Register(n, w) for n, w in self.registers.items()]
        choices += [tree.Operand(n, w) for n, w in self.operands.items()] * 2
        choices += [tree.Local(n, w) for n, w in self.locals.items()] * 2
        choices += [tree.FileEntry(n, self._index(), w) for n, w in self.files.items()]
        return self.fitted(rng.choice(choices), width)

    def _index(self) -> tree.Expr:
        if self.operands and self.rng.random() < 0.6:
            name = self.rng.choice(list(self.operands))
            return tree.Operand(name, self.operands[name])
        return tree.Const(self.rng.randrange(16), 4)

    def _number(self, width: int) -> int:
        full = (1 << width) - 1
        return self.rng.choice([0, 1, full, full >> 1, self.rng.getrandbits(width)])

    def fitted(self, node: tree.Expr, width: int) -> tree.Expr:
        """Return the node with its width changed to the one wanted."""
        rng, own = self.rng, node.width
        if own == width:
            return node
        if own < width:
            return tree.Call(rng.choice(["extend", "widen"]), (node,), width)
        low = rng.randrange(own - width + 1)
        if rng.random() < 0.3:
            return tree.Call("low", (node,), width)
        return tree.Slice(node, low + width - 1, low, width)

    def _load(self, depth: int) -> tree.Expr:
        if self.rng.random() < 0.2:
            number = (
                self.expression(3, depth - 2)
                if self.rng.random() < 0.3
                else tree.Const(self.rng.randrange(5), 3)
            )
            return tree.PortRead(number, self.word)
        return tree.Load(self.expression(self.address, depth - 2), self.word)

    def _wide(self, depth: int) -> tree.Expr:
        rng = self.rng
        a = rng.randint(1, min(self.word + 1, 30))
        b = rng.randint(1, min(self.word + 1, 30))
        left, right = self.expression(a, depth - 1), self.expression(b, depth - 1)
        kind = rng.randrange(3)
        if kind == 0:
            return tree.Binary("multiply", left, right, a + b)
        if kind == 1 and a > 1 and b > 1:
            return tree.Call("signed_product", (left, right), a + b)
        return tree.Call("join", (left, right), a + b)

    def _test(self, depth: int) -> tree.Expr:
        width = self.rng.choice([1, self.word, self.rng.randint(1, min(_MOST, self.word + 4))])
        op = self.rng.choice(_COMPARES[: 6 if width > 1 else None])
        return tree.Binary(op, self.expression(width, depth - 1), self.expression(width, depth - 1), 1)

    def _arithmetic(self, width: int, depth: int) -> tree.Expr:
        rng = self.rng
        if rng.random() < 0.25:
            op: tree.UnaryOp = rng.choice(["invert", "negate"] if width > 1 else ["invert", "not"])
            return tree.Unary(op, self.expression(width, depth - 1), width)
        binary = rng.choice(_BITWISE)
        left = self.expression(width, depth - 1)
        if binary.startswith("shift"):
            return tree.Binary(binary, left, self._amount(depth), width)
        return tree.Binary(binary, left, self.expression(width, depth - 1), width)

    def _amount(self, depth: int) -> tree.Expr:
        if self.rng.random() < 0.5:
            return tree.Const(self.rng.randrange(8), 7)
        return self.expression(self.rng.randint(1, 7), depth - 2)

    def _call(self, width: int, depth: int) -> tree.Expr:  # noqa: PLR0911 - one return a function
        rng = self.rng
        if width == 1:
            return self._one_bit_call(depth)
        x = self.expression(width, depth - 1)
        kind = rng.randrange(9)
        if kind == 0:
            return tree.Call(
                "pick", (self.expression(1, depth - 1), x, self.expression(width, depth - 1)), width
            )
        if kind == 1:
            return tree.Call(
                "add_with", (x, self.expression(width, depth - 1), self.expression(1, depth - 2)), width
            )
        if kind == 2:
            return tree.Call(
                rng.choice(["arith_right", "rotate_left", "rotate_right"]), (x, self._amount(depth)), width
            )
        if kind == 3:
            piece = self.expression(rng.randint(1, min(_MOST, width + 3)), depth - 1)
            return tree.Call("patch", (x, self._amount(depth), piece), width)
        if kind == 4:
            whole = self.expression(rng.randint(1, min(_MOST, width + 6)), depth - 1)
            return tree.Call("part", (whole, self._amount(depth)), width)
        if kind == 5:
            return self.fitted(tree.Call("count_ones", (x,), 7), width)
        name = rng.choice(_SAME_WIDTH)
        return tree.Call(name, (x, self.expression(width, depth - 1)), width)

    def _one_bit_call(self, depth: int) -> tree.Expr:
        rng = self.rng
        width = rng.choice([self.word, rng.randint(2, min(_MOST, self.word + 4))])
        x = self.expression(width, depth - 1)
        kind = rng.randrange(4)
        if kind == 0:
            return tree.Call(rng.choice(["negative", "zero", "parity"]), (x,), 1)
        y = self.expression(width, depth - 1)
        if kind == 1:
            return tree.Call("carry", (x, y, self.expression(1, depth - 2)), 1)
        return tree.Call(rng.choice(_TESTS), (x, y), 1)

    # --- statements

    def statements(self, most: int, depth: int = 2) -> tuple[tree.Statement, ...]:
        """Draw up to so many statements."""
        return tuple(self.statement(depth) for _ in range(self.rng.randint(0, most)))

    def statement(self, depth: int) -> tree.Statement:  # noqa: PLR0911 - one return a kind
        """Draw one statement; ``depth`` bounds nested blocks."""
        rng = self.rng
        kind = rng.randrange(12)
        if kind == 0:
            return self._let()
        if kind <= 2 and self.files:
            name = rng.choice(list(self.files))
            return tree.SetFileEntry(name, self._index(), self.expression(self.files[name]))
        if kind <= 4:
            return tree.Store(self.expression(self.address), self.expression(self.word))
        if kind == 5:
            return tree.PortWrite(tree.Const(rng.randrange(5), 3), self.expression(self.word))
        if kind == 6 and depth > 0:
            return self._branch(depth)
        if kind == 7:
            return self._rare()
        return self._assignment()

    def _let(self) -> tree.Statement:
        width = self.rng.choice([self.word, self.rng.randint(1, min(_MOST, 2 * self.word))])
        value = self.expression(width)
        name = f"n{len(self.locals)}"
        if name in self.locals:
            return self._assignment()
        self.locals[name] = width
        return tree.Let(name, value)

    def _assignment(self) -> tree.Statement:
        name = self.rng.choice(list(self.registers))
        width = self.registers[name]
        low = 0 if self.rng.random() < 0.7 else self.rng.randrange(width)
        high = width - 1 if self.rng.random() < 0.7 else self.rng.randrange(low, width)
        return tree.SetRegister(name, high, low, self.expression(high - low + 1))

    def _branch(self, depth: int) -> tree.Statement:
        condition = self.expression(1)
        kept = dict(self.locals)
        then = self.statements(2, depth - 1)
        self.locals = dict(kept)
        otherwise = self.statements(2, depth - 1) if self.rng.random() < 0.5 else ()
        self.locals = kept
        return tree.If(condition, then, otherwise)

    def _rare(self) -> tree.Statement:
        choices: list[tree.Statement] = [tree.Plain(w) for w in self.plain]  # type: ignore[arg-type]  # drawn from the four
        choices += [tree.RaiseAlarm(name) for name in self.alarms]
        choices += [tree.EnterTrap(name) for name in self.traps] * 2
        return self.rng.choice(choices)


def functions_used(node: Any) -> set[str]:
    """Return the functions of the language that a tree calls, to see that all of them turn up."""
    found: set[str] = set()
    if isinstance(node, tree.Call):
        assert node.function in FUNCTIONS, "a function of the language"
        found.add(node.function)
    if isinstance(node, tuple):
        parts = node
    else:
        parts = tuple(getattr(node, a) for a in getattr(node, "__slots__", ()) if a != "__weakref__")
    return found.union(*(functions_used(p) for p in parts if not isinstance(p, str | int)))
