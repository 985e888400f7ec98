"""Stores of chips one bit wide, in rows: the row is chosen by some address bits, the cell by the others.

Inside, a chip is a square: some address bits choose its row ("line" here), the others its column.
"""

from collections.abc import Callable, Iterator

from attrs import frozen

from emu.schema import key, own_path
from emu.tomlfile import TomlPath
from faults.boards.bits import BITS_PATTERN, BITS_RULE, bit_list, bit_mask, odd_parts, spread
from faults.boards.checks import bits_exist, number_problems, split_problems
from faults.boards.family import Family, Named
from faults.boards.interface import cells as single_cells
from faults.boards.technology import StoreGround, Technology, family, numbered
from faults.sites import (
    STAGE_CELL,
    STAGE_LEG,
    STAGE_SELECT,
    STAGE_SENSE,
    STAGE_WRITE,
    Chip,
    ChipLeg,
    Control,
    DataLine,
    Region,
    SelectLine,
    Undriven,
    Way,
)

MAX_INVERTED_BITS = 3
_WAYS: tuple[tuple[Way, str, int], ...] = (
    ("write", "input", STAGE_WRITE),
    ("read", "output", STAGE_SENSE + 1),
)


@frozen
class ChipsTable:
    """``[[store]]`` with ``built = "chips"``."""

    store: str = key(doc="The store of the machine.")
    line: str = key(
        doc="Address bits that choose the line inside a chip.", pattern=BITS_PATTERN, pattern_rule=BITS_RULE
    )
    column: str = key(
        doc="Address bits that choose the column inside a chip.", pattern=BITS_PATTERN, pattern_rule=BITS_RULE
    )
    row: str = key(
        default="", doc="Address bits that choose the row of chips.",
        pattern=BITS_PATTERN, pattern_rule=BITS_RULE,
    )  # fmt: skip
    multiplexed: bool = key(
        default=False, doc="Whether one leg brings in first a line bit and then the column bit of its place."
    )
    undriven: Undriven = key(default="zeros", doc="What is read where no chip answers.")
    refresh: bool = key(default=False, doc="Whether the cells fade unless they are refreshed.")
    inverted: str = key(
        default="", doc="Address bits whose parity says that a cell holds its bit inverted, and fades to 1.",
        pattern=BITS_PATTERN, pattern_rule=BITS_RULE,
    )  # fmt: skip
    path: TomlPath = own_path()


@frozen
class _Rows:
    ground: StoreGround
    line: tuple[int, ...]
    column: tuple[int, ...]
    row: tuple[int, ...]
    table: ChipsTable

    @property
    def legs(self) -> tuple[tuple[str, int], ...]:
        """The address legs: name and the mask of the address bits that each carries."""
        if self.table.multiplexed:
            pairs = zip(self.line, self.column, strict=True)
            return tuple((str(i), 1 << a | 1 << b) for i, (a, b) in enumerate(pairs))
        return tuple((str(b), 1 << b) for b in sorted((*self.line, *self.column)))

    def region(self, row: int) -> Region:
        return self.ground.region(bit_mask(self.row), spread(row, self.row))

    def select(self, at: tuple[int, ...]) -> SelectLine:
        mask, value = bit_mask(self.row), spread(at[0], self.row)
        return SelectLine(
            self.ground.index, self.region(at[0]), self.ground.full, mask, value,
            undriven=self.table.undriven,
        )  # fmt: skip

    def chip(self, at: tuple[int, ...]) -> Chip:
        top = tuple(mask for _, mask in reversed(self.legs))
        return Chip(self.ground.index, 1 << at[1], self.region(at[0]), top, self.table.undriven)

    def leg(self, at: tuple[int, ...]) -> ChipLeg:
        return ChipLeg(self.ground.index, 1 << at[1], self.region(at[0]), self.legs[at[2]][1])

    def inside(self, bits: tuple[int, ...], at: tuple[int, ...]) -> SelectLine:
        mask, value = bit_mask(bits), spread(at[2], bits)
        row = self.region(at[0])
        region = Region(row.words, row.mask | mask, row.value | value)
        return SelectLine(self.ground.index, region, 1 << at[1], mask, value)

    def refresh(self, at: tuple[int, ...]) -> Control:
        inverted = bit_list(self.table.inverted)
        faded = odd_parts(inverted) if inverted else ()
        return Control(self.ground.index, "refresh", self.region(at[0]), self.ground.full, (), faded)


def _families(ground: StoreGround, table: ChipsTable) -> Iterator[Family]:
    built = _Rows(ground, bit_list(table.line), bit_list(table.column), bit_list(table.row), table)
    rows = numbered("row", -(-ground.spec.words // (1 << len(built.line) + len(built.column))))
    if built.row:
        yield family(
            ground, "row", (rows,), built.select,
            stage=STAGE_SELECT, part="decoder", noun="chip select of row {}",
        )  # fmt: skip
    yield family(
        ground, "chip", (rows, ground.bits), built.chip,
        stage=STAGE_SENSE, part="chip", noun="chip of row {}, bit {},",
    )  # fmt: skip
    legs = Named("leg", tuple(name for name, _ in built.legs))
    yield family(
        ground, "leg", (rows, ground.bits, legs), built.leg,
        stage=STAGE_LEG, part="contact", noun="address leg of the chip of row {}, bit {}: leg {},",
    )  # fmt: skip
    for way, tail, stage in _WAYS:
        yield family(
            ground, tail, (ground.bits,), _line(ground, way),
            stage=stage, part="contact", noun=f"{tail} line of bit {{}}",
        )  # fmt: skip
    if table.refresh:
        yield family(
            ground, "refresh", (rows,), built.refresh,
            stage=STAGE_CELL + 1, part="driver", noun="refresh of row {}",
        )  # fmt: skip
    for tail, bits in (("line", built.line), ("column", built.column)):
        yield family(
            ground, f"inside-{tail}", (rows, ground.bits, numbered(tail, 1 << len(bits))),
            _inside(built, bits),
            stage=STAGE_CELL + 1, part="chip", fine=True,
            noun=f"inside of the chip of row {{}}, bit {{}}: {tail} {{}},",
        )  # fmt: skip
    yield single_cells(ground)


def _line(ground: StoreGround, way: Way) -> Callable[[tuple[int, ...]], DataLine]:
    return lambda at: DataLine(ground.index, 1 << at[0], None, way, "sense")


def _inside(built: _Rows, bits: tuple[int, ...]) -> Callable[[tuple[int, ...]], SelectLine]:
    return lambda at: built.inside(bits, at)


def _wrong(ground: StoreGround, table: ChipsTable) -> Iterator[tuple[str, str]]:
    yield from split_problems(ground, {"line": table.line, "column": table.column, "row": table.row})
    yield from bits_exist(ground, {"inverted": table.inverted})
    if len(bit_list(table.inverted)) > MAX_INVERTED_BITS:
        yield "inverted", f"at most {MAX_INVERTED_BITS} address bits say which cells hold inverted bits"
    if table.multiplexed and len(bit_list(table.line)) != len(bit_list(table.column)):
        yield "multiplexed", "multiplexed legs need as many line bits as column bits"
    cells = 1 << len(bit_list(table.line)) + len(bit_list(table.column))
    if ground.spec.words % cells:
        given = f"{ground.name!r} has {ground.spec.words} words"
        yield "line", f"chips of {cells} cells fill whole rows; {given}"
    else:
        yield from number_problems(ground, {"row": table.row}, ground.spec.words // cells)
    if ground.spec.destructive:
        yield "store", f"reading a chip does not destroy what it holds; {ground.name!r} is not so"


CHIPS = Technology("chips", ChipsTable, _families, _wrong)
