"""The reference page of a machine, as Markdown, made from nothing but its machine file."""

from collections.abc import Iterator, Sequence

from emu.codes import check_bits
from emu.shipped import machine_names
from emu.spec import InstructionSpec, MachineSpec, PortSpec, RegisterSpec, StoreSpec, WindowSpec
from emu.words import WordFormat

_PROTECTION = {
    "none": "no check bits",
    "odd": "odd parity",
    "even": "even parity",
    "sec-ded": "check bits that correct one wrong bit and detect two",
}
_ACTION = {"lamp": "lights its lamp", "halt": "halts the machine", "restart": "restarts the machine"}


def machine_page(machine: MachineSpec) -> str:
    """Return the page: numbering, registers, memory, alarms, ports, lamps and every instruction."""
    sections = [
        _head(machine), _registers(machine), _memory(machine), _alarms(machine), _ports(machine),
        _lamps(machine), _instructions(machine),
    ]  # fmt: skip
    return "\n\n".join("\n".join(section) for section in map(list, sections) if section) + "\n"


def duration(nanoseconds: int) -> str:
    """Return a time with the largest unit that keeps it short: ``10 µs``, ``2 s``, ``1.5 ms``."""
    for unit, size in (("s", 10**9), ("ms", 10**6), ("µs", 10**3)):
        if nanoseconds >= size:
            return f"{nanoseconds / size:.6g} {unit}"
    return f"{nanoseconds} ns"


def _head(machine: MachineSpec) -> Iterator[str]:
    yield f"# {machine.name}"
    yield ""
    name = machine.name if machine.name in machine_names() else "FILE"
    yield f"<!-- made from the machine file by `corewright machines {name} --page` -->"
    yield ""
    yield from machine.doc.strip().splitlines()
    yield ""
    yield machine.word.numbering_sentence()
    address = addresses(machine)
    yield (
        f"Addresses have {machine.address_bits} bits. The program counter is `{machine.counter}`; it starts "
        f"at {address.tagged(machine.start)} and moves on by {machine.step}. {_unknown(machine)}"
    )


def addresses(machine: MachineSpec) -> WordFormat:
    """Return how addresses of a machine are written."""
    return WordFormat(machine.address_bits, "twos", machine.word.base, machine.word.numbering)


def _unknown(machine: MachineSpec) -> str:
    what, _, name = machine.unknown.partition(" ")
    does = {"halt": "halts the machine", "alarm": f"raises the alarm `{name}`"}.get(what, f"enters `{name}`")
    return f"A word that is no instruction {does}."


def _table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    if not rows:
        return
    yield f"## {title}"
    yield ""
    yield f"| {' | '.join(heads)} |"
    yield f"|{'|'.join('---' for _ in heads)}|"
    for row in rows:
        yield f"| {' | '.join(map(_cell, row))} |"


def _cell(text: str) -> str:
    return " ".join(text.replace("|", "\\|").split())


def _registers(machine: MachineSpec) -> Iterator[str]:
    rows = [(f"`{r.name}`", _register_size(r), r.doc) for r in machine.registers]
    return _table("Registers", ("register", "bits", "what it is"), rows)


def _register_size(register: RegisterSpec) -> str:
    if not register.count:
        return str(register.bits)
    names = f", called {register.names[0]} to {register.names[-1]}" if register.names else ""
    zero = "" if register.zero is None else f", number {register.zero} always 0"
    return f"{register.count} of {register.bits}{names}{zero}"


def _memory(machine: MachineSpec) -> Iterator[str]:
    stores = [
        (f"`{s.name}`", f"{s.words:,}", _store_bits(s), store_manners(s), s.doc) for s in machine.stores
    ]
    yield from _table("Memory", ("store", "words", "bits", "how it behaves", "what it is"), stores)
    yield ""
    rows = [(*window_row(machine, w), w.doc) for w in machine.windows]
    yield from list(_table("", ("addresses", "show", "what it is"), rows))[2:]


def _store_bits(store: StoreSpec) -> str:
    checks = check_bits(store.protection, store.data_bits)
    return f"{store.data_bits} + {checks}" if checks else str(store.data_bits)


def store_manners(store: StoreSpec) -> str:
    """Return a phrase: read/write or read-only, protection with its alarms, destruction, cycle time."""
    parts = ["read/write" if store.writable else "read-only", _PROTECTION[store.protection]]
    if store.alarm:
        parts.append(f"alarm `{store.alarm}`")
    if store.corrected_alarm:
        parts.append(f"corrected: `{store.corrected_alarm}`")
    if store.destructive:
        parts.append("reading clears and writes back")
    return ", ".join([*parts, f"cycle {duration(store.cycle_ns)}"])


def window_row(machine: MachineSpec, window: WindowSpec) -> tuple[str, str]:
    """Return the addresses of a window and what they show."""
    address = addresses(machine)
    place = f"`{window.store}`"
    if window.bank:
        place += f", the bank in `{window.bank}` ({window.size:,} words each)"
    if window.offset:
        place += f", from word {window.offset} on"
    if window.unit > 1:
        place += f", {window.unit} addresses to a word"
    return f"{address.tagged(window.first)} to {address.tagged(window.last)}", place


def _alarms(machine: MachineSpec) -> Iterator[str]:
    rows = [(f"`{a.name}`", _ACTION[a.action], a.doc) for a in machine.alarms]
    yield from _table("Alarms and restarts", ("alarm", "what it does", "what it means"), rows)
    restart, watchdog = machine.restart, machine.watchdog
    if restart:
        clears = f" and clears {', '.join(f'`{c}`' for c in restart.clears)}" if restart.clears else ""
        yield ""
        yield (
            f"A restart goes to {addresses(machine).tagged(restart.address)}{clears}; "
            f"it takes {duration(restart.delay_ns)} and is counted."
        )
    if watchdog:
        yield ""
        yield f"The watchdog raises `{watchdog.alarm}` after {duration(watchdog.period_ns)} without `rearm`."
    for timer in machine.timers:
        yield ""
        yield f"Every {duration(timer.period_ns)} the timer `{timer.name}` acts. {timer.doc}".rstrip()


def _ports(machine: MachineSpec) -> Iterator[str]:
    rows = [(str(p.number), f"`{p.name}`", p.direction, _port_bits(p), p.doc) for p in machine.ports]
    return _table("Ports", ("port", "name", "direction", "bits", "what it is"), rows)


def _port_bits(port: PortSpec) -> str:
    return str(port.bits) if port.shows == "number" else f"{port.bits}, {port.shows}"


def _lamps(machine: MachineSpec) -> Iterator[str]:
    rows = [(f"`{lamp.name}`", f"`{lamp.shows}`", lamp.doc) for lamp in machine.lamps]
    return _table("Lamps", ("row of lamps", "shows", "what it is"), rows)


def _instructions(machine: MachineSpec) -> Iterator[str]:
    yield "## Instructions"
    for instruction in machine.instructions:
        yield ""
        yield f"### {instruction.name}"
        yield ""
        if instruction.doc:
            yield instruction.doc.strip()
            yield ""
        yield "```"
        yield from _instruction(machine, instruction)
        yield "```"


def _instruction(machine: MachineSpec, instruction: InstructionSpec) -> Iterator[str]:
    word = machine.word
    yield f"bits     {instruction.bits}"
    for number, line in enumerate(instruction.does_text):
        yield f"{'does' if not number else '':<9}{line}"
    yield f"example  {instruction.example_text}  =  {word.tagged(instruction.example_word)}"
    if instruction.extra_ns:
        yield f"takes    {duration(instruction.extra_ns)} beside the memory cycles"
