"""Expressions: nodes -> typed tree. Names are found, widths are settled."""

from collections.abc import Sequence
from typing import Final

from attrs import define, field

from emu.behaviour import tree
from emu.behaviour.functions import FUNCTIONS, Function
from emu.behaviour.names import BOUND, CALL, LACKS, LITERAL, NAME, USE, WIDTH, Names
from emu.behaviour.parse import (
    Apply,
    Index,
    Infix,
    Name,
    Node,
    Number,
    Prefix,
)
from emu.behaviour.tokens import MAX_WIDTH, Span
from emu.errors import Code, Problems, nearest
from emu.words import mask

_SIDES: Final[dict[str, tree.BinaryOp]] = {"+": "add", "-": "sub", "&": "and", "|": "or", "^": "xor"}
_COMPARE: Final[dict[str, tree.BinaryOp]] = {
    "==": "equal", "!=": "unequal", "<": "below", "<=": "not-above", ">": "above", ">=": "not-below",
}  # fmt: skip
_SHIFT: Final[dict[str, tree.BinaryOp]] = {"<<": "shift-left", ">>": "shift-right"}
_LOGIC: Final[dict[str, tree.BinaryOp]] = {"and": "and", "or": "or"}


@define
class Expressions:
    """Types expressions; a value of None is wrong, and has been reported."""

    names: Names
    problems: Problems
    known: dict[str, int] = field(factory=dict)  # names bound by let in this scope; width 0: not known
    bound: dict[str, Span | None] = field(factory=dict)  # names bound anywhere so far

    def report(self, code: Code, message: str, span: Span, hint: str = "") -> None:
        """Add a problem at a span."""
        if not self.problems.full:
            self.problems.add(code, message, span.place, hint=hint)

    def value(self, node: Node, want: int | None) -> tree.Expr | None:  # noqa: PLR0911  # one for each kind
        """Type a node; ``want`` is the width its literals take where nothing nearer gives one."""
        if self.problems.full:
            return None
        match node:
            case Number():
                return self._literal(node, want)
            case Name():
                return self._lookup(node)
            case Index():
                return self._index(node)
            case Apply():
                return self._apply(node, want)
            case Prefix():
                return self._prefix(node, want)
            case Infix():
                return self._infix(node, want)

    def _literal(self, node: Number, want: int | None) -> tree.Expr | None:
        if want is None:
            self.report(
                LITERAL,
                f"a literal takes the width of what it stands beside; {node.value} stands beside nothing",
                node.span,
                f"write bits({node.value}, w) for w bits",
            )
        elif node.value > mask(want):
            needs = node.value.bit_length()
            message = f"a literal fits its width; {node.value} needs {counted(needs)}, there are {want}"
            self.report(LITERAL, message, node.span)
        else:
            return tree.Const(node.value, want)
        return None

    def _lookup(self, node: Name) -> tree.Expr | None:
        name, names = node.name, self.names
        if name in self.known:
            width = self.known[name]
            return tree.Local(name, width) if width else None
        if name in names.operands:
            return tree.Operand(name, names.operands[name])
        if name in names.registers:
            return tree.Register(name, names.registers[name])
        if name in names.doubtful:
            return None
        if name in names.files or name in {"M", "P"}:
            self.report(USE, f"{name!r} takes an index; got none", node.span, f"write {name}[x]")
        elif name in self.bound:
            message = f"a name is known to the end of its block; {name!r} was bound in another"
            self.report(BOUND, message, node.span, "bind it before the block")
        else:
            known = [*self.known, *names.registers, *names.files]  # letters are too short to resemble
            hint = f"write {FUNCTIONS[name].form}" if name in FUNCTIONS else nearest(name, known)
            message = f"a name is a register, a letter of the encoding or bound by 'let'; got {name!r}"
            self.report(NAME, message, node.span, hint)
        return None

    def _index(self, node: Index) -> tree.Expr | None:
        names = self.names
        name = node.base.name if isinstance(node.base, Name) else ""
        if name in {"M", "P"} or (name in names.files and name not in self.known):
            return self._element(name, node)
        whole = self.value(node.base, None)
        if whole is None:
            return None
        bits = self.bit_range(node, whole.width)
        return tree.Slice(whole, *bits, bits[0] - bits[1] + 1) if bits else None

    def _element(self, name: str, node: Index) -> tree.Expr | None:
        if node.last is not None:
            self.report(USE, f"{name}[...] takes one index; got a range", node.span)
            return None
        if name == "M":
            address = self.address(node.first)
            return tree.Load(address, self.names.word_bits) if address else None
        if name == "P":
            number = self.port(node.first, "in")
            return tree.PortRead(number, self.names.word_bits) if number else None
        index = self.file_index(name, node.first)
        return tree.FileEntry(name, index, self.names.files[name][0]) if index else None

    def address(self, node: Node) -> tree.Expr | None:
        """Type an address."""
        return self.value(node, self.names.address_bits)

    def file_index(self, name: str, node: Node) -> tree.Expr | None:
        """Type the index into a file."""
        count = self.names.files[name][1]
        if isinstance(node, Number) and node.value >= count:
            message = f"a register of {name!r} is numbered 0 to {count - 1}; got {node.value}"
            self.report(USE, message, node.span)
            return None
        return self.value(node, max(1, (count - 1).bit_length()))

    def port(self, node: Node, direction: str) -> tree.Expr | None:
        """Type the number of a port; ``direction`` is "in" or "out"."""
        ports = self.names.ports
        if isinstance(node, Number) and direction not in ports.get(node.value, ()):
            fit = ", ".join(str(n) for n in sorted(ports) if direction in ports[n]) or "none"
            message = f"P[...] here is an {direction}put port; {node.value} is none"
            self.report(LACKS, message, node.span, f"{direction}put ports are: {fit}")
            return None
        return self._amount(node)

    def _amount(self, node: Node) -> tree.Expr | None:
        want = max(1, node.value.bit_length()) if isinstance(node, Number) else None
        return self.value(node, want)

    def bit_range(self, node: Index, width: int) -> tuple[int, int] | None:
        """Return (high, low) of ``x[high..low]`` or ``x[bit]`` over a value of ``width`` bits."""
        last = node.first if node.last is None else node.last
        if not isinstance(node.first, Number) or not isinstance(last, Number):
            what = node.first if not isinstance(node.first, Number) else last
            self.report(
                USE, "bits are given by literal numbers, x[high..low]; got an expression", what.span,
                "for a bit that is computed write part(x, at, 1)",
            )  # fmt: skip
            return None
        high, low = node.first.value, last.value
        if low > high:
            message = f"the higher bit stands first in x[high..low]; got {high}..{low}"
            self.report(USE, message, node.first.span.to(last.span), f"write [{low}..{high}]")
        elif high >= width:
            message = f"the bits of a value of {counted(width)} are numbered 0 to {width - 1}; got {high}"
            self.report(WIDTH, message, node.first.span)
        else:
            return high, low
        return None

    def one_bit(self, node: Node, rule: str) -> tree.Expr | None:
        """Type a node that must be 1 bit wide; ``rule`` says so in words."""
        value = self.value(node, 1)
        if value is not None and value.width != 1:
            message = f"{rule}; got {value.width} bits"
            self.report(WIDTH, message, node.span, "compare it, for instance with != 0")
            return None
        return value

    def _prefix(self, node: Prefix, want: int | None) -> tree.Expr | None:
        if node.op == "not":
            value = self.one_bit(node.operand, "'not' takes 1 bit")
            return tree.Unary("not", value, 1) if value else None
        value = self.value(node.operand, want)
        return tree.Unary("invert" if node.op == "~" else "negate", value, value.width) if value else None

    def _infix(self, node: Infix, want: int | None) -> tree.Expr | None:
        op = node.op
        if op in _LOGIC:
            return self._logic(node)
        if op in _SHIFT:
            left, right = self.value(node.left, want), self._amount(node.right)
            return tree.Binary(_SHIFT[op], left, right, left.width) if left and right else None
        left, right = self._beside((node.left, node.right), want if op in _SIDES else None)
        if left is None or right is None:
            return None
        if op == "*":
            width = self._bounded(left.width + right.width, [left.width, right.width], node.span)
            return tree.Binary("multiply", left, right, width) if width else None
        return self._sides(node, left, right)

    def _logic(self, node: Infix) -> tree.Expr | None:
        rule = f"'{node.op}' takes 1 bit on both sides"
        left, right = self.one_bit(node.left, rule), self.one_bit(node.right, rule)
        return tree.Binary(_LOGIC[node.op], left, right, 1) if left and right else None

    def _sides(self, node: Infix, left: tree.Expr, right: tree.Expr) -> tree.Expr | None:
        op = node.op
        if left.width != right.width:
            message = f"both sides of '{op}' are equally wide; got {left.width} and {right.width} bits"
            self.report(WIDTH, message, node.op_span, remedy(left.width, right.width))
            return None
        if op in _COMPARE:
            return tree.Binary(_COMPARE[op], left, right, 1)
        return tree.Binary(_SIDES[op], left, right, left.width)

    def _beside(self, nodes: Sequence[Node], want: int | None) -> list[tree.Expr | None]:
        """Type nodes that stand beside each other: the loose ones take the width of the first other one."""
        values = [None if node.loose else self.value(node, want) for node in nodes]
        widths = [value.width for value in values if value is not None]
        width = widths[0] if widths else want
        if width is None and not all(node.loose for node in nodes):
            return values  # the others are wrong, and were reported: of the literals nothing can be said
        return [
            self.value(node, width) if node.loose else value
            for node, value in zip(nodes, values, strict=True)
        ]

    def _bounded(self, width: int, widths: Sequence[int], span: Span) -> int | None:
        if width <= MAX_WIDTH:
            return width
        sides = " and ".join(str(w) for w in widths)
        message = f"a value has at most {MAX_WIDTH} bits; got {sides}, together {width}"
        self.report(WIDTH, message, span)
        return None

    # -- functions

    def _apply(self, node: Apply, want: int | None) -> tree.Expr | None:
        function = FUNCTIONS.get(node.function)
        if function is None:
            hint = nearest(node.function, FUNCTIONS)
            self.report(NAME, f"only the functions of the language are called; got {node.function!r}",
                        node.name_span, hint)  # fmt: skip
            return None
        if not function.takes(len(node.arguments)):
            given = counted(len(node.arguments), "argument")
            message = f"{node.function} is called {_forms(function)}; got {given}"
            self.report(CALL, message, node.span)
            return None
        values, size = self._arguments(function, node, want)
        kept = [value for value in values if value is not None]
        if len(kept) != len(values) or size is None:
            return None
        if function.name == "bits":
            return kept[0]
        width = self._result(function, kept, size, node)
        return tree.Call(function.name, tuple(kept), width) if width else None

    def _arguments(
        self, function: Function, node: Apply, want: int | None
    ) -> tuple[list[tree.Expr | None], int | None]:
        """Return the values that the call keeps, and its size (0: it has none, None: it is wrong)."""
        roles = [(function.role(at), argument) for at, argument in enumerate(node.arguments)]
        size: int | None = 0
        for role, argument in roles:
            if role == "size":
                size = self._size(argument)
        alike = self._alike(function, [argument for role, argument in roles if role == "like"], want, node)
        values: list[tree.Expr | None] = []
        for role, argument in roles:
            match role:
                case "like":
                    values.append(alike.pop(0))
                case "bit":
                    values.append(self.one_bit(argument, f"this argument of {function.name} is 1 bit wide"))
                case "amount":
                    values.append(self._amount(argument))
                case "value":
                    values.append(self.value(argument, None))
                case "literal":
                    values.append(self._number(argument, size))
                case "size":
                    pass
        return values, size

    def _alike(
        self, function: Function, nodes: list[Node], want: int | None, call: Apply
    ) -> list[tree.Expr | None]:
        values = self._beside(nodes, want if function.result == "first" else None)
        widths = [value.width for value in values if value is not None]
        if len(set(widths)) <= 1:
            return values
        message = f"the arguments of {function.name} are equally wide; got {widths[0]} and {widths[1]} bits"
        self.report(WIDTH, message, call.name_span, remedy(widths[0], widths[1]))
        return [None for _ in values]

    def _number(self, node: Node, size: int | None) -> tree.Expr | None:
        if not isinstance(node, Number):
            self.report(CALL, "bits(n, w) gives a width to a literal number; got an expression", node.span)
            return None
        return self._literal(node, size) if size else None

    def _size(self, node: Node) -> int | None:
        if isinstance(node, Number) and 1 <= node.value <= MAX_WIDTH:
            return node.value
        given = str(node.value) if isinstance(node, Number) else "an expression"
        message = f"a size is a literal number of 1 to {MAX_WIDTH} bits; got {given}"
        self.report(CALL, message, node.span)
        return None

    def _result(self, function: Function, kept: list[tree.Expr], size: int, node: Apply) -> int | None:
        widths = [value.width for value in kept]
        match function.result:
            case "one":
                return 1
            case "seven":
                return 7
            case "sum":
                return self._bounded(sum(widths), widths, node.span)
            case "first":
                return widths[1] if function.roles[0] == "bit" else widths[0]
            case "size":
                return size if self._allows(function, widths[0], size, node) else None

    def _allows(self, function: Function, width: int, size: int, node: Apply) -> bool:
        name = function.name
        if function.size == "at least x" and size < width:
            message = f"{name} makes a value no narrower; got {width} bits to {size}"
            self.report(WIDTH, message, node.span, f"low(x, {size}) takes the lowest bits")
            return False
        if function.size == "at most x" and size > width:
            message = f"{name} takes no more bits than there are; got {size} of {width}"
            self.report(WIDTH, message, node.span, f"extend(x, {size}) puts zeros on the left")
            return False
        return True


def remedy(one: int, other: int) -> str:
    """Return how to make two widths agree."""
    low, high = sorted((one, other))
    return f"make them agree by extend(x, {high}), widen(x, {high}) or low(x, {low})"


def _forms(function: Function) -> str:
    return function.form.replace("`", "")


def counted(number: int, what: str = "bit") -> str:
    """Return a number and what is counted: ``1 bit``, ``2 bits``."""
    return f"{number} {what}" + ("" if number == 1 else "s")
