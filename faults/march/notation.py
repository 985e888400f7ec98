"""March notation: text <-> :class:`MarchTest`.

A march test is a list of elements; an element is an address order and the operations done on each cell
before going on to the next. The notation is the one of van de Goor, *Testing Semiconductor Memories*
(1991, from memory), typed with ``^ v ~`` or with arrows::

    ~(w0); ^(r0,w1); v(r1,w0)

Errors are :class:`emu.errors.InputError` with the place in the text (file ``<march>``).
"""

import re
from collections.abc import Iterator
from enum import Enum

from attrs import define, field, frozen

from emu.errors import Problems, declare
from emu.where import Place, Source

FILE = "<march>"
MAX_OPERATIONS = 1000

SYNTAX = declare(
    "march-syntax",
    "A march test is a list of elements, each an address order (^ v ~) and operations in parentheses.",
    "Write for instance ~(w0); ^(r0,w1); v(r1,w0). Put Del between elements for a delay.",
    "~(w0); (r0,w1)",
    "march",
)
OPERATION = declare(
    "march-operation",
    "An operation of a march element is r0, r1, w0 or w1.",
    "Use r for read and w for write, followed by the data 0 or 1.",
    "~(w0); ^(r0,x1)",
    "march",
)
EMPTY = declare(
    "march-empty",
    "A march test has at least one element, and an element at least one operation.",
    "Add an operation, for instance ~(w0), or take the empty element out.",
    "~(w0); ^()",
    "march",
)
FALSE_ALARM = declare(
    "march-false-alarm",
    "A read must expect what a healthy cell then holds, or a healthy memory would fail the test.",
    "Make the read expect the value of the last write before it, or write before the first read.",
    "~(w0); ^(r1,w1)",
    "march",
)
TOO_LONG = declare(
    "march-too-long",
    f"A march test has at most {MAX_OPERATIONS} operations per cell.",
    "Split the test in two.",
    "~(w0" + ",w0" * MAX_OPERATIONS + ")",
    "march",
)


class Order(Enum):
    """The address order of an element; ``EITHER`` leaves the choice to whoever runs the test."""

    UP = "^"
    DOWN = "v"
    EITHER = "~"


_ORDERS = {
    **dict.fromkeys("^⇑↑", Order.UP),
    **dict.fromkeys("vV⇓↓", Order.DOWN),
    **dict.fromkeys("~⇕↕", Order.EITHER),
}
_ARROWS = {Order.UP: "⇑", Order.DOWN: "⇓", Order.EITHER: "⇕"}


@frozen
class Op:
    """One operation on one cell: a write of ``data``, or a read that expects ``data``."""

    write: bool
    data: int

    def __str__(self) -> str:
        return f"{'w' if self.write else 'r'}{self.data}"


@frozen
class Element:
    """A march element: all operations on one cell, then on the next cell in the order."""

    order: Order
    ops: tuple[Op, ...]


@frozen
class Delay:
    """A pause between elements (``Del``), for retention faults. Its length is up to whoever runs it."""


@frozen
class MarchTest:
    """A march test, consistent by construction.

    Raises ``ValueError`` if it has no operation or if a healthy memory would fail it; text is checked
    by :func:`parse`, which says where.
    """

    elements: tuple[Element | Delay, ...] = field()
    name: str = ""

    def __attrs_post_init__(self) -> None:
        ops = list(self.ops())
        if not ops or any(isinstance(e, Element) and not e.ops for e in self.elements):
            raise ValueError("a march test has at least one element, each with an operation")
        wrong = _false_alarm(ops)
        if wrong is not None:
            raise ValueError(f"operation {wrong + 1}, {ops[wrong]}, fails on a healthy memory")

    def ops(self) -> Iterator[Op]:
        """Yield the operations that every cell undergoes, in order."""
        for element in self.elements:
            if isinstance(element, Element):
                yield from element.ops

    @property
    def length(self) -> int:
        """Operations per cell, counted from the definition (the 10 of "10N"); delays do not count."""
        return sum(1 for _ in self.ops())

    @property
    def delays(self) -> int:
        """How many pauses the test has."""
        return sum(isinstance(e, Delay) for e in self.elements)

    @property
    def either_count(self) -> int:
        """How many elements leave their address order open."""
        return sum(isinstance(e, Element) and e.order is Order.EITHER for e in self.elements)

    def __str__(self) -> str:
        return render(self)


def render(test: MarchTest, *, arrows: bool = False) -> str:
    """Return the notation of ``test``: ``~(w0); ^(r0,w1)``, or with arrows for print."""
    return "; ".join(_render_element(e, arrows) for e in test.elements)


def _render_element(element: Element | Delay, arrows: bool) -> str:
    if isinstance(element, Delay):
        return "Del"
    order = _ARROWS[element.order] if arrows else element.order.value
    return f"{order}({','.join(map(str, element.ops))})"


def _false_alarm(ops: list[Op]) -> int | None:
    """Return the index of the first read that a healthy cell of unknown first content may fail."""
    held = None
    for index, op in enumerate(ops):
        if op.write:
            held = op.data
        elif held != op.data:
            return index
    return None


def looks_like_notation(text: str) -> bool:
    """Tell a notation from the name of a test: names have no parentheses, arrows or braces."""
    return any(c in text for c in "(){};^~⇑⇓⇕↑↓↕")


def parse(text: str, name: str = "", file: str = FILE) -> MarchTest:
    """Read the notation ``text``. Raises :class:`emu.errors.InputError` with every problem found."""
    return _Parser(Source(file, text)).run(name)


_TOKEN = re.compile(r"[A-Za-z0-9_]+|\S")
_SEPARATORS = ";,"


@frozen
class _Token:
    text: str
    offset: int


@define
class _Parser:
    source: Source
    problems: Problems = field(init=False)
    tokens: list[_Token] = field(init=False)
    at: int = 0
    elements: list[Element | Delay] = field(factory=list)
    ops: list[tuple[Op, _Token]] = field(factory=list)

    def __attrs_post_init__(self) -> None:
        self.problems = Problems(self.source)
        self.tokens = [_Token(m[0], m.start()) for m in _TOKEN.finditer(self.source.text)]

    def run(self, name: str) -> MarchTest:
        closing = self.outer_braces()
        while self.at < len(self.tokens):
            self.item()
        if closing:
            self.problems.add(SYNTAX, "'{' is never closed", self.place(closing), hint="add '}' at the end")
        self.check()
        self.problems.raise_if_errors()
        return MarchTest(tuple(self.elements), name)

    def place(self, token: _Token) -> Place:
        return self.source.place(token.offset, len(token.text))

    def outer_braces(self) -> _Token | None:
        """Take the optional outer braces off; return the opening one if it is not closed."""
        if not self.tokens or self.tokens[0].text != "{":
            return None
        opening = self.tokens.pop(0)
        if self.tokens and self.tokens[-1].text == "}":
            self.tokens.pop()
            return None
        return opening

    def item(self) -> None:
        token = self.tokens[self.at]
        if token.text in _SEPARATORS:
            self.at += 1
        elif token.text.lower() == "del":
            self.at += 1
            self.elements.append(Delay())
        elif token.text in _ORDERS:
            self.at += 1
            self.element(_ORDERS[token.text], token)
        elif token.text == "(":
            self.unexpected(token, "an element starts with its address order, '(' was given")
            self.element(Order.EITHER, token)
        else:
            self.unexpected(token, f"an element starts with its address order, {token.text!r} was given")
            self.at += 1

    def unexpected(self, token: _Token, message: str) -> None:
        hint = "write ^ (up), v (down) or ~ (either) before '('"
        if _read_op(token.text):
            hint = f"put operations in parentheses: ~({token.text})"
        self.problems.add(SYNTAX, message, self.place(token), hint=hint)

    def element(self, order: Order, start: _Token) -> None:
        if self.at == len(self.tokens) or self.tokens[self.at].text != "(":
            message = f"'(' must follow the address order {start.text!r}"
            self.problems.add(SYNTAX, message, self.place(start), hint=f"for instance {start.text}(r0,w1)")
            return
        opening = self.tokens[self.at]
        self.at += 1
        ops = tuple(self.operations(opening))
        if not ops and not self.problems.errors:
            self.problems.add(
                EMPTY, "an element has at least one operation, '()' was given", self.place(start)
            )
        self.elements.append(Element(order, ops))

    def operations(self, opening: _Token) -> Iterator[Op]:
        while self.at < len(self.tokens):
            token = self.tokens[self.at]
            if token.text in _ORDERS or token.text in "({}":
                break
            self.at += 1
            if token.text == ")":
                return
            if token.text not in _SEPARATORS:
                yield from self.operation(token)
        self.problems.add(
            SYNTAX, "'(' is never closed", self.place(opening), hint="add ')' after the element"
        )

    def operation(self, token: _Token) -> Iterator[Op]:
        op = _read_op(token.text)
        if op:
            self.ops.append((op, token))
            yield op
            return
        kind = token.text[0].lower()
        hint = f"write {kind}0 or {kind}1" if kind in "rw" else "write r0, r1, w0 or w1"
        message = f"an operation is r0, r1, w0 or w1, {token.text!r} was given"
        self.problems.add(OPERATION, message, self.place(token), hint=hint)

    def check(self) -> None:
        """Rules on the whole test; only where the text itself was read without a mistake."""
        if self.problems.errors:
            return
        if not self.ops:
            self.problems.add(EMPTY, "a march test has at least one element", self.source.place(0))
            return
        if len(self.ops) > MAX_OPERATIONS:
            message = f"at most {MAX_OPERATIONS} operations per cell, {len(self.ops)} were given"
            self.problems.add(TOO_LONG, message, self.place(self.ops[MAX_OPERATIONS][1]))
        wrong = _false_alarm([op for op, _ in self.ops])
        if wrong is not None:
            self.false_alarm(wrong)

    def false_alarm(self, index: int) -> None:
        op, token = self.ops[index]
        held = next((o.data for o, _ in reversed(self.ops[:index]) if o.write), None)
        given = f"{op} before any write" if held is None else f"{op} where the cell holds {held}"
        hint = "start with ~(w0)" if held is None else f"write r{held}"
        message = f"a read expects what a healthy cell holds, {given} was given"
        self.problems.add(FALSE_ALARM, message, self.place(token), hint=hint)


def _read_op(text: str) -> Op | None:
    if len(text) == 2 and text[0] in "rRwW" and text[1] in "01":
        return Op(text[0] in "wW", int(text[1]))
    return None
