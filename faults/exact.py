"""Where several faults meet, and a plan would not give what the wires give: such sets are refused.

A plan acts in a fixed order: cells and their masks, then rules on the word, in canonical order. One fault
fits that order by construction. Two faults may not: two lines that touch behind a third that is stuck, a chip
that sees another address beside one that never opens. Better no answer than a wrong one.
"""

from collections.abc import Iterator, Sequence
from itertools import combinations, permutations

import numpy as np
from attrs import evolve, frozen

from emu.compose import Alteration, Altered, Lowered, Masks, compose
from emu.memory import ONES, ZEROS, Cells, MemoryPlan, Mode, StoreShape, StoreTable
from emu.rules import Rule
from faults.sites import STAGE_CELL, STAGE_SENSE, STAGE_WIRE, IntArray

_LEVELS = {"set", "clear"}


def doubt_about(shapes: Sequence[StoreShape], plan: MemoryPlan, parts: Sequence[Lowered]) -> str:
    """Return why a plan of several parts cannot be trusted, or ""."""
    for mode, present in _modes(shapes, plan, parts):
        for store, shape in enumerate(shapes):
            for doubt in _StoreDoubts.of(shape, store, mode, present).all():
                return doubt
    return ""


def _modes(
    shapes: Sequence[StoreShape], plan: MemoryPlan, parts: Sequence[Lowered]
) -> Iterator[tuple[Mode, list[Lowered]]]:
    """Yield every mode with the parts that are there in it."""
    steady, gated = [p for p in parts if not p.gates], [p for p in parts if p.gates]
    alike = len(set(plan.gates)) < len(plan.gates)  # then the gates do not say which part is which
    gated.sort(key=lambda p: plan.gates.index(p.gates))
    for number, mode in enumerate(plan.modes):
        present = steady + [p for i, p in enumerate(gated) if number >> i & 1]
        if alike:
            mode = compose(shapes, [evolve(p, gates=()) for p in present]).modes[0]  # noqa: PLW2901
        yield mode, present


@frozen
class _Placed:
    """An alteration, the part it belongs to, and its stage."""

    part: int
    position: str
    what: Alteration

    @property
    def stage(self) -> int:
        return int(self.position[:2])


@frozen(eq=False)
class _StoreDoubts:
    shape: StoreShape
    table: StoreTable
    rules: tuple[tuple[_Placed, Rule], ...]
    masks: tuple[tuple[_Placed, Masks], ...]

    @classmethod
    def of(cls, shape: StoreShape, store: int, mode: Mode, parts: Sequence[Lowered]) -> "_StoreDoubts":
        placed = [_Placed(i, a.position, a) for i, p in enumerate(parts) for a in p.alterations]
        rules = tuple(
            (p, p.what.rule) for p in placed if isinstance(p.what, Altered) and p.what.rule.store == store
        )
        masks = tuple((p, p.what) for p in placed if isinstance(p.what, Masks) and p.what.store == store)
        return cls(shape, mode.tables[store], rules, masks)

    def all(self) -> Iterator[str]:
        """Yield every doubt."""
        yield from self.rule_against_rule()
        yield from self.rule_against_masks()
        yield from self.looking_back()
        yield from self.acting_cells()
        if len(self.table.moved):
            yield from self.regions()
            yield from self.residue()
            yield from self.nothing_selected()
        yield from self.redirections()

    def rule_against_rule(self) -> Iterator[str]:
        """Yield doubts: two rules on the same bits at the same side are not done in physical order."""
        words = [(p, r) for p, r in self.rules if r.side in {"sense", "bus"}]
        for (one, a), (other, b) in combinations(words, 2):
            if one.part == other.part or not _meet(a, b):
                continue
            if a.action != b.action or a.action not in _LEVELS:
                yield f"{_name(one)} and {_name(other)} act on the same bits"
        for (one, a), (other, b) in permutations(words, 2):
            sides = (a.side, b.side) == ("bus", "sense") and one.position <= other.position
            if one.part != other.part and sides and _meet(a, evolve(b, side="bus")):
                yield f"{_name(other)} lies behind {_name(one)} and has the same bits"

    def rule_against_masks(self) -> Iterator[str]:
        """Yield doubts: a rule on a word is done after all masks, also those of lines behind it."""
        for one, rule in self.rules:
            if rule.side == "cell" or rule.on == "write":
                continue
            for other, mask in self.masks:
                behind = other.position >= one.position and mask.way != "write"
                if behind and other.part != one.part and (mask.set_bits | mask.clear_bits) & rule.bits:
                    yield f"{_name(other)} lies behind {_name(one)} and has the same bits"

    def looking_back(self) -> Iterator[str]:
        """Yield doubts: what a store gave before is remembered without what other rules made of it."""
        for (one, a), (other, b) in permutations(self.rules, 2):
            bits = a.bits if a.action == "late" else a.last_mask if a.side == "sense" else 0
            sensed = b.side == "sense" and b.on != "write" and b.action != "redirect"
            if one.part != other.part and sensed and bits & b.bits:
                yield f"{_name(one)} looks back on bits that {_name(other)} alters"

    def acting_cells(self) -> Iterator[str]:
        """Yield doubts: a stuck cell that acts on others has edges of its own that are not told apart."""
        for one, rule in self.rules:
            if rule.action not in {"couple", "force", "read-disturb"}:
                continue
            for other, mask in self.masks:
                stuck = other.stage == STAGE_CELL and mask.cells is not None and rule.cell in mask.cells
                if stuck and (mask.set_bits | mask.clear_bits) & rule.cell_bits:
                    yield f"{_name(one)} depends on a cell that {_name(other)} holds"

    def regions(self) -> Iterator[str]:
        """Yield doubts: a rule knows the address asked for, not the one that arrives."""
        for one, rule in self.rules:
            if not rule.address_mask or rule.action == "redirect":
                continue
            asked = (self.table.moved & rule.address_mask) == rule.address_value
            for rows in (self.table.read_to, self.table.write_to):
                real = rows < self.shape.words
                arrived = (rows & rule.address_mask) == rule.address_value
                if rule.action == "set" and np.any(asked & ~real[:, 0]):
                    yield f"{_name(one)} speaks where no cell is open"
                if np.any(real & (arrived != asked[:, None])):
                    yield f"{_name(one)} lies in a part of the store that other addresses now reach"

    def residue(self) -> Iterator[str]:
        """Yield doubts: the residue of the bus goes by the address asked for, not the one that arrives."""
        holding = [(p, r) for p, r in self.rules if r.action == "hold" and r.address_mask]
        asked = [(self.table.moved & r.address_mask) == r.address_value for _, r in holding]
        nothing = self.table.read_to[:, 0] >= self.shape.words
        if holding and np.any(nothing & ~np.any(asked, axis=0)):
            yield f"addresses that reach no cell are beyond those of {_name(holding[0][0])}"

    def nothing_selected(self) -> Iterator[str]:
        """Yield doubts: where no cell opens, masks given by cells do not act, but a stuck line does."""
        words = self.shape.words
        rows = self.table.read_to
        ones = rows == words + ONES
        if np.any(ones & (rows[:, :1] != rows[:, -1:])):
            yield "a row of chips that is driven and one that is not are read together"
        empty = {0: self.table.moved[rows[:, 0] == words + ZEROS], 1: self.table.moved[ones[:, 0]]}
        for other, mask in self.masks:
            if mask.cells is None or mask.way == "write" or other.stage < STAGE_WIRE:
                continue
            if other.stage >= STAGE_SENSE and mask.set_bits and _several(rows, mask.cells):
                yield f"{_name(other)} is read together with others"
            for level, bits in ((0, mask.set_bits), (1, mask.clear_bits)):
                if bits and len(np.intersect1d(empty[level], mask.cells)):
                    yield f"{_name(other)} speaks where no cell is open"

    def redirections(self) -> Iterator[str]:
        """Yield doubts: the bit of a chip that sees another address."""
        redirects = [(p, r) for p, r in self.rules if r.action == "redirect"]
        for one, rule in redirects:
            for other, cell_rule in self.rules:
                acts = cell_rule.action in {"keep", "couple", "force", "read-disturb"}
                if acts and (cell_rule.bits | cell_rule.cell_bits) & rule.bits:
                    yield f"{_name(other)} is in a chip of which {_name(one)} changes the address"
            for other, mask in self.masks:
                if mask.way != "read" and (mask.set_bits | mask.clear_bits) & rule.bits:
                    yield f"{_name(other)} is in a chip of which {_name(one)} changes the address"
            if len(self.table.moved) and not self.commutes(rule):
                yield f"{_name(one)} and the other fault change the address of one chip"
        for (one, a), (other, b) in combinations(redirects, 2):
            same = (a.address_mask, a.address_value) == (b.address_mask, b.address_value)
            if one.part != other.part and a.bits & b.bits and same:
                yield f"{_name(one)} and {_name(other)} change the address of one chip"

    def commutes(self, rule: Rule) -> bool:
        """Whether it makes no difference which of the two changes of the address comes first."""
        words = self.shape.words
        own = np.arange(words, dtype=np.int64)
        for moved_to in (self.table.read_to, self.table.write_to):
            rows = np.repeat(own[:, None], moved_to.shape[1], axis=1)
            rows[self.table.moved] = moved_to
            first = rows[_redirected(own, rule, words)]
            if not _same_cells(first, _redirected(rows, rule, words)):
                return False
        return True


def _several(rows: Cells, cells: IntArray) -> bool:
    """Whether some row opens a cell of those and another that is none of them."""
    among = np.isin(rows, cells)
    return bool(np.any(among.any(axis=1) & ~among.all(axis=1)))


def _redirected(cells: IntArray, rule: Rule, words: int) -> IntArray:
    concerned = (cells < words) & ((cells & rule.address_mask) == rule.address_value)
    return np.where(concerned, (cells & rule.keep_mask) ^ rule.flip_mask, cells)


def _same_cells(one: IntArray, other: IntArray) -> bool:
    equal = one[:, :, None] == other[:, None, :]
    return bool(np.all(equal.any(axis=2)) and np.all(equal.any(axis=1)))


def _meet(a: Rule, b: Rule) -> bool:
    """Whether two word rules can act on the same bits of the same access."""
    same_way = a.on == b.on or "both" in {a.on, b.on}
    apart = (a.address_value ^ b.address_value) & a.address_mask & b.address_mask
    return a.side == b.side and same_way and bool(a.bits & b.bits) and not apart


def _name(placed: _Placed) -> str:
    return placed.position[3:]
