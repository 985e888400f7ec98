"""Text of the behaviour language -> nodes without widths, by recursive descent."""

from typing import Final, NoReturn

from attrs import define, field, frozen

from emu.behaviour.tokens import KEYWORDS, SIZE, SYNTAX, Span, Text, Token, tokenize
from emu.errors import Code, Problems, nearest

MAX_DEPTH: Final = 64  # nesting of expressions, and of blocks

# Binary operators by how tightly they bind; comparisons do not chain.
LEVELS: Final[dict[str, int]] = {
    "or": 1, "and": 2,
    "==": 4, "!=": 4, "<": 4, "<=": 4, ">": 4, ">=": 4,
    "|": 5, "^": 6, "&": 7, "<<": 8, ">>": 8, "+": 9, "-": 9, "*": 10,
}  # fmt: skip
NOT_LEVEL: Final = 3
COMPARISON_LEVEL: Final = 4
UNARY_LEVEL: Final = 11
_TAKES_CONTEXT: Final = frozenset({"|", "^", "&", "+", "-"})


@frozen
class Number:
    """A literal."""

    value: int
    span: Span
    loose: bool = True
    depth: int = 1


@frozen
class Name:
    """A name: what it stands for is found later."""

    name: str
    span: Span
    loose: bool = False
    depth: int = 1


@frozen
class Index:
    """``base[first]`` or ``base[first..last]``: memory, port, register of a file, or bits."""

    base: "Node"
    first: "Node"
    last: "Node | None"
    span: Span
    depth: int
    loose: bool = False


@frozen
class Apply:
    """``function(arguments)``."""

    function: str
    name_span: Span
    arguments: tuple["Node", ...]
    span: Span
    depth: int
    loose: bool = False


@frozen
class Prefix:
    """``~x``, ``-x``, ``not x``."""

    op: str
    operand: "Node"
    span: Span
    depth: int
    loose: bool = False


@frozen
class Infix:
    """``left op right``; ``op_span`` is that of the operator."""

    op: str
    left: "Node"
    right: "Node"
    op_span: Span
    span: Span
    depth: int
    loose: bool = False


# ``loose``: made of literals only, so that its width is that of what it stands beside.
Node = Number | Name | Index | Apply | Prefix | Infix


@frozen
class LetNode:
    """``let name = value``."""

    name: str
    span: Span
    value: Node


@frozen
class Assign:
    """``target = value``."""

    target: Name | Index
    value: Node
    span: Span


@frozen
class Branch:
    """``if condition { then } else { otherwise }``."""

    condition: Node
    then: tuple["StatementNode", ...]
    otherwise: tuple["StatementNode", ...]
    span: Span


@frozen
class Word:
    """``skip``, ``halt``, ``rearm``, ``restart``; ``alarm name``, ``trap name``."""

    what: str
    span: Span
    name: str = ""


@frozen
class Broken:
    """A statement that could not be read; ``binds`` is the name that it was about to bind, if any."""

    binds: str = ""


StatementNode = LetNode | Assign | Branch | Word | Broken


class _StopError(Exception):
    """A statement cannot be read; its problem has been reported."""


def parse(text: Text, problems: Problems) -> tuple[StatementNode, ...]:
    """Return the statements of one string; what is wrong is reported, never raised."""
    return _Parser(tokenize(text, problems), problems).program()


@define
class _Parser:
    tokens: list[Token]
    problems: Problems
    at: int = 0
    open: int = 0
    lets: list[str] = field(factory=list)

    # -- the stream of tokens

    @property
    def token(self) -> Token:
        return self.tokens[self.at]

    @property
    def ended(self) -> bool:
        return self.token.kind == "end"

    def next(self) -> Token:
        token = self.token
        if token.kind != "end":
            self.at += 1
        return token

    def sees(self, *texts: str) -> bool:
        return self.token.kind in {"symbol", "name"} and self.token.text in texts

    def accept(self, text: str) -> bool:
        if self.sees(text):
            self.at += 1
            return True
        return False

    def need(self, text: str, where: str) -> Token:
        if not self.sees(text):
            hint = "write == to compare" if self.sees("=") else ""
            self.stop(f"{text!r} must stand {where}; got {self.got()}", hint)
        return self.next()

    def got(self) -> str:
        return "the end of the text" if self.ended else repr(self.token.text)

    def stop(self, message: str, hint: str = "", code: Code = SYNTAX, span: Span | None = None) -> NoReturn:
        if self.token.kind != "wrong":  # which has been reported
            self.problems.add(code, message, (span or self.token.span).place, hint=hint)
        raise _StopError

    def enter(self) -> None:
        self.open += 1
        if self.open > MAX_DEPTH:
            self.too_deep(self.token.span)

    def too_deep(self, span: Span) -> NoReturn:
        self.stop(
            f"a behaviour is nested at most {MAX_DEPTH} deep; this goes deeper",
            "bind a part of it by 'let'",
            SIZE,
            span,
        )

    def deeper(self, span: Span, *nodes: Node) -> int:
        """Return the depth of a node over ``nodes``, which is bounded like the nesting of the text."""
        depth = 1 + max((node.depth for node in nodes), default=0)
        if depth > MAX_DEPTH:
            self.too_deep(span)
        return depth

    # -- statements

    def program(self) -> tuple[StatementNode, ...]:
        """Read everything, beginning again after the next ';' outside blocks when a statement is wrong."""
        found: list[StatementNode] = []
        while not self.ended and not self.problems.full:
            start, self.open = self.at, 0
            try:
                found.append(self.statement())
                if not self.ended:
                    self.need(";", "between two statements")
            except _StopError:
                self.recover(start)
                found += [Broken(name) for name in self.lets] or [Broken()]
                self.lets.clear()
        return tuple(found)

    def recover(self, start: int) -> None:
        """Go to the first ';' after the error that closes the statement begun at ``start``."""
        level = 0
        for at in range(start, len(self.tokens)):
            token = self.tokens[at]
            level += (token.text == "{") - (token.text == "}") if token.kind == "symbol" else 0
            if token.kind == "end" or (at >= self.at and level <= 0 and token.text == ";"):
                self.at = at
                break
        self.accept(";")

    def statements(self) -> tuple[StatementNode, ...]:
        found: list[StatementNode] = []
        while not self.sees("}") and not self.ended:
            found.append(self.statement())
            if not self.sees("}") and not self.ended:
                self.need(";", "between two statements")
        return tuple(found)

    def block(self) -> tuple[StatementNode, ...]:
        self.need("{", "before a block")
        found = self.statements()
        self.need("}", "at the end of a block")
        return found

    def statement(self) -> StatementNode:
        token = self.token
        if token.kind != "name":
            self.stop(f"a statement begins with a name; got {self.got()}")
        match token.text:
            case "let":
                return self.let()
            case "if":
                return self.branch()
            case "skip" | "halt" | "rearm" | "restart":
                self.next()
                return Word(token.text, token.span)
            case "alarm" | "trap":
                self.next()
                name = self.name(f"after {token.text!r}")
                return Word(token.text, name.span, name.text)
        return self.assignment()

    def name(self, where: str) -> Token:
        if self.token.kind != "name" or self.token.text in KEYWORDS:
            self.stop(f"a name must stand {where}; got {self.got()}")
        return self.next()

    def let(self) -> StatementNode:
        self.next()
        name = self.name("after 'let'")
        self.lets.append(name.text)
        self.need("=", "after the name of a 'let'")
        value = self.expression()
        self.lets.pop()
        return LetNode(name.text, name.span, value)

    def branch(self) -> StatementNode:
        self.enter()
        word = self.next()
        condition = self.expression()
        then = self.block()
        otherwise: tuple[StatementNode, ...] = ()
        if self.accept("else"):
            otherwise = (self.branch(),) if self.sees("if") else self.block()
        self.open -= 1
        return Branch(condition, then, otherwise, word.span)

    def assignment(self) -> StatementNode:
        first = self.token
        if first.text in KEYWORDS:
            self.stop(f"a statement begins with a name; got {self.got()}")
        target = self.postfix()
        if not isinstance(target, Name | Index):
            self.stop(
                "a target is a register, some of its bits, M[...] or P[...]; this is none", span=target.span
            )
        if not self.sees("="):
            hint = "write '=' to assign" if self.sees("==") else nearest(first.text, KEYWORDS)
            self.stop(f"'=' must stand after a target; got {self.got()}", hint)
        self.next()
        return Assign(target, self.expression(), target.span)

    # -- expressions

    def expression(self) -> Node:
        return self.infix(1)

    def infix(self, level: int) -> Node:
        """Read operators that bind at ``level`` or tighter (precedence climbing keeps the stack low)."""
        left = self.prefix(level)
        while (found := LEVELS.get(self.token.text, 0)) >= level:
            op = self.next()
            right = self.infix(found + 1)
            span = left.span.to(right.span)
            depth = self.deeper(span, left, right)
            loose = left.loose and (right.loose if op.text in _TAKES_CONTEXT else op.text in {"<<", ">>"})
            left = Infix(op.text, left, right, op.span, span, depth, loose)
            if found == COMPARISON_LEVEL and LEVELS.get(self.token.text) == COMPARISON_LEVEL:
                self.stop(
                    f"comparisons do not chain; got {self.got()} after a comparison", "join two by 'and'"
                )
        return left

    def prefix(self, level: int) -> Node:
        if not self.sees("~", "-", "not"):
            return self.postfix()
        if self.sees("not") and level > NOT_LEVEL:
            self.stop("'not' binds more loosely than what stands before it", "put it in parentheses")
        self.enter()
        op = self.next()
        operand = self.infix(NOT_LEVEL if op.text == "not" else UNARY_LEVEL)
        self.open -= 1
        span = op.span.to(operand.span)
        return Prefix(op.text, operand, span, self.deeper(span, operand), operand.loose and op.text != "not")

    def postfix(self) -> Node:
        self.enter()
        node = self.primary()
        while self.sees("["):
            self.next()
            first = self.expression()
            last = self.expression() if self.accept("..") else None
            span = node.span.to(self.need("]", "after an index").span)
            depth = self.deeper(span, node, first)
            node = Index(node, first, last, span, depth)
        self.open -= 1
        return node

    def primary(self) -> Node:
        token = self.token
        if token.kind == "number":
            self.next()
            return Number(token.value, token.span)
        if self.accept("("):
            node = self.expression()
            self.need(")", "after an expression in parentheses")
            return node
        if token.kind != "name" or token.text in KEYWORDS:
            self.stop(f"a value must stand here; got {self.got()}")
        self.next()
        return self.apply(token) if self.accept("(") else Name(token.text, token.span)

    def apply(self, name: Token) -> Node:
        arguments: list[Node] = []
        while not self.sees(")"):
            arguments.append(self.expression())
            if not self.sees(")"):
                self.need(",", "between two arguments")
        span = name.span.to(self.next().span)
        loose = name.text == "pick" and len(arguments) == 3 and arguments[1].loose and arguments[2].loose
        depth = self.deeper(span, *arguments)
        return Apply(name.text, name.span, tuple(arguments), span, depth, loose)
