"""The instructions of a machine as they are written: names, forms, and the words they make."""

import re
from functools import cached_property
from itertools import pairwise
from typing import Final

from attrs import define, field, frozen

from emu.assemble.expression import Operand, read_operand
from emu.assemble.lines import LineError, Span, hint_of
from emu.assemble.operands import Site, Value, gather, operand_text, register_names, scatter, to_pattern
from emu.assemble.tokens import Reader, Token, tokenize
from emu.errors import InputError, Problem, declare
from emu.spec import InstructionSpec, MachineSpec, OperandBits
from emu.where import Place
from emu.words import mask

UNKNOWN_INSTRUCTION: Final = declare(
    "asm-unknown-instruction",
    "A line begins with a label, an instruction of the machine or a directive.",
    "Look the name up on the machine's page; capitals count.",
    "; machine: dunlin\nfrobnicate 1\n",
    "program",
)
UNKNOWN_REGISTER: Final = declare(
    "asm-unknown-register",
    "Where an instruction takes a register, the name of one stands.",
    "Use a register from the machine's page.",
    "; machine: sandpiper\nset r9, 1\n",
    "program",
)

UNREADABLE_FORM: Final = declare(
    "asm-unreadable-form",
    "The marks of an instruction's form can stand in a program, and part one operand from the next.",
    "Put a comma between the operands of the form in the machine file, and use no quotes and no ; in it.",
)

_PIECE: Final = re.compile(r"\{(.)\}")


@frozen
class Argument:
    """An operand as written: a register by number, or an expression."""

    operand: OperandBits
    span: Span
    register: int = 0
    expression: Operand | None = None


@define(eq=False)
class Form:
    """How one instruction is written. ``pieces``: marks to be written as they are, and operands."""

    spec: InstructionSpec
    pieces: list[str | OperandBits]
    usage: str
    care: int  # the bits that the assembler sets: the encoding's own and the operands'


def _form(spec: InstructionSpec, machine: str) -> Form:
    by_letter = {operand.field.letter: operand for operand in spec.operands}
    pieces: list[str | OperandBits] = []
    for number, part in enumerate(_PIECE.split(spec.form)):
        if number % 2:
            pieces.append(by_letter[part])
        else:
            pieces += _marks(part, spec, machine)
    if any(_run_together(*pair) for pair in pairwise(pieces)):
        raise _unreadable("something stands between an operand and a number after it", spec, machine)
    usage = _PIECE.sub(lambda found: by_letter[found[1]].field.name, spec.form)
    written = [piece for piece in pieces if isinstance(piece, OperandBits)]
    care = spec.mask
    for operand in written:
        care |= scatter(operand, mask(operand.width))
    return Form(spec, pieces, f"{spec.name} {usage}".strip(), care)


def _marks(part: str, spec: InstructionSpec, machine: str) -> list[str]:
    try:
        return [token.text for token in tokenize(part)[:-1]]
    except LineError as problem:
        raise _unreadable(problem.message, spec, machine) from problem


def _run_together(left: str | OperandBits, right: str | OperandBits) -> bool:
    return isinstance(left, OperandBits) and isinstance(right, OperandBits) and right.field.kind != "register"


def check_form(spec: InstructionSpec, machine: str) -> None:
    """Raise InputError unless the form of an instruction can be read back."""
    _form(spec, machine)


def _unreadable(rule: str, spec: InstructionSpec, machine: str) -> InputError:
    message = f"a form can be told apart when it is read: {rule}; got {spec.form!r} of {spec.name!r}"
    return InputError([Problem(UNREADABLE_FORM, message, Place(machine))])


@define(eq=False, slots=False)
class InstructionSet:
    """The instructions of a machine, ready for both directions."""

    machine: MachineSpec
    forms: dict[str, Form] = field(factory=dict)
    registers: dict[str, dict[str, int]] = field(factory=dict)
    _index_mask: int = 0
    _by_index: dict[int, list[Form]] = field(factory=dict)

    def __attrs_post_init__(self) -> None:
        self.forms = {spec.name: _form(spec, self.machine.name) for spec in self.machine.instructions}
        for file in self.machine.registers:
            if file.count:
                names = register_names(file)
                self.registers[file.name] = {name: number for number, name in enumerate(names)}
        self._index()

    def _index(self) -> None:
        """Sort the instructions by the bits that all of them fix, so that a word meets few candidates."""
        shared = mask(self.machine.instruction_bits)
        for form in self.forms.values():
            shared &= form.spec.mask
        self._index_mask = shared
        for form in self.forms.values():
            self._by_index.setdefault(form.spec.match & shared, []).append(form)

    @cached_property
    def register_names(self) -> frozenset[str]:
        """Every name that stands for a register of a file."""
        return frozenset(name for names in self.registers.values() for name in names)

    def find(self, head: Token) -> Form:
        """Return the form of an instruction by its name."""
        form = self.forms.get(head.text)
        if form is None:
            message = f"a line begins with an instruction of {self.machine.name}, got {head.text!r}"
            raise LineError(UNKNOWN_INSTRUCTION, message, head.span, hint=hint_of(head.text, self.forms))
        return form

    def read(self, form: Form, tokens: list[Token]) -> list[Argument]:
        """Read the operands of an instruction."""
        reader = Reader(tokens, form.usage)
        arguments: list[Argument] = []
        before = form.spec.name
        for number, piece in enumerate(form.pieces):
            if isinstance(piece, str):
                reader.expect_text(piece, before)
                before = repr(piece)
            else:
                follower = form.pieces[number + 1 : number + 2]
                reader.stop = next((mark for mark in follower if isinstance(mark, str)), "")
                arguments.append(self._argument(piece, reader))
                before = repr(piece.field.name)
        reader.finish()
        return arguments

    def _argument(self, operand: OperandBits, reader: Reader) -> Argument:
        if operand.field.kind != "register":
            reader.nodes = 0
            if reader.done:
                reader.refuse(f"{operand.field.name!r} stands here, got {reader.now.shown}")
            written = read_operand(reader, self.machine.word.base)
            return Argument(operand, written.span, expression=written)
        names = self.registers[operand.field.file]
        if reader.done:
            reader.refuse(f"{operand.field.name!r}, a register, stands here, got {reader.now.shown}")
        token = reader.take()
        if token.text not in names:
            hint = hint_of(token.text, names, f"the registers are {', '.join(names)}")
            message = f"{operand.field.name!r} is a register, got {token.shown}"
            raise LineError(UNKNOWN_REGISTER, message, token.span, hint=hint)
        return Argument(operand, token.span, register=names[token.text])

    def encode(self, form: Form, arguments: list[tuple[Argument, Value]], site: Site) -> int:
        """Return the instruction word; :class:`LineError` with the span of the operand that does not fit."""
        word = form.spec.match
        for argument, value in arguments:
            try:
                word |= scatter(argument.operand, to_pattern(argument.operand, value, site))
            except LineError as problem:
                problem.span = argument.span
                raise
        return word

    def decode(self, word: int) -> Form | None:
        """Return the form of the instruction that the assembler makes of exactly this word, or None."""
        for form in self._by_index.get(word & self._index_mask, ()):
            if word & form.spec.mask == form.spec.match:
                return form if not word & ~form.care else None
        return None

    def text(self, word: int, address: int | None) -> str | None:
        """Return the instruction as it is written, or None if no writing of it makes exactly this word."""
        form = self.decode(word)
        if form is None:
            return None
        site = Site(self.machine, address)
        shown: dict[str, str] = {}
        for operand in form.spec.operands:
            written = operand_text(operand, gather(operand, word), site)
            if written is None or not _exact(operand, gather(operand, word), site):
                return None
            shown[operand.field.letter] = written
        tail = _PIECE.sub(lambda found: shown[found[1]], form.spec.form)
        return f"{form.spec.name} {tail}".strip()


def _exact(operand: OperandBits, pattern: int, site: Site) -> bool:
    """Return whether a relative distance is the one that the assembler would choose for its target."""
    if operand.field.kind != "relative" or site.following is None:
        return True
    scale, bits = operand.field.scale, site.machine.address_bits
    signed = pattern - (1 << operand.width) if pattern >> (operand.width - 1) else pattern
    return -(1 << (bits - 1)) <= signed * scale < 1 << (bits - 1)
