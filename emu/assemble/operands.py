"""Operands of instructions: values into the fields of an encoding, and back."""

from typing import Any, Final

from attrs import fields, frozen, has

from emu.assemble.expression import DOES_NOT_FIT
from emu.assemble.layout import digits
from emu.assemble.lines import LineError
from emu.behaviour import tree
from emu.errors import declare
from emu.spec import InstructionSpec, MachineSpec, OperandBits, RegisterSpec
from emu.words import from_signed, mask, sign_bit, signed_range, to_signed

NOT_MULTIPLE: Final = declare(
    "asm-not-multiple",
    "A field that counts in larger units holds only multiples of its unit.",
    "Use .align before the target, or a multiple.",
)
TRUNCATED: Final = declare(
    "asm-truncated-address",
    "An address that is longer than its field loses its high bits (a warning).",
    "Move the word to a lower address, or reach it through a register.",
)


@frozen
class Value:
    """An operand that has been worked out. ``minus_zero``: it was written ``-0``."""

    number: int
    minus_zero: bool = False


@frozen
class Site:
    """Where an instruction stands: the machine, and the address of the instruction (None if it has none)."""

    machine: MachineSpec
    address: int | None

    @property
    def following(self) -> int | None:
        """The address of the next instruction."""
        if self.address is None:
            return None
        return self.address + self.machine.step & mask(self.machine.address_bits)


def register_names(file: RegisterSpec) -> tuple[str, ...]:
    """Return what the registers of a file are called in assembly."""
    return file.names or tuple(f"{file.name}{number}" for number in range(file.count))


def scatter(operand: OperandBits, pattern: int) -> int:
    """Return an instruction word with only that field set."""
    word, left = 0, operand.width
    for high, low in operand.runs:
        left -= high - low + 1
        word |= (pattern >> left & mask(high - low + 1)) << low
    return word


def gather(operand: OperandBits, word: int) -> int:
    """Return the pattern of a field of an instruction word."""
    pattern = 0
    for high, low in operand.runs:
        pattern = pattern << (high - low + 1) | word >> low & mask(high - low + 1)
    return pattern


def to_pattern(operand: OperandBits, value: Value, site: Site) -> int:
    """Return what goes into a field; :class:`LineError` without a span if the value does not fit."""
    match operand.field.kind:
        case "number" | "register":
            return _within(operand, value.number, 0, mask(operand.width), site)
        case "signed":
            return _signed(operand, value, site)
        case "address":
            _check_address(operand, value.number, site)
            return value.number & mask(operand.width)
        case "relative":
            return _relative(operand, value.number, site)


def _within(operand: OperandBits, value: int, low: int, high: int, site: Site) -> int:
    if low <= value <= high:
        return value
    base = site.machine.word.base
    raise LineError(
        DOES_NOT_FIT,
        f"{operand.field.name!r} holds {digits(low, base)} to {digits(high, base)}, "
        f"got {digits(value, base)}",
    )


def _signed(operand: OperandBits, value: Value, site: Site) -> int:
    arithmetic, scale = site.machine.word.arithmetic, operand.field.scale
    if value.minus_zero and arithmetic != "twos":
        return mask(operand.width) if arithmetic == "ones" else 1 << (operand.width - 1)
    low, high = signed_range(operand.width, arithmetic)
    _within(operand, value.number, low * scale, high * scale, site)
    return from_signed(_units(operand, value.number, site), operand.width, arithmetic)


def _units(operand: OperandBits, value: int, site: Site) -> int:
    units, rest = divmod(value, operand.field.scale)
    if rest:
        base = site.machine.word.base
        message = (
            f"{operand.field.name!r} counts in units of {digits(operand.field.scale, base)}, "
            f"got {digits(value, base)}"
        )
        raise LineError(NOT_MULTIPLE, message)
    return units


def _check_address(operand: OperandBits, value: int, site: Site) -> None:
    high = mask(max(site.machine.address_bits, operand.width))
    _within(operand, value, 0, high, site)


def _relative(operand: OperandBits, target: int, site: Site) -> int:
    """Return the distance from the following instruction, the shorter way round the address space."""
    if site.following is None:
        message = f"{operand.field.name!r} is counted from an address, and this word has none"
        raise LineError(DOES_NOT_FIT, message)
    bits = site.machine.address_bits
    _within(operand, target, 0, mask(bits), site)
    distance = to_signed((target - site.following) & mask(bits), bits, "twos")
    low, high = signed_range(operand.width, "twos")
    units = _units(operand, distance, site)
    if not low <= units <= high:
        base, scale = site.machine.word.base, operand.field.scale
        message = (
            f"{operand.field.name!r} lies {digits(low * scale, base)} to {digits(high * scale, base)} "
            f"from the next instruction, got a distance of {digits(distance, base)}"
        )
        raise LineError(DOES_NOT_FIT, message)
    return units & mask(operand.width)


def operand_text(operand: OperandBits, pattern: int, site: Site) -> str | None:
    """Return a field's content as it is written, or None if it cannot be written."""
    machine, kind = site.machine, operand.field.kind
    base = machine.word.base
    if kind == "register":
        names = register_names(machine.register(operand.field.file))
        return names[pattern] if pattern < len(names) else None
    if kind == "signed":
        return _signed_text(operand, pattern, site)
    if kind == "relative":
        if site.following is None:
            return None
        distance = to_signed(pattern, operand.width, "twos") * operand.field.scale
        return digits(site.following + distance & mask(machine.address_bits), base)
    return digits(pattern, base)


def _signed_text(operand: OperandBits, pattern: int, site: Site) -> str:
    arithmetic = site.machine.word.arithmetic
    number = to_signed(pattern, operand.width, arithmetic)
    if not number and sign_bit(pattern, operand.width):
        return "-0"
    return digits(number * operand.field.scale, site.machine.word.base)


def lost_bits(spec: InstructionSpec, operand: OperandBits, value: int) -> bool:
    """Return whether an address loses high bits in its field, as far as the instruction's effect shows.

    A field that the effect joins to other bits (a page, say) gets its high bits from there; of such a
    field nothing is said.
    """
    if operand.field.kind != "address" or value <= mask(operand.width):
        return False
    carriers = {operand.field.letter}
    return not any(_joins(statement, carriers) for statement in spec.does)


def _joins(node: object, carriers: set[str]) -> bool:
    """Return whether an operand is combined with other bits anywhere in a part of an effect.

    ``carriers`` are the names of its value: its letter and, as they are met, what ``let`` binds to it.
    """
    if isinstance(node, tree.Let) and _carries(node.value, carriers):
        carriers.add(node.name)
    combines = isinstance(node, tree.Binary) or (
        isinstance(node, tree.Call) and node.function not in {"extend", "widen", "low"}
    )
    if combines and _carries(node, carriers):
        return True
    return any(_joins(part, carriers) for part in parts(node))


def _carries(node: object, carriers: set[str]) -> bool:
    """Return whether the value of an expression is made from an operand, not only read from its address."""
    match node:
        case tree.Operand(letter=name) | tree.Local(name=name):
            return name in carriers
        case tree.Load() | tree.PortRead() | tree.FileEntry():
            return False
        case _:
            return any(_carries(part, carriers) for part in parts(node))


def parts(node: Any) -> list[Any]:
    """Return the statements and expressions that a statement or expression of an effect is made of."""
    found: list[Any] = []
    for attribute in fields(type(node)) if has(type(node)) else ():
        value = getattr(node, attribute.name)
        found += value if isinstance(value, tuple) else [value] if has(type(value)) else []
    return found
