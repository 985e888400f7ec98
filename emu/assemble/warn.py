"""Warnings: what is allowed but is most likely not meant. Each says only what is certain of the program."""

from typing import Final

from attrs import define, field

from emu.assemble.expression import Name, anchor_of
from emu.assemble.forms import Argument
from emu.assemble.layout import Layout, Spot, digits
from emu.assemble.lines import LineError, Report
from emu.assemble.operands import TRUNCATED, Value, lost_bits, parts
from emu.assemble.statements import Coded, Item, Row
from emu.assemble.symbols import SymbolTable
from emu.behaviour import tree
from emu.errors import Note, declare
from emu.spec import InstructionSpec, MachineSpec
from emu.words import mask

OTHER_BANK: Final = declare(
    "asm-other-bank",
    "An address in a banked window means the bank that is in force when it is used (a warning).",
    "Reach the label from a window without banks, which sets the bank register first.",
    "; machine: fulmar\n.bank 1\n.at 0o4000\nhigh: stop\n.bank 2\n.at 0o4000\njump high\n",
    "program",
)
NEVER_REACHED: Final = declare(
    "asm-never-reached",
    "An instruction right behind a jump is reached only through a label or an address (a warning).",
    "Give the line a label, or take it out.",
    "; machine: dunlin\njump 0o300\nset 5\n",
    "program",
)


def check_program(
    rows: list[Row], layout: Layout, table: SymbolTable, entry: int | None, report: Report
) -> None:
    """Add the warnings of a program without errors to the report."""
    items = [row.item for row in rows if row.item]
    for item in items:
        if isinstance(item.content, Coded):
            _operands(item, item.content, layout, table, report)
    Reach(layout, entry).check(items, table, report)


def _operands(item: Item, content: Coded, layout: Layout, table: SymbolTable, report: Report) -> None:
    for argument, value in zip(content.arguments, item.values, strict=True):
        if lost_bits(content.form.spec, argument.operand, value.number):
            report.warn(item.line, _truncated(argument, value, layout), argument.span)
        name = anchor_of(argument.expression.expression) if argument.expression else None
        if name and argument.operand.field.kind in {"address", "relative"}:
            _bank(item, argument, name, layout, table, report)


def _truncated(argument: Argument, value: Value, layout: Layout) -> LineError:
    kept = value.number & mask(argument.operand.width)
    message = (
        f"{argument.operand.field.name!r} keeps the low {argument.operand.width} bits of an address, "
        f"got {digits(value.number, layout.base)}, which becomes {digits(kept, layout.base)}"
    )
    return LineError(TRUNCATED, message)


def _bank(
    item: Item, argument: Argument, name: Name, layout: Layout, table: SymbolTable, report: Report
) -> None:
    entry, spot = table.entries[name.text], item.spot
    target = entry.spot
    if target is None or target.bank is None or spot.bank is None:
        return
    if target.window != spot.window or target.bank == spot.bank:
        return
    message = (
        f"{name.text!r} lies in bank {digits(target.bank, layout.base)}, "
        f"and this line runs in bank {digits(spot.bank, layout.base)} of the same window"
    )
    note = Note("defined here", entry.place)
    report.warn(item.line, LineError(OTHER_BANK, message, notes=(note,)), argument.span)


@define
class Effect:
    """What matters of an instruction's effect for the question where control goes next."""

    always_jumps: bool = False  # the counter is set, whatever happens, from operands alone
    reads_counter: bool = False  # outside the setting of the counter: a call, most likely
    sets_counter: bool = False
    skips: bool = False  # or traps, restarts: control may come back anywhere


@define(eq=False)
class Reach:
    """Finds instructions that nothing reaches.

    Silent in every doubtful case: behind an instruction that may skip, trap or call; where any number of
    the program or the machine is the address in question; behind a jump to a computed place.
    """

    layout: Layout
    entry: int | None
    effects: dict[str, Effect] = field(factory=dict)

    def effect(self, spec: InstructionSpec) -> Effect:
        """Return the effect of an instruction."""
        if spec.name not in self.effects:
            self.effects[spec.name] = effect_of(spec, self.layout.machine)
        return self.effects[spec.name]

    def check(self, items: list[Item], table: SymbolTable, report: Report) -> None:
        """Warn of every instruction that is never reached."""
        coded = [item for item in items if isinstance(item.content, Coded)]
        by_spot = {_key(item.spot): item for item in coded}
        targets = self._targets(items, table)
        for item in coded:
            jump = by_spot.get(_key(item.spot, -1))
            if jump is None or item.labelled or item.spot.address in targets:
                continue
            before = by_spot.get(_key(item.spot, -2))
            if self._leaves(jump) and not (before and self._may_pass(before)):
                note = Note("control leaves here", jump.line.place(jump.span))
                message = (
                    "nothing reaches this instruction: it has no label, and the one before it jumps away"
                )
                report.warn(item.line, LineError(NEVER_REACHED, message, notes=(note,)), item.span)

    def _leaves(self, item: Item) -> bool:
        assert isinstance(item.content, Coded)
        effect = self.effect(item.content.form.spec)
        return effect.always_jumps and not effect.reads_counter and not effect.skips

    def _may_pass(self, item: Item) -> bool:
        """Return whether control may come from an instruction to the next but one."""
        assert isinstance(item.content, Coded)
        effect = self.effect(item.content.form.spec)
        return effect.skips or effect.reads_counter

    def _targets(self, items: list[Item], table: SymbolTable) -> set[int]:
        """Return every number that could be an address where control arrives."""
        machine = self.layout.machine
        found = {machine.start, self.entry if self.entry is not None else machine.start}
        found |= {entry.value for entry in table.entries.values()}
        found.update(machine_numbers(machine))
        for item in items:
            found.update(item.words)
            found.update(value.number for value in item.values)
        return found


def _key(spot: Spot, step: int = 0) -> tuple[int, int, int]:
    return spot.store, spot.index + step, spot.window


def machine_numbers(machine: MachineSpec) -> set[int]:
    """Return every literal number in the effects of a machine, and where it restarts."""
    found = {machine.restart.address} if machine.restart else set()
    stack: list[object] = [s for spec in machine.instructions for s in spec.does]
    stack += [s for trap in machine.traps for s in trap.does]
    stack += [s for timer in machine.timers for s in timer.does]
    while stack:
        node = stack.pop()
        if isinstance(node, tree.Const):
            found.add(node.value)
        stack += parts(node)
    return found


def effect_of(spec: InstructionSpec, machine: MachineSpec) -> Effect:
    """Work out the effect of an instruction on the program counter."""
    effect = Effect()
    for statement in spec.does:
        if _sets(statement, machine.counter):
            assert isinstance(statement, tree.SetRegister)
            effect.always_jumps = effect.always_jumps or _from_operands(statement.value, machine.counter)
            if _mentions_other(statement.value, machine.counter):
                effect.reads_counter = True
        else:
            _scan(statement, machine.counter, effect)
    return effect


def _sets(statement: tree.Statement, counter: str) -> bool:
    return isinstance(statement, tree.SetRegister) and statement.name == counter


def _mentions_other(node: object, counter: str) -> bool:
    """Return whether a jump's target rests on more than operands, numbers and the counter."""
    return not _from_operands(node, counter)


def _from_operands(node: object, counter: str) -> bool:
    match node:
        case tree.Const() | tree.Operand():
            return True
        case tree.Register(name=name):
            return name == counter
        case tree.Binary() | tree.Unary() | tree.Slice() | tree.Call():
            return all(_from_operands(part, counter) for part in parts(node))
        case _:
            return False


def _scan(node: object, counter: str, effect: Effect) -> None:
    """Note what a part of an effect that is not the plain setting of the counter does with control."""
    if isinstance(node, tree.Plain) and node.what in {"skip", "restart"}:
        effect.skips = True
    if isinstance(node, tree.EnterTrap | tree.RaiseAlarm):
        effect.skips = True
    if isinstance(node, tree.Register) and node.name == counter:
        effect.reads_counter = True
    if isinstance(node, tree.SetRegister) and node.name == counter:
        effect.skips = effect.skips or not _from_operands(node.value, counter)
    for part in parts(node):
        _scan(part, counter, effect)
