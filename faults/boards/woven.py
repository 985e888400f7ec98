"""Woven read-only stores: cores that a wire threads for a 1 and passes by for a 0.

An address switches the one core that no inhibit line blocks: for every address bit that chooses the core
there are two lines, one driven when the bit is 0 and one when it is 1, and the driven one blocks every core
whose bit differs. A core carries one word a strand; strand and module select say whose sense wires are
looked at. Several cores that switch at once give the OR of their words.
"""

from collections.abc import Iterator

from attrs import frozen

from emu.schema import key, own_path
from emu.tomlfile import TomlPath
from faults.boards.bits import BITS_PATTERN, BITS_RULE, bit_list, bit_mask, spread
from faults.boards.checks import number_problems, split_problems
from faults.boards.family import Family, Named
from faults.boards.technology import StoreGround, Technology, family, numbered
from faults.sites import (
    STAGE_CORE,
    STAGE_INHIBIT_OPEN,
    STAGE_SELECT,
    STAGE_SENSE,
    STAGE_WIRE,
    Control,
    CoreInhibit,
    DataLine,
    SelectLine,
)


@frozen
class WovenTable:
    """``[[store]]`` with ``built = "woven"``."""

    store: str = key(doc="The store of the machine.")
    core: str = key(doc="Address bits that choose the core.", pattern=BITS_PATTERN, pattern_rule=BITS_RULE)
    strand: str = key(
        default="", doc="Address bits that choose the strand.", pattern=BITS_PATTERN, pattern_rule=BITS_RULE
    )
    module: str = key(
        default="", doc="Address bits that choose the module.", pattern=BITS_PATTERN, pattern_rule=BITS_RULE
    )
    parity_pair: bool = key(
        default=False, doc="Whether one more pair of inhibit lines is driven by the parity of the core bits."
    )
    path: TomlPath = own_path()


@frozen
class _Weave:
    ground: StoreGround
    core: tuple[int, ...]
    strand: tuple[int, ...]
    module: tuple[int, ...]
    parity_pair: bool

    @property
    def modules(self) -> int:
        """How many modules the words of the store fill."""
        words = self.ground.spec.words
        return sum(spread(value, self.module) < words for value in range(1 << len(self.module)))

    @property
    def strands(self) -> int:
        """How many strands carry words."""
        words = self.ground.spec.words
        return sum(spread(value, self.strand) < words for value in range(1 << len(self.strand)))

    def part(self, bits: tuple[int, ...], value: int) -> tuple[int, int]:
        return bit_mask(bits), spread(value, bits)

    def select(self, bits: tuple[int, ...], value: int) -> SelectLine:
        mask, wanted = self.part(bits, value)
        return SelectLine(self.ground.index, self.ground.region(mask, wanted), self.ground.full, mask, wanted)

    def whole_module(self, at: tuple[int, ...]) -> SelectLine:
        mask, wanted = self.part(self.module, at[0])
        return SelectLine(self.ground.index, self.ground.region(mask, wanted), self.ground.full)

    def single_core(self, at: tuple[int, ...]) -> SelectLine:
        module, core = self.part(self.module, at[0]), self.part(self.core, at[1])
        region = self.ground.region(module[0] | core[0], module[1] | core[1])
        return SelectLine(self.ground.index, region, self.ground.full)

    def inhibit(self, module: int | None, bit: int, level: int) -> CoreInhibit:
        mask, value = self.part(self.module, module) if module is not None else (0, 0)
        region = self.ground.region(mask, value)
        return CoreInhibit(self.ground.index, bit, level, region, bit_mask(self.core), self.parity_pair)

    def wire(self, at: tuple[int, ...]) -> DataLine:
        module, strand = self.part(self.module, at[0]), self.part(self.strand, at[1])
        region = self.ground.region(module[0] | strand[0], module[1] | strand[1])
        return DataLine(self.ground.index, 1 << at[2], region, "read", "sense")


def _families(ground: StoreGround, table: WovenTable) -> Iterator[Family]:
    weave = _Weave(
        ground, bit_list(table.core), bit_list(table.strand), bit_list(table.module), table.parity_pair
    )
    modules, strands = numbered("module", weave.modules), numbered("strand", weave.strands)
    yield from _selects(weave, modules, strands)
    yield from _inhibits(weave, modules)
    yield family(
        ground, "wire", (modules, strands, ground.bits), weave.wire,
        stage=STAGE_WIRE, part="wire", noun="sense wire of module {}, strand {}, bit {},",
    )  # fmt: skip
    yield family(
        ground, "sense", (ground.bits,),
        lambda at: DataLine(ground.index, 1 << at[0], None, "read", "sense"),
        stage=STAGE_SENSE, part="amplifier", noun="sense amplifier of bit {}",
    )  # fmt: skip
    strobe = Control(ground.index, "strobe", ground.region(), ground.full)
    yield family(
        ground, "strobe", (), lambda at: strobe, stage=STAGE_SENSE, part="driver", noun="strobe"  # noqa: ARG005
    )  # fmt: skip
    yield family(
        ground, "core", (modules, numbered("core", 1 << len(weave.core))), weave.single_core,
        stage=STAGE_CORE, part="core", noun="core of module {}, number {},", fine=True,
    )  # fmt: skip


def _selects(weave: _Weave, modules: Named, strands: Named) -> Iterator[Family]:
    """Yield what chooses module and strand."""
    if weave.module:
        yield family(
            weave.ground, "module", (modules,), lambda at: weave.select(weave.module, at[0]),
            stage=STAGE_SELECT, part="driver", noun="select line of module {}",
        )  # fmt: skip
        for tail in ("set", "reset"):
            yield family(
                weave.ground, tail, (modules,), weave.whole_module,
                stage=STAGE_SELECT, part="wire", noun=f"{tail} line of module {{}}",
            )  # fmt: skip
    if weave.strand:
        yield family(
            weave.ground, "strand", (strands,), lambda at: weave.select(weave.strand, at[0]),
            stage=STAGE_SELECT, part="driver", noun="select line of strand {}",
        )  # fmt: skip


def _inhibits(weave: _Weave, modules: Named) -> Iterator[Family]:
    """Yield the drivers of the inhibit lines, and their windings where there are modules."""
    extra = weave.parity_pair
    pairs = Named("address bit", (*(str(b) for b in weave.core), *(["parity"] if extra else [])))
    bits = (*weave.core, *([-1] if extra else []))
    levels = numbered("level", 2)
    yield family(
        weave.ground, "inhibit", (pairs, levels), lambda at: weave.inhibit(None, bits[at[0]], at[1]),
        stage=STAGE_INHIBIT_OPEN, part="driver", noun="inhibit driver of address bit {}, level {},",
    )  # fmt: skip
    if weave.module:
        yield family(
            weave.ground, "winding", (modules, pairs, levels),
            lambda at: weave.inhibit(at[0], bits[at[1]], at[2]),
            stage=STAGE_INHIBIT_OPEN, part="contact",
            noun="inhibit winding in module {} of address bit {}, level {},",
        )  # fmt: skip


def _wrong(ground: StoreGround, table: WovenTable) -> Iterator[tuple[str, str]]:
    yield from split_problems(ground, {"core": table.core, "strand": table.strand, "module": table.module})
    yield from number_problems(ground, {"strand": table.strand, "module": table.module})
    if ground.spec.writable or ground.spec.destructive:
        yield "store", f"a woven store is read-only and its reads last; {ground.name!r} is not so"


WOVEN = Technology("woven", WovenTable, _families, _wrong)
