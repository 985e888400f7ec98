"""Typed tree -> text of the behaviour language: the inverse of ``parse`` and ``check``."""

from collections.abc import Sequence
from typing import Final

from emu.behaviour import tree
from emu.behaviour.functions import FUNCTIONS
from emu.behaviour.parse import LEVELS, UNARY_LEVEL

_SYMBOLS: Final[dict[tree.BinaryOp, str]] = {
    "add": "+", "sub": "-", "and": "&", "or": "|", "xor": "^", "shift-left": "<<", "shift-right": ">>",
    "multiply": "*", "equal": "==", "unequal": "!=", "below": "<", "not-above": "<=", "above": ">",
    "not-below": ">=",
}  # fmt: skip
_CONTEXT: Final = frozenset({"add", "sub", "and", "or", "xor"})
_POSTFIX_LEVEL: Final = UNARY_LEVEL + 1
_NOT_LEVEL: Final = 0  # lower than everything: 'not' is always put in parentheses inside another


def text(statements: Sequence[tree.Statement]) -> str:
    """Return statements as one line of text that is read back as the same tree."""
    return "; ".join(_statement(statement) for statement in statements)


def expression_text(node: tree.Expr, width: int | None = None) -> str:
    """Return an expression as text; ``width`` is that of what it stands beside, if anything."""
    return _expr(node, width, 0)


def _statement(node: tree.Statement) -> str:  # noqa: PLR0911  # one for each kind
    match node:
        case tree.Let():
            return f"let {node.name} = {_expr(node.value, None, 0)}"
        case tree.SetRegister():
            return f"{_register_target(node)} = {_expr(node.value, node.high - node.low + 1, 0)}"
        case tree.SetFileEntry():
            return f"{node.name}[{_index(node.index)}] = {_expr(node.value, node.value.width, 0)}"
        case tree.Store():
            return f"M[{_index(node.address)}] = {_expr(node.value, node.value.width, 0)}"
        case tree.PortWrite():
            return f"P[{_index(node.number)}] = {_expr(node.value, node.value.width, 0)}"
        case tree.If():
            return _branch(node)
        case tree.Plain():
            return node.what
        case tree.RaiseAlarm():
            return f"alarm {node.name}"
        case tree.EnterTrap():
            return f"trap {node.name}"


def _register_target(node: tree.SetRegister) -> str:
    return f"{node.name}[{_bits(node.high, node.low)}]"


def _bits(high: int, low: int) -> str:
    return str(high) if high == low else f"{high}..{low}"


def _branch(node: tree.If) -> str:
    head = f"if {_expr(node.condition, 1, 0)} {{ {text(node.then)} }}"
    if not node.otherwise:
        return head
    only = node.otherwise[0]
    if len(node.otherwise) == 1 and isinstance(only, tree.If):
        return f"{head} else {_branch(only)}"
    return f"{head} else {{ {text(node.otherwise)} }}"


def _expr(node: tree.Expr, want: int | None, level: int) -> str:  # noqa: PLR0911  # one for each kind
    """Return the text of a node; literals are bare where their width is the one wanted.

    ``level`` is how tightly what stands around binds: what binds more loosely is put in parentheses.
    """
    match node:
        case tree.Const():
            return str(node.value) if node.width == want else f"bits({node.value}, {node.width})"
        case tree.Register() | tree.Local():
            return node.name
        case tree.Operand():
            return node.letter
        case tree.FileEntry():
            return f"{node.name}[{_index(node.index)}]"
        case tree.Load():
            return f"M[{_index(node.address)}]"
        case tree.PortRead():
            return f"P[{_index(node.number)}]"
        case tree.Slice():
            return f"{_expr(node.operand, None, _POSTFIX_LEVEL)}[{_bits(node.high, node.low)}]"
        case tree.Call():
            return _call(node)
        case tree.Unary():
            return _unary(node, want, level)
        case tree.Binary():
            return _binary(node, want, level)


def _index(node: tree.Expr) -> str:
    """Return what stands between brackets: literals keep their own width there."""
    return _expr(node, None, 0)


def _unary(node: tree.Unary, want: int | None, level: int) -> str:
    if node.op == "not":
        inner = f"not {_expr(node.operand, 1, UNARY_LEVEL)}"
        return f"({inner})" if level > _NOT_LEVEL else inner
    sign = "~" if node.op == "invert" else "-"
    inner = sign + _expr(node.operand, want, UNARY_LEVEL)
    return f"({inner})" if level > UNARY_LEVEL else inner


def _binary(node: tree.Binary, want: int | None, level: int) -> str:
    symbol = _SYMBOLS[node.op]
    own = LEVELS[symbol]
    left_want, right_want = _wants(node, want)
    left = _expr(node.left, left_want, own + 1)  # chains get parentheses: plain to read, and no mistake
    right = _expr(node.right, right_want, own + 1)
    inner = f"{left} {symbol} {right}"
    return f"({inner})" if level > own else inner


def _wants(node: tree.Binary, want: int | None) -> tuple[int | None, int | None]:
    """Return the widths that literals on the left and on the right take of themselves."""
    if node.op in {"shift-left", "shift-right"}:
        amount = node.right
        needed = max(1, amount.value.bit_length()) if isinstance(amount, tree.Const) else None
        return (want, needed)
    outer = want if node.op in _CONTEXT and want == node.width else None
    if outer is None and isinstance(node.left, tree.Const) and not isinstance(node.right, tree.Const):
        return node.right.width, None
    return outer, node.left.width


def _call(node: tree.Call) -> str:
    function = FUNCTIONS[node.function]
    kept = iter(node.arguments)
    alike: int | None = None
    parts: list[str] = []
    for role in function.roles:
        if role == "size":
            parts.append(str(node.width))
            continue
        argument = next(kept, None)
        if argument is None:
            break
        want = 1 if role == "bit" else alike if role == "like" else None
        alike = argument.width if role == "like" else alike
        parts.append(_expr(argument, want, 0))
    parts += [_expr(argument, None, 0) for argument in kept]
    return f"{node.function}({', '.join(parts)})"
