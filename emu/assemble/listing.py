"""The listing of an assembled program, and the table of its names."""

from collections.abc import Iterator
from typing import Final

from emu.assemble.assembly import Assembly
from emu.assemble.layout import Layout, Spot, plain
from emu.assemble.statements import Filled, Item, Reserved, Row
from emu.assemble.symbols import Symbol
from emu.codes import check_bits, encode
from emu.words import WordFormat

USES_A_LINE: Final = 4


def render_listing(assembly: Assembly) -> str:
    """Return the listing: address, bank, word, check bits, line number and source, one row a word.

    Addresses and words are in the machine's base. A word that no window shows has its store and word for
    an address. A fill shows its first word; ``to`` shows how far it, or the room of a ``.reserve``, goes.
    Check bits are those that the store will hold beside the word; the column is there only if a store of
    the machine has any.
    """
    machine = assembly.machine
    columns = _Columns(assembly)
    lines = [f"{machine.name}: {machine.word.numbering_sentence()}", ""]
    file = ""
    for row in assembly.rows:
        if row.line.file != file:
            file = row.line.file
            lines += [f"{columns.blank()}  {'':>5}  ; file {file}"]
        lines += columns.row(row)
    lines += [""] + [problem.render() for problem in assembly.warnings]
    return "\n".join(line.rstrip() for line in lines).rstrip() + "\n"


class _Columns:
    """Lays out the rows of one listing."""

    def __init__(self, assembly: Assembly) -> None:
        machine = assembly.machine
        self.layout = Layout(machine)
        self.machine = machine
        self.address = self.layout.address_format()
        places = [row.item.spot for row in assembly.rows if row.item]
        self.banked = any(spot.bank is not None for spot in places)
        self.protected = any(store.protection != "none" for store in machine.stores)
        widths = [len(self.where(spot)) for spot in places]
        self.where_width = max([self.address.digits + 3 * self.banked, *widths])
        self.check_width = max(len(self.check(s, 0)) for s in range(len(machine.stores)))

    def where(self, spot: Spot) -> str:
        """Return how the place of a word is shown."""
        if spot.window < 0:
            return f"{self.machine.stores[spot.store].name}[{spot.index}]"
        bank = f"{plain(spot.bank, self.layout.base):>2}:" if spot.bank is not None else ""
        return bank + self.address.text(spot.address)

    def check(self, store: int, word: int) -> str:
        """Return the check bits of a word, or "" in a store without."""
        spec = self.machine.stores[store]
        bits = check_bits(spec.protection, spec.data_bits)
        if not bits:
            return ""
        stored = encode(spec.protection, spec.data_bits, word)
        return WordFormat(bits, "twos", self.machine.word.base).text(stored >> spec.data_bits)

    def blank(self) -> str:
        """Return the left side of a row that has no word."""
        return self.left("", "", "")

    def left(self, where: str, word: str, check: str) -> str:
        """Return the left side of a row."""
        text = f"{where:>{self.where_width}}  {word:<{self.machine.word.digits}}"
        return f"{text}  {check:<{self.check_width}}" if self.protected else text

    def row(self, row: Row) -> Iterator[str]:
        """Yield the rows of one line of source."""
        source = f"  {row.line.number:>5}  {row.line.text}"
        if row.item is None:
            yield self.blank() + source
            return
        for left in self.words(row.item):
            yield left + source
            source = ""

    def words(self, item: Item) -> Iterator[str]:
        """Yield the left sides of the rows of an item."""
        number = 0
        for stretch in item.stretches:
            shown = 1 if isinstance(item.content, Filled | Reserved) else stretch.count
            spot = stretch.spot
            for offset in range(shown):
                yield self.word(
                    self.layout.after(spot, offset) if offset else spot, item.word(number + offset)
                )
            if shown < stretch.count:
                yield self.left(f"to {self.where(self.layout.after(spot, stretch.count - 1))}", "", "")
            number += stretch.count

    def word(self, spot: Spot, word: int | None) -> str:
        """Return the left side of a row with a word."""
        if word is None:
            return self.left(self.where(spot), "", "")
        text = self.machine.word.text(word)
        return self.left(self.where(spot), text, self.check(spot.store, word))


def render_symbols(assembly: Assembly) -> str:
    """Return the names by name, with every line that uses them, and then by value."""
    layout = Layout(assembly.machine)
    width = max([4, *(len(symbol.name) for symbol in assembly.symbols)])
    values = [_value(symbol, layout) for symbol in assembly.symbols]
    value_width = max([5, *(len(value) for value in values)])
    lines = [f"{'name':<{width}}  {'value':<{value_width}}  {'kind':<8}  defined, used"]
    for symbol, value in zip(assembly.symbols, values, strict=True):
        lines += _entry(symbol, f"{symbol.name:<{width}}  {value:<{value_width}}")
    lines += ["", f"{'value':<{value_width}}  name"]
    for symbol in sorted(assembly.symbols, key=lambda s: (s.value, s.bank or 0, s.name)):
        lines.append(f"{_value(symbol, layout):<{value_width}}  {symbol.name}")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _value(symbol: Symbol, layout: Layout) -> str:
    if symbol.kind == "label":
        if symbol.value < 0:
            return "none"
        bank = f"{plain(symbol.bank, layout.base)}:" if symbol.bank is not None else ""
        return bank + layout.address_format().text(symbol.value & (1 << layout.machine.address_bits) - 1)
    word, base = layout.machine.word, layout.base
    fits = 0 <= symbol.value < 1 << word.bits
    return word.text(symbol.value) if fits and base != 10 else str(symbol.value)


def _entry(symbol: Symbol, left: str) -> Iterator[str]:
    defined = f"{symbol.place.file}:{symbol.place.line}"
    uses = [_use(symbol, use.file, use.line) for use in symbol.uses]
    uses = list(dict.fromkeys(uses)) or ["unused"]
    for number in range(0, len(uses), USES_A_LINE):
        part = ", ".join(uses[number : number + USES_A_LINE])
        yield (
            f"{left}  {symbol.kind:<8}  {defined}, {part}" if not number else f"{'':<{len(left) + 12}}{part}"
        )


def _use(symbol: Symbol, file: str, line: int) -> str:
    return str(line) if file == symbol.place.file else f"{file}:{line}"
