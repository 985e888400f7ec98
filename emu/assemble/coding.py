"""The second pass: all names being known, works out every word."""

from collections.abc import Callable

from attrs import define

from emu.assemble.expression import DOES_NOT_FIT, Operand, evaluate
from emu.assemble.forms import InstructionSet
from emu.assemble.layout import Layout, Spot, digits
from emu.assemble.lines import LineError, PoisonedError, Report, SourceLine
from emu.assemble.operands import Site, Value
from emu.assemble.statements import Coded, Filled, Item, Listed, Ready, Row
from emu.assemble.symbols import LineScope, SymbolTable
from emu.spec import MachineSpec
from emu.words import from_signed, mask, signed_range


@define(eq=False)
class SecondPass:
    """Works out every word, all names being known."""

    machine: MachineSpec
    instructions: InstructionSet
    layout: Layout
    table: SymbolTable
    report: Report

    def run(self, rows: list[Row]) -> None:
        """Fill in the words of every item."""
        for row in rows:
            if row.item:
                self._item(row.item)

    def _item(self, item: Item) -> None:
        scope = LineScope(self.table, item.line, item.spot)
        match item.content:
            case Coded() as content:
                item.words = self._guard(item, lambda: [self._coded(item, content, scope)])
            case Listed(operands=operands):
                item.words = [w for o in operands for w in self._guard(item, self._word_of(item, o, scope))]
            case Filled(operand=operand):
                item.words = self._guard(item, self._word_of(item, operand, scope))
            case Ready(words=words):
                item.words = list(words)

    def _guard(self, item: Item, make: Callable[[], list[int]]) -> list[int]:
        try:
            return make()
        except LineError as problem:
            self.report.error(item.line, problem, item.span)
        except PoisonedError:
            pass
        return [0]

    def _word_of(self, item: Item, operand: Operand, scope: LineScope) -> Callable[[], list[int]]:
        bits = self.machine.stores[item.spot.store].data_bits
        return lambda: [self.word(operand, evaluate(operand.expression, scope), bits)]

    def word(self, operand: Operand, value: int, bits: int) -> int:
        """Return the word for a value: unsigned, or signed by the machine's arithmetic."""
        arithmetic, base = self.machine.word.arithmetic, self.layout.base
        if operand.minus_zero and arithmetic != "twos":
            return mask(bits) if arithmetic == "ones" else 1 << (bits - 1)
        low = signed_range(bits, arithmetic)[0]
        if not low <= value <= mask(bits):
            message = (
                f"a word of {bits} bits holds {digits(low, base)} to {digits(mask(bits), base)}, "
                f"got {digits(value, base)}"
            )
            raise LineError(DOES_NOT_FIT, message, operand.span)
        return value if value >= 0 else from_signed(value, bits, arithmetic)

    def _coded(self, item: Item, content: Coded, scope: LineScope) -> int:
        pairs = []
        for argument in content.arguments:
            value = Value(argument.register)
            if argument.expression:
                number = evaluate(argument.expression.expression, scope)
                value = Value(number, argument.expression.minus_zero)
            item.values.append(value)
            pairs.append((argument, value))
        address = item.spot.address if item.spot.window >= 0 else None
        return self.instructions.encode(content.form, pairs, Site(self.machine, address))

    def entry(self, start: tuple[SourceLine, Operand, Spot | None] | None) -> int | None:
        """Return where the program starts, or None for the machine's own start."""
        if not start:
            return None
        line, operand, spot = start
        try:
            value = evaluate(operand.expression, LineScope(self.table, line, spot))
            self.layout.check_start(value)
        except LineError as problem:
            self.report.error(line, problem, operand.span)
        except PoisonedError:
            return None
        else:
            return value
        return None
