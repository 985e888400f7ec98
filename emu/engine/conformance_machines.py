"""Draws whole machines, programs and memory plans for the conformance kit, all of them small and mean."""

from random import Random
from typing import Final

import numpy as np
from attrs import evolve, frozen

from emu.codes import PROTECTIONS, Protection, encode, stored_bits
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
from emu.engine.conformance_trees import TreeDrawer
from emu.gates import CHANCE_ONE, Gate
from emu.image import MemoryImage, ProgramImage
from emu.memory import MemoryPlan, StoreShape, shapes_of
from emu.rules import Action, Edge, Effect, Rule, Side
from emu.spec import (
    AlarmSpec,
    FieldSpec,
    InstructionSpec,
    LampSpec,
    MachineSpec,
    OperandBits,
    PortSpec,
    RegisterSpec,
    RestartSpec,
    StoreSpec,
    TimerSpec,
    TrapSpec,
    WatchdogSpec,
    WindowSpec,
)
from emu.words import ARITHMETICS, WordFormat

_ALARMS: Final = ("bell", "check", "mended", "hang")
_WORD_ACTIONS: Final[tuple[Action, ...]] = (
    "set", "clear", "flip", "tie-or", "tie-and", "swap", "hold", "late",
)  # fmt: skip
_CELL_ACTIONS: Final[tuple[Action, ...]] = ("keep", "couple", "force", "read-disturb")
_WAYS: Final[tuple[Way, ...]] = ("read", "write", "both")
_EDGES: Final[tuple[Edge, ...]] = ("rise", "fall", "any")
_EFFECTS: Final[tuple[Effect, ...]] = ("clear", "set", "flip")
_SIDES: Final[tuple[Side, ...]] = ("sense", "bus")


# --- machines


@frozen
class Frame:
    """What the parts of a drawn machine must know of each other."""

    word: WordFormat
    address_bits: int
    counter_bits: int
    restarts: bool
    watchdog: bool
    registers: tuple[RegisterSpec, ...]


def draw_machine(rng: Random) -> MachineSpec:
    """Return a machine: any word size and arithmetic, any mixture of everything a machine may have."""
    bits = rng.choice([4, 5, 8, 12, 16, 17, 24, rng.randint(4, 40), rng.randint(40, 53)])
    word = WordFormat(bits, rng.choice(ARITHMETICS))
    address_bits = rng.randint(4, 7)
    frame = Frame(
        word, address_bits, address_bits + rng.choice([-1, 0, 0, 1]), rng.random() < 0.7,
        rng.random() < 0.4, (),
    )  # fmt: skip
    frame = evolve(frame, registers=_registers(rng, frame))
    actions = ["lamp", "lamp", "halt", "restart"] if frame.restarts else ["lamp", "lamp", "halt"]
    alarms = tuple(AlarmSpec(n, rng.choice(actions)) for n in _ALARMS)  # type: ignore[arg-type]  # drawn above
    stores = _stores(rng, frame)
    traps = _traps(rng, frame)
    shown = [r.name for r in frame.registers if not r.count]
    lamps = tuple(LampSpec(f"l{name}", name) for name in (*shown, "restarts", "alarm:check"))
    return MachineSpec(
        "drawn", "", word, address_bits, "pc", rng.getrandbits(frame.counter_bits), rng.choice([1, 1, 1, 2]),
        frame.registers, stores, _windows(rng, frame, stores), alarms,
        _restart(rng, frame),
        WatchdogSpec(rng.randint(1, 900), "hang") if frame.watchdog else None,
        _timers(rng, frame), traps, _ports(rng, bits),
        lamps,
        _instructions(rng, frame, traps), bits, rng.choice(["halt", "alarm bell", "trap first"]),
        rng.choice(["", "bell", "check"]), "",
    )  # fmt: skip


def _restart(rng: Random, frame: Frame) -> RestartSpec | None:
    if not frame.restarts:
        return None
    clears = ("q", rng.choice(["f", "p", "b"]))
    return RestartSpec(rng.getrandbits(frame.counter_bits), clears, rng.choice([0, 70]))


def _registers(rng: Random, frame: Frame) -> tuple[RegisterSpec, ...]:
    bits = frame.word.bits
    return (
        RegisterSpec("p", bits, reset=rng.getrandbits(bits)),
        RegisterSpec("f", bits, 4, rng.choice([None, 0, 3]), rng.getrandbits(bits)),
        RegisterSpec("q", rng.randint(1, min(62, bits + 3))),
        RegisterSpec("b", rng.randint(1, 4), reset=rng.randrange(2)),
        RegisterSpec("e", 1, reset=rng.randrange(2)),
        RegisterSpec("pc", frame.counter_bits),
    )


def _stores(rng: Random, frame: Frame) -> tuple[StoreSpec, ...]:
    stores = []
    for number in range(rng.randint(1, 3)):
        protection: Protection = rng.choice(PROTECTIONS)
        if stored_bits(protection, frame.word.bits) > 62:
            protection = "none"
        stores.append(
            StoreSpec(
                f"s{number}", rng.choice([8, 16, 32, 64, rng.randint(5, 50)]), frame.word.bits, protection,
                rng.random() < 0.7, rng.random() < 0.5, "check" if protection != "none" else "",
                rng.choice(["", "mended"]) if protection == "sec-ded" else "", rng.choice([0, 1, 10, 10, 35]),
            )
        )  # fmt: skip
    return tuple(stores)


def _windows(rng: Random, frame: Frame, stores: tuple[StoreSpec, ...]) -> tuple[WindowSpec, ...]:
    """Cut the address space into windows, with gaps now and then."""
    windows: list[WindowSpec] = []
    space, first = 1 << frame.address_bits, 0
    while first < space and len(windows) < 5:
        store, unit = rng.choice(stores), rng.choice([1, 1, 1, 2, 3, 4])
        words = min(rng.randint(1, store.words), max(1, (space - first) // unit))
        last = first + words * unit - 1
        if last >= space:
            break
        bank = rng.choice(["", "", "b"])
        offset = rng.randint(0, store.words - words)
        windows.append(WindowSpec(first, last, store.name, offset, bank, unit))
        first = last + 1 + rng.choice([0, 0, 0, 3])
    if not windows:
        windows.append(WindowSpec(0, 0, stores[0].name))
    return tuple(windows)


def _drawer(rng: Random, frame: Frame, traps: tuple[str, ...] = (), depth: int = 3) -> TreeDrawer:
    plain = ["skip", "halt", *(["restart"] * frame.restarts), *(["rearm"] * 3 * frame.watchdog)]
    return TreeDrawer(
        rng, frame.word.bits, frame.address_bits, {r.name: r.bits for r in frame.registers if not r.count},
        {r.name: r.bits for r in frame.registers if r.count}, _ALARMS[:2], traps, tuple(plain), depth=depth,
    )  # fmt: skip


def _traps(rng: Random, frame: Frame) -> tuple[TrapSpec, ...]:
    return tuple(TrapSpec(n, _drawer(rng, frame, depth=2).statements(3)) for n in ("first", "second"))


def _timers(rng: Random, frame: Frame) -> tuple[TimerSpec, ...]:
    timers = []
    for number in range(rng.choice([0, 0, 1, 2])):
        does = _drawer(rng, frame, ("first",), depth=2).statements(2)
        timers.append(TimerSpec(f"t{number}", rng.randint(20, 600), does, rng.choice(["", "e"])))
    return tuple(timers)


def _ports(rng: Random, bits: int) -> tuple[PortSpec, ...]:
    ways = [(1, "out"), (2, "in"), (3, "out"), (3, "in")]
    chosen = rng.sample(ways, rng.randint(0, 4))
    return tuple(PortSpec(n, f"p{n}{w}", w, rng.randint(1, bits)) for n, w in chosen)  # type: ignore[arg-type]  # as above


def _instructions(rng: Random, frame: Frame, traps: tuple[TrapSpec, ...]) -> tuple[InstructionSpec, ...]:
    """Draw instructions told apart by leading bits; the rest of the word is cut into fields."""
    bits = frame.word.bits
    lead = rng.randint(2, 4)
    specs = []
    for code in rng.sample(range(1 << lead), rng.randint(2, 1 << lead)):
        fixed, match, free = ((1 << lead) - 1) << (bits - lead), code << (bits - lead), bits - lead
        if free > 4 and rng.random() < 0.3:
            fixed, match, free = fixed | 3 << (free - 2), match | rng.randrange(4) << (free - 2), free - 2
        operands = _fields(rng, free)
        drawer = _drawer(rng, frame, tuple(t.name for t in traps))
        drawer.operands = {o.field.letter: o.width for o in operands}
        does = (drawer._assignment(), *drawer.statements(3))  # noqa: SLF001 - the kit's own other half
        specs.append(
            InstructionSpec(
                f"i{code}", "", fixed, match, operands, "", does, (), "", match, rng.choice([0, 0, 13])
            )
        )
    return tuple(specs)


def _fields(rng: Random, free: int) -> tuple[OperandBits, ...]:
    if free < 1:
        return ()
    cut = rng.randint(1, free)
    fields = [OperandBits(FieldSpec("a", "a"), ((cut - 1, 0),))]
    if cut < free:
        runs: tuple[tuple[int, int], ...] = ((free - 1, cut),)
        if free - cut > 2 and rng.random() < 0.5:
            runs = ((cut, cut), (free - 1, cut + 1))
        fields.append(OperandBits(FieldSpec("b", "b"), runs))
    return tuple(fields)


# --- programs


def draw_program(rng: Random, machine: MachineSpec) -> ProgramImage:
    """Return words for every store: mostly instructions, some any word, some with wrong check bits."""
    segments = {}
    for store in machine.stores:
        words = []
        for _ in range(store.words):
            word = rng.getrandbits(store.data_bits)
            if rng.random() < 0.9:
                spec = rng.choice(machine.instructions)
                word = word & ~spec.mask | spec.match
            stored = encode(store.protection, store.data_bits, word)
            if rng.random() < 0.04:
                stored ^= 1 << rng.randrange(store.bits)
            words.append(stored)
        segments[store.name] = MemoryImage.of_words(store.bits, words)
    counter = machine.register(machine.counter).bits
    return ProgramImage(segments, None if rng.random() < 0.5 else rng.getrandbits(counter))


def draw_inputs(rng: Random, machine: MachineSpec) -> dict[int, tuple[int, ...]]:
    """Return words for some input ports."""
    ports = [p for p in machine.ports if p.direction == "in"]
    return {
        p.number: tuple(rng.getrandbits(machine.word.bits) for _ in range(rng.randint(0, 6)))
        for p in ports
        if rng.random() < 0.8
    }


# --- plans


def draw_plan(rng: Random, machine: MachineSpec) -> MemoryPlan:
    """Return the plan of one to four drawn alterations, some of which come and go."""
    shapes = shapes_of(machine.stores)
    while True:
        parts = [
            Lowered(
                tuple(_alteration(rng, machine, shapes) for _ in range(rng.choice([1, 1, 2]))), _gates(rng)
            )
            for _ in range(rng.randint(1, 4))
        ]
        try:
            return compose(shapes, parts)
        except PlanTooWideError:
            continue


def _gates(rng: Random) -> tuple[Gate, ...]:
    if rng.random() < 0.7:
        return ()
    kinds = (
        Gate("chance", rng.randrange(CHANCE_ONE)), Gate("contact", rng.randint(1, 200), rng.randint(1, 200)),
        Gate("window", rng.randrange(20), rng.randrange(20, 300)), Gate("condition", name="warm"),
        Gate("after", 3, rng.randrange(4)),
    )  # fmt: skip
    return tuple(rng.sample(kinds, rng.choice([1, 1, 2])))


def _alteration(  # noqa: PLR0911 - one return a kind of alteration
    rng: Random, machine: MachineSpec, shapes: tuple[StoreShape, ...]
) -> Alteration:
    place, store = f"{rng.randrange(100):02d} x", rng.randrange(len(shapes))
    shape = shapes[store]
    kind = rng.randrange(12)
    if kind == 0:
        space = 1 << machine.address_bits
        return BusAddresses(place, _mangled(rng, space) % space)
    if kind == 1:
        return StoreAddresses(place, store, np.minimum(_mangled(rng, shape.words), shape.words - 1))
    if kind == 2:
        other = np.minimum(_mangled(rng, shape.words), shape.words - 1)
        way = rng.choice(_WAYS)
        return Selection(
            place, store, lambda rows: np.hstack([rows, np.where(rows < 0, -1, other[rows])]), way
        )
    if kind == 3:
        hole = rng.randrange(shape.words)
        return Selection(place, store, lambda rows: np.where(rows == hole, -1, rows))
    if kind <= 5:
        cells = np.array(sorted(rng.sample(range(shape.words), rng.randint(1, 3))))
        bits = 1 << rng.randrange(shape.bits)
        ones, zeros = (bits, 0) if rng.random() < 0.5 else (0, bits)
        way = rng.choice(_WAYS)
        return Masks(place, store, way, ones, zeros, cells if rng.random() < 0.6 else None)
    if kind == 6:
        return Wired(place, store, rng.choice(["or", "and"]))
    return Altered(place, _rule(rng, store, shape))


def _mangled(rng: Random, count: int) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Return 0 .. count-1 with one address bit stuck, open or swapped."""
    own = np.arange(count)
    bit = 1 << rng.randrange(max(1, (count - 1).bit_length()))
    return (own & ~bit, np.minimum(own | bit, count - 1), np.minimum(own ^ bit, count - 1))[rng.randrange(3)]


def _rule(rng: Random, store: int, shape: StoreShape) -> Rule:
    bits = 1 << rng.randrange(shape.bits) | 1 << rng.randrange(shape.bits)
    if rng.random() < 0.35:
        return _cell_rule(rng, store, shape, bits)
    if rng.random() < 0.15 and not shape.destructive and shape.words & (shape.words - 1) == 0:
        flip = 1 << rng.randrange(shape.words.bit_length() - 1)
        return Rule("sense", store, "redirect", bits, keep_mask=shape.words - 1, flip_mask=flip)
    mask = rng.choice([0, 1, 2, 5])
    word = rng.choice([0, 0, 1 << rng.randrange(shape.bits)])
    last = rng.choice([0, 0, 1])
    return Rule(
        rng.choice(_SIDES), store, rng.choice(_WORD_ACTIONS), bits, on=rng.choice(_WAYS),
        address_mask=mask, address_value=rng.getrandbits(3) & mask, word_mask=word,
        word_value=rng.choice([0, word]), last_mask=last, last_value=rng.choice([0, last]),
    )  # fmt: skip


def _cell_rule(rng: Random, store: int, shape: StoreShape, bits: int) -> Rule:
    cell, other = rng.randrange(shape.words), rng.randrange(shape.words)
    edge, effect, action = rng.choice(_EDGES), rng.choice(_EFFECTS), rng.choice(_CELL_ACTIONS)
    if action == "keep":
        return Rule("cell", store, action, bits, cell=rng.choice([cell, -1]), edge=edge)
    if action == "read-disturb":
        return Rule(
            "cell", store, action, bits, cell=cell, cell_bits=bits, edge=edge, effect=effect,
            shows=rng.random() < 0.5,
        )  # fmt: skip
    trigger = 1 << rng.randrange(shape.bits)
    return Rule(
        "cell", store, action, bits, cell=cell, cell_bits=trigger, other=other, edge=edge, effect=effect
    )
