"""Walks the typed tree: expressions to values, statements to effects on a machine."""

from collections.abc import Mapping
from typing import Protocol

from attrs import define

from emu.behaviour.functions import evaluate, evaluate_binary, evaluate_unary
from emu.behaviour.tree import (
    Binary,
    Call,
    Const,
    EnterTrap,
    Expr,
    FileEntry,
    If,
    Let,
    Load,
    Local,
    Operand,
    Plain,
    PortRead,
    PortWrite,
    RaiseAlarm,
    Register,
    SetFileEntry,
    SetRegister,
    Slice,
    Statement,
    Store,
    Unary,
)
from emu.words import WordFormat


class Surroundings(Protocol):
    """What statements act on: registers, memory, ports, and what waits for the end of the instruction."""

    word: WordFormat
    registers: dict[str, int]
    files: dict[str, list[int]]

    def load(self, address: int) -> int:
        """Read a word as data."""
        ...

    def store(self, address: int, value: int) -> None:
        """Write a word."""
        ...

    def port_read(self, number: int) -> int:
        """Read an input port."""
        ...

    def port_write(self, number: int, value: int) -> None:
        """Write an output port."""
        ...

    def plain(self, what: str) -> None:
        """Do a statement without operands."""
        ...

    def alarm(self, name: str) -> None:
        """Raise an alarm."""
        ...

    def trap(self, name: str) -> tuple[Statement, ...]:
        """Return the statements of a trap."""
        ...

    def zero_of(self, file: str) -> int | None:
        """Return the index of a hard-wired zero."""
        ...


@define
class Scope:
    """The names of one instruction being executed."""

    machine: Surroundings
    operands: Mapping[str, int]
    locals: dict[str, int]


def execute(statements: tuple[Statement, ...], scope: Scope) -> None:
    """Execute statements in order."""
    for statement in statements:
        _execute_one(statement, scope)


def _execute_one(statement: Statement, scope: Scope) -> None:
    machine = scope.machine
    match statement:
        case Let(name, value):
            scope.locals[name] = value_of(value, scope)
        case SetRegister(name, high, low, value):
            mask = ((1 << (high - low + 1)) - 1) << low
            new = value_of(value, scope) << low
            machine.registers[name] = (machine.registers[name] & ~mask) | new
        case SetFileEntry(name, index, value):
            _set_file(machine, name, value_of(index, scope), value_of(value, scope))
        case Store(address, value):
            at, word = value_of(address, scope), value_of(value, scope)
            machine.store(at, word)
        case PortWrite(number, value):
            at, word = value_of(number, scope), value_of(value, scope)
            machine.port_write(at, word)
        case If(condition, then, otherwise):
            execute(then if value_of(condition, scope) else otherwise, scope)
        case Plain(what):
            machine.plain(what)
        case RaiseAlarm(name):
            machine.alarm(name)
        case EnterTrap(name):
            execute(machine.trap(name), Scope(machine, {}, {}))


def _set_file(machine: Surroundings, name: str, index: int, value: int) -> None:
    file = machine.files[name]
    index %= len(file)
    if index != machine.zero_of(name):
        file[index] = value


def value_of(expr: Expr, scope: Scope) -> int:  # noqa: PLR0911 - one return a kind of node
    """Return the value of an expression; its reads happen left to right, inner before outer."""
    match expr:
        case Const(value, _):
            return value
        case Register(name, _):
            return scope.machine.registers[name]
        case Operand(letter, _):
            return scope.operands[letter]
        case Local(name, _):
            return scope.locals[name]
        case FileEntry(name, index, _):
            file = scope.machine.files[name]
            return file[value_of(index, scope) % len(file)]
        case Load(address, _):
            return scope.machine.load(value_of(address, scope))
        case PortRead(number, _):
            return scope.machine.port_read(value_of(number, scope))
        case Slice(operand, _, low, width):
            return value_of(operand, scope) >> low & ((1 << width) - 1)
    return _computed(expr, scope)


def _computed(expr: Unary | Binary | Call, scope: Scope) -> int:
    word = scope.machine.word
    match expr:
        case Unary(op, operand, _):
            return evaluate_unary(op, value_of(operand, scope), operand.width, word)
        case Binary(op, left, right, _):
            a, b = value_of(left, scope), value_of(right, scope)
            return evaluate_binary(op, a, b, left.width, word)
        case Call(function, arguments, width):
            values = tuple(value_of(a, scope) for a in arguments)
            return evaluate(function, values, tuple(a.width for a in arguments), width, word.arithmetic)
