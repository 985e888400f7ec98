"""The typed tree of the behaviour language: what both engines execute.

Every expression is an unsigned bit pattern of a known width of 1 to 62 bits. Widths are settled by
``emu.behaviour.check``; a tree that reaches an engine is complete and correct. The language itself is
described in ``docs/reference/behaviour.md``.

Order of effects: the memory and port reads of one statement (or one ``if`` condition) happen left to
right, inner before outer, each exactly once; then the rest of the statement is computed; then the
assignment is made.
"""

from typing import Literal

from attrs import frozen

BinaryOp = Literal[
    "add", "sub",  # the machine's arithmetic at the word's width, plain binary at any other width
    "and", "or", "xor",
    "shift-left", "shift-right",  # logical; an amount of the width or more gives 0
    "multiply",  # unsigned, width of the result is the sum of the widths
    "equal", "unequal", "below", "not-above", "above", "not-below",  # unsigned; result is 1 bit
]  # fmt: skip
UnaryOp = Literal["invert", "negate", "not"]  # "not": 1 bit in, 1 bit out


@frozen
class Const:
    """A literal whose width has been settled."""

    value: int
    width: int


@frozen
class Register:
    """The value of a single register."""

    name: str
    width: int


@frozen
class FileEntry:
    """One register of a file; an index beyond the file wraps modulo its (power of two) size."""

    name: str
    index: "Expr"
    width: int


@frozen
class Operand:
    """A field of the instruction word, named by its letter."""

    letter: str
    width: int


@frozen
class Local:
    """A name bound earlier in the same instruction by ``let``."""

    name: str
    width: int


@frozen
class Load:
    """``M[address]``: one read through the machine's windows.

    The address is taken modulo the address width; the result has the data width of the word.
    """

    address: "Expr"
    width: int


@frozen
class PortRead:
    """``P[number]``: the next word offered at an input port; 0 from a port that is not an input."""

    number: "Expr"
    width: int


@frozen
class Unary:
    """A one-operand operation."""

    op: UnaryOp
    operand: "Expr"
    width: int


@frozen
class Binary:
    """A two-operand operation."""

    op: BinaryOp
    left: "Expr"
    right: "Expr"
    width: int


@frozen
class Slice:
    """``x[high..low]``; bit 0 is the least significant bit, whatever the machine's own numbering."""

    operand: "Expr"
    high: int
    low: int
    width: int


@frozen
class Call:
    """A call of one of the named functions of the language (``emu.behaviour.functions``)."""

    function: str
    arguments: tuple["Expr", ...]
    width: int


Expr = Const | Register | FileEntry | Operand | Local | Load | PortRead | Unary | Binary | Slice | Call


@frozen
class Let:
    """``let name = value``; a name is bound once in an instruction."""

    name: str
    value: Expr


@frozen
class SetRegister:
    """``name = value`` or ``name[high..low] = value`` (the other bits stay)."""

    name: str
    high: int
    low: int
    value: Expr


@frozen
class SetFileEntry:
    """``name[index] = value``; writing the hard-wired zero changes nothing."""

    name: str
    index: Expr
    value: Expr


@frozen
class Store:
    """``M[address] = value``: one write through the machine's windows."""

    address: Expr
    value: Expr


@frozen
class PortWrite:
    """``P[number] = value``: an output; nothing happens at a port that is not an output."""

    number: Expr
    value: Expr


@frozen
class If:
    """``if condition { … } else { … }``; the condition is 1 bit wide."""

    condition: Expr
    then: tuple["Statement", ...]
    otherwise: tuple["Statement", ...]


@frozen
class Plain:
    """A statement without operands.

    ``skip``: the program counter moves on by one more instruction. ``halt``: the machine stops when the
    instruction has finished. ``rearm``: the watchdog starts anew. ``restart``: the machine restarts when
    the instruction has finished.
    """

    what: Literal["skip", "halt", "rearm", "restart"]


@frozen
class RaiseAlarm:
    """``alarm name``: acts when the instruction has finished, as the machine file says of that alarm."""

    name: str


@frozen
class EnterTrap:
    """``trap name``: the statements of that trap are executed here. A trap enters no other trap."""

    name: str


Statement = Let | SetRegister | SetFileEntry | Store | PortWrite | If | Plain | RaiseAlarm | EnterTrap
