"""Statements of the behaviour language -> lines of the generated function."""

from collections.abc import Sequence

from attrs import define, field

from emu.behaviour import tree
from emu.engine.expressions import ExpressionText
from emu.engine.sites import Sites
from emu.spec import InstructionSpec, OperandBits
from emu.words import mask


@define
class Statements(Sites):
    """Writes statements; the names of one instruction are in ``_locals`` and ``_operands``."""

    text: ExpressionText = field(init=False)
    _locals: dict[str, str] = field(factory=dict)
    _operands: dict[str, str] = field(factory=dict)

    def __attrs_post_init__(self) -> None:
        word = self.machine.word
        self.text = ExpressionText(self, word.bits, word.arithmetic)

    # --- names, for the text of expressions

    def operand(self, letter: str) -> str:
        """Return the text of a field of the instruction word."""
        return self._operands[letter]

    def local(self, name: str) -> str:
        """Return the generated name of a name bound by ``let``."""
        return self._locals[name]

    def file_entry(self, name: str, index: str) -> str:
        """Return the text of a register of a file."""
        return f"st[{self._entry(name, index)}]"

    def _entry(self, name: str, index: str) -> str:
        start = self.layout.at["FILES"] + self.layout.file_at(name)
        count = self.machine.register(name).count
        if index.isdigit():
            return str(start + int(index) % count)
        power = count & (count - 1) == 0
        return f"{start} + ({index} & {count - 1})" if power else f"{start} + {index} % {count}"

    # --- instructions

    def instruction(self, instruction: InstructionSpec, word: str) -> None:
        """Write what an instruction does; ``word`` names the instruction word."""
        self._operands = {}
        for operand in instruction.operands:
            name = self.name()
            self.line(f"{name} = {field_text(operand, word)}")
            self._operands[operand.field.letter] = name
        self.body(instruction.does)
        if instruction.extra_ns:
            self.line(f"time += {instruction.extra_ns}")

    def body(self, statements: Sequence[tree.Statement]) -> None:
        """Write statements with names of their own."""
        self._locals = {}
        self.block_of(statements)

    def block_of(self, statements: Sequence[tree.Statement]) -> None:
        """Write statements in order (at least one line)."""
        before = len(self.lines)
        for statement in statements:
            self.statement(statement)
        if len(self.lines) == before:
            self.line("pass")

    def statement(self, statement: tree.Statement) -> None:
        """Write one statement."""
        match statement:
            case tree.Let(name, value):
                generated = f"{self.name()}_{name}" if name.isascii() and name.isidentifier() else self.name()
                self.line(f"{generated} = {self.text.value(value)}")
                self._locals[name] = generated
            case tree.SetRegister(name, high, low, value):
                self._set_register(name, high, low, self.text.value(value))
            case tree.SetFileEntry(name, index, value):
                self._set_entry(name, self.text.value(index), self.text.value(value))
            case tree.Store(address, value):
                at = self.text.value(address)
                self.store(at, self.text.value(value))
            case tree.PortWrite(number, value):
                at = self.text.value(number)
                self.port_write(at, self.text.value(value))
            case tree.If():
                self._branch(statement)
            case tree.Plain(what):
                self.line(self.plain(what))
            case tree.RaiseAlarm(name):
                self.alarm(name)
            case tree.EnterTrap(name):
                self.trap(name)

    def plain(self, what: str) -> str:
        """Return the line of a statement without operands."""
        counter = self.register(self.machine.counter)
        return {
            "skip": f"{counter} = ({counter} + {self.machine.step}) & {self.counter_mask}",
            "halt": "pend |= 4",
            "restart": "pend |= 8",
            "rearm": "watched = time",
        }[what]

    @property
    def counter_mask(self) -> int:
        """The mask of the program counter."""
        return mask(self.machine.register(self.machine.counter).bits)

    def trap(self, name: str) -> None:
        """Write the statements of a trap here; they have names of their own."""
        kept = self._locals, self._operands
        self._operands = {}
        self.body(next(t.does for t in self.machine.traps if t.name == name))
        self._locals, self._operands = kept

    def _set_register(self, name: str, high: int, low: int, value: str) -> None:
        text, bits = self.register(name), self.machine.register(name).bits
        hole = mask(high - low + 1) << low
        if hole == mask(bits):
            self.line(f"{text} = {value}")
        else:
            self.line(f"{text} = ({text} & {mask(bits) & ~hole}) | ({value} << {low})")

    def _set_entry(self, name: str, index: str, value: str) -> None:
        entry, zero = self._entry(name, index), self.machine.register(name).zero
        if zero is None:
            self.line(f"st[{entry}] = {value}")
            return
        at, start = self.name(), self.layout.at["FILES"] + self.layout.file_at(name)
        self.line(f"{at} = {entry}")
        self.line(f"if {at} != {start + zero}:")
        self.line(f"    st[{at}] = {value}")

    def _branch(self, statement: tree.If) -> None:
        self.line(f"if {self.text.test(statement.condition)}:")
        self.indent()
        self.block_of(statement.then)
        self.indent(-1)
        if statement.otherwise:
            self.line("else:")
            self.indent()
            self.block_of(statement.otherwise)
            self.indent(-1)


def field_text(operand: OperandBits, word: str) -> str:
    """Return the text that takes a field out of an instruction word."""
    parts, below = [], operand.width
    for high, low in operand.runs:
        width = high - low + 1
        below -= width
        part = f"(({word} >> {low}) & {mask(width)})" if low else f"({word} & {mask(width)})"
        parts.append(f"({part} << {below})" if below else part)
    return " | ".join(parts)
