"""Draws memory plans for the conformance kit, aimed at what a run really does.

A rule for a cell that nobody opens, or for a bit that never moves, tests nothing. So the accesses of a
healthy run are noted first (:func:`uses_of`), and most alterations are drawn to strike one of them.
"""

from random import Random
from typing import Final

import numpy as np
from attrs import evolve, frozen

from emu.codes import encode
from emu.compose import (
    Alteration,
    Altered,
    BusAddresses,
    Lowered,
    Masks,
    PlanTooWideError,
    Selection,
    StoreAddresses,
    Way,
    Wired,
    compose,
)
from emu.engine.contract import RunRequest, RunResult
from emu.engine.powerup import power_up
from emu.gates import CHANCE_ONE, Gate
from emu.memory import MemoryPlan, StoreShape, shapes_of
from emu.rules import Action, Edge, Effect, Rule, Side
from emu.spec import MachineSpec

_WORD_ACTIONS: Final[tuple[Action, ...]] = (
    "set", "clear", "flip", "tie-or", "tie-and", "swap", "hold", "late",
)  # fmt: skip
_CELL_ACTIONS: Final[tuple[Action, ...]] = ("keep", "couple", "force", "read-disturb")
_WAYS: Final[tuple[Way, ...]] = ("read", "write", "both")
_EDGES: Final[tuple[Edge, ...]] = ("rise", "fall", "any")
_EFFECTS: Final[tuple[Effect, ...]] = ("clear", "set", "flip")
_SIDES: Final[tuple[Side, ...]] = ("sense", "bus")
_AIMED: Final = 0.85  # of the choices that could strike a use do; the others go anywhere


@frozen
class Use:
    """One access of a run: which word passed, what the cell held, and what came before.

    ``last_word`` is the word of the access before this one, ``last_read`` what its store last gave,
    ``last_address`` the word address of the access before. Words are stored words.
    """

    store: int
    address: int
    writes: bool
    word: int
    old: int
    last_word: int = 0
    last_read: int = 0
    last_address: int = 0
    access: int = 0
    time_ns: int = 0


def uses_of(request: RunRequest, result: RunResult) -> tuple[Use, ...]:
    """Return the accesses of a traced run without a plan, in order."""
    cells = [words.tolist() for words in power_up(request)]
    given = [0] * len(cells)
    uses: list[Use] = []
    for event in result.events:
        if event.kind not in {"fetch", "read", "write"}:
            continue
        store, held = request.machine.stores[event.store], cells[event.store]
        old, writes = held[event.address], event.kind == "write"
        word = encode(store.protection, store.data_bits, event.word) if writes else old
        past = uses[-1] if uses else Use(0, 0, False, 0, 0)
        last = (past.word, given[event.store], past.address)
        uses.append(Use(event.store, event.address, writes, word, old, *last, len(uses), event.time_ns))
        if not writes:
            given[event.store] = word
        elif store.writable:
            held[event.address] = word
    return tuple(uses)


def draw_plan(rng: Random, machine: MachineSpec, uses: tuple[Use, ...] = ()) -> MemoryPlan:
    """Return the plan of one to four drawn alterations, some of which come and go.

    ``uses``: the accesses to strike at; none: the alterations go anywhere.
    """
    shapes = shapes_of(machine.stores)
    aim = _Aim(rng, machine, shapes, uses)
    while True:
        parts = [
            Lowered(tuple(a for _ in range(rng.choice([1, 1, 2])) for a in aim.alterations()), aim.gates())
            for _ in range(rng.choice([1, 1, 1, 2, 3, 4]))
        ]
        try:
            return compose(shapes, parts)
        except PlanTooWideError:
            continue


@frozen
class _Aim:
    """Draws alterations that strike at uses."""

    rng: Random
    machine: MachineSpec
    shapes: tuple[StoreShape, ...]
    uses: tuple[Use, ...]

    def use(self) -> Use:
        """Return one of the uses, or now and then an access that need not happen."""
        rng = self.rng
        if self.uses and rng.random() < _AIMED:
            return rng.choice(self.uses)
        store = rng.randrange(len(self.shapes))
        shape = self.shapes[store]
        words = [rng.getrandbits(shape.bits) for _ in range(4)]
        return Use(store, rng.randrange(shape.words), rng.random() < 0.5, *words)

    def writing(self, store: int = -1) -> Use:
        """Return a use that changes its cell, if there is one (of the store, if one is given)."""
        moving = [
            u
            for u in self.uses
            if u.writes and u.word != u.old and self.shapes[u.store].writable and store in (u.store, -1)
        ]
        if moving:
            return self.rng.choice(moving)
        return self.use() if store < 0 else evolve(self.use(), store=store, address=0)

    def other_cell(self, use: Use) -> int:
        """Return another cell of the same store, mostly one that is used later."""
        later = [
            u.address for u in self.uses
            if u.store == use.store and u.address != use.address and u.access >= use.access
        ]  # fmt: skip
        if later and self.rng.random() < _AIMED:
            return self.rng.choice(later)
        return self.rng.randrange(self.shapes[use.store].words)

    def bits(self, use: Use, wanted: int) -> int:
        """Return one or two bits, mostly of those wanted."""
        rng, count = self.rng, self.shapes[use.store].bits
        some = [b for b in range(count) if wanted >> b & 1]
        if not some or rng.random() > _AIMED:
            some = list(range(count))
        return 1 << rng.choice(some) | 1 << rng.choice(some)

    def _more_bits(self, use: Use) -> int:
        """Return, now and then, a bit that need not fit."""
        return self.bits(use, -1) if self.rng.random() < 0.3 else 0

    # --- when

    def gates(self) -> tuple[Gate, ...]:
        """Draw what must be open, mostly nothing."""
        rng = self.rng
        if rng.random() < 0.7:
            return ()
        use, near = self.use(), rng.choice([1, 3, 7])
        first = max(0, use.access - rng.choice([0, 0, 1, 20]))
        kinds = (
            Gate("chance", rng.randrange(CHANCE_ONE)),
            Gate("contact", rng.randint(1, 200), rng.randint(1, 200)),
            Gate("window", first, use.access + rng.choice([1, 2, 40, 300])),
            Gate("condition", name="warm"),
            Gate("after", near, use.last_address & near),
        )
        return tuple(rng.sample(kinds, rng.choice([1, 1, 2])))

    # --- what

    def alterations(self) -> tuple[Alteration, ...]:
        """Draw an alteration at any place, or two that need each other."""
        rng, use = self.rng, self.use()
        place, shape = f"{rng.randrange(100):02d} x", self.shapes[use.store]
        kind = rng.randrange(16)
        if kind == 0:
            space = 1 << self.machine.address_bits
            return (BusAddresses(place, _mangled(rng, space) % space),)
        if kind == 1:
            return (
                StoreAddresses(place, use.store, np.minimum(_mangled(rng, shape.words), shape.words - 1)),
            )
        if kind == 2:
            return (self._two_cells(place, use, shape), Wired(place, use.store, rng.choice(["or", "and"])))
        if kind == 3:
            hole = use.address
            return (
                Selection(place, use.store, lambda rows: np.where(rows == hole, -1, rows), rng.choice(_WAYS)),
            )
        if kind <= 5:
            return (self._masks(place, use, shape),)
        return (Altered(place, self._cell_rule() if rng.random() < 0.45 else self._word_rule(use)),)

    def _two_cells(self, place: str, use: Use, shape: StoreShape) -> Selection:
        """Return the opening of a second cell at every address."""
        other = np.minimum(_mangled(self.rng, shape.words), shape.words - 1)
        return Selection(
            place, use.store, lambda rows: np.hstack([rows, np.where(rows < 0, -1, other[rows])]),
            self.rng.choice(_WAYS),
        )  # fmt: skip

    def _masks(self, place: str, use: Use, shape: StoreShape) -> Masks:
        rng, way = self.rng, self.rng.choice(_WAYS)
        if way == "write":
            use = self.writing(use.store)
        more = {rng.randrange(shape.words) for _ in range(rng.randrange(3))}
        cells = np.array(sorted({use.address, *more}))
        bits = self.bits(use, rng.choice([use.word, ~use.word]))
        ones = bits & ~use.word if rng.random() < _AIMED else rng.choice([0, bits])
        return Masks(place, use.store, way, ones, bits & ~ones, cells if rng.random() < 0.7 else None)

    def _word_rule(self, use: Use) -> Rule:
        rng, shape = self.rng, self.shapes[use.store]
        if rng.random() < 0.2 and not shape.destructive and shape.words & (shape.words - 1) == 0:
            return self._redirect(use, shape)
        action, side = rng.choice(_WORD_ACTIONS), rng.choice(_SIDES)
        last = use.last_read if side == "sense" else use.last_word
        bits = self._word_bits(action, use)
        address_mask = rng.choice([0, 0, 1, 5, (1 << (shape.words - 1).bit_length()) - 1])
        word_mask = rng.choice([0, 0, 0, 1 << rng.randrange(shape.bits)])
        last_mask = rng.choice([0, 0, 1 << rng.randrange(shape.bits)])
        rule = Rule(
            side, use.store, action, bits, rng.choice(_WAYS), address_mask, use.address & address_mask,
            word_mask, use.word & word_mask, last_mask, last & last_mask,
        )  # fmt: skip
        return evolve(rule, on="write" if use.writes else "read") if rng.random() < 0.5 else rule

    def _word_bits(self, action: Action, use: Use) -> int:
        """Return bits of the passing word that the action would change."""
        word = use.word
        match action:
            case "tie-or" | "tie-and" | "swap":
                return self.bits(use, word) | self.bits(use, ~word)
            case "set":
                return self.bits(use, ~word)
            case "clear":
                return self.bits(use, word)
            case "hold":
                return self.bits(use, word ^ use.last_word)
            case "late":
                return self.bits(use, word ^ use.last_read)
            case _:
                return self.bits(use, -1)

    def _redirect(self, use: Use, shape: StoreShape) -> Rule:
        rng = self.rng
        flip = 1 << rng.randrange(shape.words.bit_length() - 1)
        keep = (shape.words - 1) & ~rng.choice([0, flip, rng.randrange(shape.words)])
        mask = rng.choice([0, 1, 5, flip])
        return Rule(
            "sense", use.store, "redirect", self.bits(use, -1), address_mask=mask,
            address_value=use.address & mask, keep_mask=keep, flip_mask=flip,
        )  # fmt: skip

    def _cell_rule(self) -> Rule:
        rng, action = self.rng, self.rng.choice(_CELL_ACTIONS)
        use = self.writing() if action in {"keep", "couple"} else self.use()
        edge, effect = rng.choice(_EDGES), rng.choice(_EFFECTS)
        moved = {"rise": use.word & ~use.old, "fall": use.old & ~use.word, "any": use.word ^ use.old}[edge]
        if action == "keep":
            cell = rng.choice([use.address, use.address, -1])
            return Rule("cell", use.store, action, self.bits(use, moved), cell=cell, edge=edge)
        level = {"rise": use.word, "fall": ~use.word, "any": -1}[edge]
        if action == "read-disturb":
            bits = self.bits(use, level) | self._more_bits(use)
            acted = bits if rng.random() < 0.7 else self.bits(use, -1)
            return Rule(
                "cell", use.store, action, acted, cell=use.address, cell_bits=bits, edge=edge,
                effect=effect, shows=rng.random() < 0.5,
            )  # fmt: skip
        return Rule(
            "cell", use.store, action, self.bits(use, -1), cell=use.address,
            cell_bits=self.bits(use, moved if action == "couple" else level) | self._more_bits(use),
            other=self.other_cell(use),
            edge=edge, effect=effect,
        )  # fmt: skip


def _mangled(rng: Random, count: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return 0 .. count-1 with one address bit stuck, open or swapped."""
    own = np.arange(count)
    bit = 1 << rng.randrange(max(1, (count - 1).bit_length()))
    return (own & ~bit, np.minimum(own | bit, count - 1), np.minimum(own ^ bit, count - 1))[rng.randrange(3)]
