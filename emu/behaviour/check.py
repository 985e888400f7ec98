"""Nodes -> typed tree: names are found, widths are settled, and everything wrong is reported at once."""

from collections.abc import Sequence

from attrs import define

from emu.behaviour import tree
from emu.behaviour.expressions import Expressions, counted, remedy
from emu.behaviour.names import BOUND, LACKS, NAME, USE, WIDTH, Names
from emu.behaviour.parse import (
    Assign,
    Branch,
    Broken,
    Index,
    LetNode,
    Name,
    Node,
    StatementNode,
    Word,
    parse,
)
from emu.behaviour.tokens import MAX_TEXT, RESERVED, SIZE, Span, Text
from emu.errors import Problems, nearest


def check(texts: Sequence[Text], names: Names, problems: Problems) -> tuple[tree.Statement, ...]:
    """Return the typed statements of a ``does``, one text a string of it.

    What is wrong is added to ``problems``; the statements returned are then incomplete.
    """
    if problems.full:
        return ()  # so that a file of nothing but mistakes takes no time
    size = sum(len(text.text) for text in texts)
    if size > MAX_TEXT:
        message = f"the text of a behaviour has at most {MAX_TEXT:,} characters; this has {size:,}"
        problems.add(SIZE, message, Span(texts[0], 0).place)
        return ()
    checker = _Statements(names, problems)
    nodes = [node for text in texts for node in parse(text, problems)]
    return checker.block(nodes)


@define
class _Statements(Expressions):
    """Types statements; None is wrong, and has been reported."""

    def block(self, nodes: Sequence[StatementNode]) -> tuple[tree.Statement, ...]:
        done = (self.statement(node) for node in nodes)
        return tuple(statement for statement in done if statement is not None)

    def inner(self, nodes: Sequence[StatementNode]) -> tuple[tree.Statement, ...]:
        outer = dict(self.known)
        done = self.block(nodes)
        self.known = outer
        return done

    def statement(self, node: StatementNode) -> tree.Statement | None:  # noqa: PLR0911  # one for each kind
        if self.problems.full:
            return None
        match node:
            case LetNode():
                return self.let(node)
            case Assign(target=Name() as target):
                return self.assign_name(target, None, node.value)
            case Assign(target=Index() as target):
                return self.assign_index(target, node.value)
            case Branch():
                return self.branch(node)
            case Word():
                return self.word(node)
            case Broken(binds=binds):
                if binds:
                    self.known[binds] = 0
                    self.bound.setdefault(binds, None)
        return None

    def let(self, node: LetNode) -> tree.Statement | None:
        value = self.value(node.value, None)
        names = self.names
        what = (
            "a word of the language" if node.name in RESERVED
            else "a register" if node.name in names.registers or node.name in names.files
            else "a letter of the encoding" if node.name in names.operands
            else "bound already" if node.name in self.bound
            else ""
        )  # fmt: skip
        if what:
            self.report(BOUND, f"'let' binds a new name; {node.name!r} is {what}", node.span)
            return None
        self.bound[node.name] = node.span
        self.known[node.name] = value.width if value else 0
        return tree.Let(node.name, value) if value else None

    def branch(self, node: Branch) -> tree.Statement | None:
        condition = self.one_bit(node.condition, "a condition is 1 bit wide")
        then, otherwise = self.inner(node.then), self.inner(node.otherwise)
        return tree.If(condition, then, otherwise) if condition else None

    def word(self, node: Word) -> tree.Statement | None:
        names = self.names
        match node.what:
            case "alarm":
                if self.named(node, names.alarms, "an alarm"):
                    return tree.RaiseAlarm(node.name)
            case "trap" if names.traps is None:
                self.report(USE, f"a trap enters no trap; got 'trap {node.name}'", node.span)
            case "trap":
                if self.named(node, names.traps or frozenset(), "a trap"):
                    return tree.EnterTrap(node.name)
            case "restart" if not names.restarts:
                self.report(LACKS, "'restart' needs a restart table; the machine has none", node.span)
            case "rearm" if not names.watchdog:
                self.report(LACKS, "'rearm' needs a watchdog; the machine has none", node.span)
            case "skip" | "halt" | "rearm" | "restart" as what:
                return tree.Plain(what)
        return None

    def named(self, node: Word, known: frozenset[str], what: str) -> bool:
        if node.name in known:
            return True
        if node.name in self.names.doubtful:
            return False
        self.report(
            NAME, f"'{node.what}' names {what} of the machine; got {node.name!r}", node.span,
            nearest(node.name, sorted(known)),
        )  # fmt: skip
        return False

    # -- targets

    def assign_name(self, target: Name, bits: tuple[int, int] | None, given: Node) -> tree.Statement | None:
        name, names = target.name, self.names
        if name not in names.registers:
            self.no_target(target)
            if not given.loose:
                self.value(given, None)
            return None
        high, low = bits or (names.registers[name] - 1, 0)
        value = self.fitted(given, high - low + 1, f"{_target(name, bits)} has")
        return tree.SetRegister(name, high, low, value) if value else None

    def no_target(self, target: Name) -> None:
        name, names = target.name, self.names
        if name in names.doubtful:
            return
        if name in names.files:
            self.report(USE, f"a register of a file is written {name}[index]; got {name!r}", target.span)
        elif name in {"M", "P"}:
            self.report(USE, f"{name!r} takes an index; got none", target.span, f"write {name}[x] = ...")
        elif name in self.bound or name in names.operands:
            what = "bound by 'let'" if name in self.bound else "a letter of the encoding"
            self.report(
                USE, f"a target is a register, M[...] or P[...]; {name!r} is {what}, which does not change",
                target.span,
            )  # fmt: skip
        else:
            known = [*names.registers, *names.files]
            self.report(
                NAME, f"a target is a register, M[...] or P[...]; got {name!r}", target.span,
                nearest(name, known),
            )  # fmt: skip

    def assign_index(self, target: Index, given: Node) -> tree.Statement | None:
        base = target.base
        if not isinstance(base, Name):
            self.report(USE, "bits of a register can be set, no bits of other things", target.span)
            return None
        if base.name in {"M", "P"} or base.name in self.names.files:
            return self.assign_element(base.name, target, given)
        if base.name not in self.names.registers:
            self.no_target(base)
            return None
        bits = self.bit_range(target, self.names.registers[base.name])
        return self.assign_name(base, bits, given) if bits else None

    def assign_element(self, name: str, target: Index, given: Node) -> tree.Statement | None:
        if target.last is not None:
            self.report(USE, f"{name}[...] takes one index; got a range", target.span)
            return None
        if name == "M":
            address = self.address(target.first)
            value = self.fitted(given, self.names.word_bits, "a word of memory has")
            return tree.Store(address, value) if address and value else None
        if name == "P":
            number = self.port(target.first, "out")
            value = self.fitted(given, self.names.word_bits, "a port has")
            return tree.PortWrite(number, value) if number and value else None
        index = self.file_index(name, target.first)
        value = self.fitted(given, self.names.files[name][0], f"a register of {name!r} has")
        return tree.SetFileEntry(name, index, value) if index and value else None

    def fitted(self, node: Node, width: int, target: str) -> tree.Expr | None:
        value = self.value(node, width)
        if value is not None and value.width != width:
            self.report(
                WIDTH,
                f"a value is as wide as its target; {target} {counted(width)}, the value {value.width}",
                node.span,
                remedy(value.width, width),
            )
            return None
        return value


def _target(name: str, bits: tuple[int, int] | None) -> str:
    """Return a register, or some of its bits, as a message names it."""
    return repr(name if bits is None else f"{name}[{bits[0]}..{bits[1]}]")
