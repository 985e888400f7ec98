"""Coincident-current core stores: a core switches where an X line and a Y line both carry half the current.

Every stored bit has a plane of its own, with a sense wire and an inhibit winding; both may be cut into
sections. A read clears the core and is followed by a rewrite, in which the inhibit current keeps a 0 a 0.
"""

from collections.abc import Iterator
from functools import partial

from attrs import frozen

from emu.schema import key, own_path
from emu.tomlfile import TomlPath
from faults.boards.bits import BITS_PATTERN, BITS_RULE, bit_list, bit_mask, odd_parts, spread
from faults.boards.checks import bits_exist, number_problems, part_problems, split_problems
from faults.boards.family import Family, Named
from faults.boards.interface import cells
from faults.boards.technology import StoreGround, Technology, family, numbered
from faults.sites import (
    STAGE_SELECT,
    STAGE_SENSE,
    STAGE_WRITE,
    Control,
    DataLine,
    Region,
    SelectLine,
    Way,
    ZeroInhibit,
)

MAX_WINDING_BITS = 3
_HALVES: tuple[tuple[Way, str], ...] = (("both", ""), ("write", "write half of "))


@frozen
class CoincidentTable:
    """``[[store]]`` with ``built = "coincident"``."""

    store: str = key(doc="The store of the machine.")
    x: str = key(doc="Address bits that choose the X line.", pattern=BITS_PATTERN, pattern_rule=BITS_RULE)
    y: str = key(doc="Address bits that choose the Y line.", pattern=BITS_PATTERN, pattern_rule=BITS_RULE)
    x_drivers: tuple[str, ...] = key(
        default=(),
        doc="Groups of X lines that share a driver: the address bits that choose the driver, one entry for "
        "each bank of drivers.",
        pattern=BITS_PATTERN, pattern_rule=BITS_RULE, most=4,
    )  # fmt: skip
    y_drivers: tuple[str, ...] = key(
        default=(), doc="The same of the Y lines.", pattern=BITS_PATTERN, pattern_rule=BITS_RULE, most=4
    )
    section: str = key(
        default="", doc="Address bits that choose the section of sense and inhibit windings.",
        pattern=BITS_PATTERN, pattern_rule=BITS_RULE,
    )  # fmt: skip
    winding: str = key(
        default="", doc="Address bits whose parity says which way the sense wire runs through a core.",
        pattern=BITS_PATTERN, pattern_rule=BITS_RULE,
    )  # fmt: skip
    path: TomlPath = own_path()


@frozen
class _Planes:
    ground: StoreGround
    section: tuple[int, ...]
    winding: tuple[int, ...]

    def select(self, bits: tuple[int, ...], at: tuple[int, ...], way: Way = "both") -> SelectLine:
        mask, value = bit_mask(bits), spread(at[0], bits)
        region = self.ground.region(mask, value)
        return SelectLine(self.ground.index, region, self.ground.full, mask, value, way)

    def used(self, noun: str, bits: tuple[int, ...]) -> Named:
        """Return the numbers that the bits spell in the address of some word: the others have no line."""
        words = self.ground.spec.words
        return numbered(noun, sum(spread(value, bits) < words for value in range(1 << len(bits))))

    @property
    def worst(self) -> tuple[tuple[int, int], ...]:
        return odd_parts(self.winding) if self.winding else ()

    def stretch(self, at: tuple[int, ...]) -> Region:
        """Return the cells of the section that the first index says, where there are sections."""
        if not self.section:
            return self.ground.region()
        return self.ground.region(bit_mask(self.section), spread(at[0], self.section))

    def sense(self, at: tuple[int, ...]) -> DataLine:
        return DataLine(self.ground.index, 1 << at[-1], self.stretch(at), "read", "sense", worst=self.worst)

    def inhibit(self, at: tuple[int, ...]) -> ZeroInhibit:
        return ZeroInhibit(self.ground.index, 1 << at[-1], self.stretch(at))

    def strobe(self, at: tuple[int, ...]) -> Control:
        return Control(self.ground.index, "strobe", self.stretch(at), self.ground.full, self.worst)

    def rewrite(self, at: tuple[int, ...]) -> Control:
        return Control(self.ground.index, "rewrite", self.stretch(at), self.ground.full)


def _families(ground: StoreGround, table: CoincidentTable) -> Iterator[Family]:
    planes = _Planes(ground, bit_list(table.section), bit_list(table.winding))
    yield from _axis(planes, "x", table.x, table.x_drivers)
    yield from _axis(planes, "y", table.y, table.y_drivers)
    sections = (planes.used("section", planes.section),) if planes.section else ()
    of_section = "section {}, " if planes.section else ""
    yield family(
        ground, "sense", (*sections, ground.bits), planes.sense,
        stage=STAGE_SENSE, part="amplifier", noun=f"sense wire and amplifier of {of_section}bit {{}}",
    )  # fmt: skip
    yield family(
        ground, "inhibit", (*sections, ground.bits), planes.inhibit,
        stage=STAGE_WRITE, part="driver", noun=f"inhibit winding of {of_section}bit {{}}",
    )  # fmt: skip
    tail = " of section {}" if planes.section else ""
    yield family(
        ground, "strobe", sections, planes.strobe, stage=STAGE_SENSE, part="driver", noun=f"strobe{tail}"
    )
    yield family(
        ground, "rewrite", sections, planes.rewrite, stage=STAGE_WRITE, part="driver",
        noun=f"write half-cycle{tail}",
    )  # fmt: skip
    yield cells(ground)


def _axis(planes: _Planes, axis: str, bits: str, banks: tuple[str, ...]) -> Iterator[Family]:
    ground, lines = planes.ground, bit_list(bits)
    yield family(
        ground, axis, (planes.used(f"{axis.upper()} line", lines),), partial(planes.select, lines),
        stage=STAGE_SELECT, part="wire", noun=f"{axis.upper()} line {{}}",
    )  # fmt: skip
    for number, bank in enumerate(banks):
        chosen = bit_list(bank)
        letter = "abcd"[number]
        for way, half in _HALVES:
            name = "driver" if way == "both" else way
            yield family(
                ground, f"{axis}-{name}-{letter}", (planes.used("driver", chosen),),
                partial(planes.select, chosen, way=way),
                stage=STAGE_SELECT, part="driver", noun=f"{half}{axis.upper()} driver {letter}{{}}",
            )  # fmt: skip


def _wrong(ground: StoreGround, table: CoincidentTable) -> Iterator[tuple[str, str]]:
    yield from split_problems(ground, {"x": table.x, "y": table.y})
    yield from bits_exist(ground, {"section": table.section, "winding": table.winding})
    yield from number_problems(ground, {"x": table.x, "y": table.y, "section": table.section})
    for bank in table.x_drivers:
        yield from part_problems(ground, table.x, "x_drivers", bank)
        yield from number_problems(ground, {"x_drivers": bank})
    for bank in table.y_drivers:
        yield from part_problems(ground, table.y, "y_drivers", bank)
        yield from number_problems(ground, {"y_drivers": bank})
    if len(bit_list(table.winding)) > MAX_WINDING_BITS:
        yield "winding", f"at most {MAX_WINDING_BITS} address bits say how the sense wire runs"
    if not (ground.spec.writable and ground.spec.destructive):
        yield (
            "store",
            f"a coincident-current store is written and its reads destroy; {ground.name!r} is not so",
        )


COINCIDENT = Technology("coincident", CoincidentTable, _families, _wrong)
