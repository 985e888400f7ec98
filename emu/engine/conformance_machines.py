"""Draws whole machines and programs for the conformance kit, all of them small and mean."""

from random import Random
from typing import Final

from attrs import evolve, frozen

from emu.codes import PROTECTIONS, Protection, encode, stored_bits
from emu.engine.conformance_trees import TreeDrawer
from emu.image import MemoryImage, ProgramImage
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
    """Return words for the stores: mostly instructions, some any word, some with wrong check bits.

    Half of the programs leave words out, which then hold what power-up makes of them. Some images give data
    bits only.
    """
    given = rng.choice([1.0, 1.0, 0.8, 0.5])
    segments = {store.name: _segment(rng, machine, store, given) for store in machine.stores}
    counter = machine.register(machine.counter).bits
    return ProgramImage(segments, None if rng.random() < 0.5 else rng.getrandbits(counter))


def _segment(rng: Random, machine: MachineSpec, store: StoreSpec, given: float) -> MemoryImage:
    bare = rng.random() < 0.15
    words: dict[int, int] = {}
    for address in range(store.words):
        word = rng.getrandbits(store.data_bits)
        if rng.random() < 0.9:
            spec = rng.choice(machine.instructions)
            word = word & ~spec.mask | spec.match
        if not bare:
            word = encode(store.protection, store.data_bits, word)
            if rng.random() < 0.04:
                word ^= 1 << rng.randrange(store.bits)
        if rng.random() < given:
            words[address] = word
    return MemoryImage.certain(store.data_bits if bare else store.bits, words)


def draw_inputs(rng: Random, machine: MachineSpec) -> dict[int, tuple[int, ...]]:
    """Return words for some input ports."""
    ports = [p for p in machine.ports if p.direction == "in"]
    return {
        p.number: tuple(rng.getrandbits(machine.word.bits) for _ in range(rng.randint(0, 6)))
        for p in ports
        if rng.random() < 0.8
    }
