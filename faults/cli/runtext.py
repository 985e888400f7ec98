"""What a run did, as text and as an object."""

from collections.abc import Mapping
from typing import Final

from emu.engine.contract import AlarmTally, RunResult
from emu.machinepage import addresses, duration
from emu.record import Event
from emu.spec import MachineSpec, PortSpec
from emu.words import WordFormat, to_signed
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer
from faults.counts import counted

RUN = declare_schema(
    "run/1",
    "`corewright run MACHINE PROGRAM --json`: what a run did.",
    {
        "machine": "text: name of the machine",
        "numbering": "text: word size, arithmetic, base and bit numbers in a sentence",
        "engine": "text: the engine that ran it; engines agree in everything",
        "seed": "int: what chance was drawn from",
        "stop": {
            "kind": "text: halt, alarm-halt, loop, steps, time, outputs or restarts",
            "pc": "int: address of the last instruction, or of the next one at a limit",
            "pc_text": "text: the same in the machine's base",
            "sentence": "text: how it stopped",
            "loop?": {
                "from_step": "int: the state first seen after so many instructions",
                "steps": "int: recurs every so many instructions",
                "time_ns": "int: and so much time",
                "restarts": "int: with so many restarts in it",
                "low": "int: lowest program address in the loop",
                "low_text": "text: the same in the machine's base",
                "high": "int: highest program address in the loop",
                "high_text": "text: the same in the machine's base",
            },
        },
        "steps": "int: instructions",
        "time_ns": "int: simulated time",
        "accesses": {
            "fetches": "int: instructions fetched",
            "reads": "int: data words read",
            "writes": "int: data words written",
        },
        "alarms": [
            {
                "name": "text: alarm",
                "count": "int: how often",
                "first_ns": "int: when first",
                "first_pc": "int: address of the instruction then",
                "first_pc_text": "text: the same in the machine's base",
                "first_store": "text?: store of the access that raised it; null if no word of a store did",
                "first_index": "int?: word of that store",
                "first_index_text": "text?: the same in the machine's base",
            }
        ],
        "restarts": "int: restarts",
        "restart_times_ns": ["int: when; the first 64"],
        "outputs": [
            {
                "time_ns": "int: when",
                "port": "int: port",
                "name": "text: name of the port",
                "word": "int: what",
                "text": "text: the same as the port shows it",
            }
        ],
        "printed": {"*": "text: what left at a port that shows characters"},
        "lamps": [
            {
                "name": "text: row of lamps",
                "value": "int: what it shows at the end",
                "text": "text: the same in the machine's base",
            }
        ],
        "registers": {"*": "any: value, or a list of values for a file"},
        "events": [
            {
                "kind": "text: fetch, read, write, alarm, restart, output or stop",
                "step": "int: instructions before it",
                "access": "int: memory accesses before it",
                "time_ns": "int: when",
                "pc": "int: address of the instruction",
                "pc_text": "text: the same in the machine's base",
                "store": "text?: store of the access",
                "address": "int?: word of the store, or port of an output; null where there is neither",
                "address_text": "text?: the same in the machine's base",
                "word": "int?: the word, or the count of a restart; null where no word passed",
                "word_text": "text?: the same in the machine's base",
                "detail": "text: name of an alarm, kind of a stop",
            }
        ],
    },
)
NUMBERS_SHOWN: Final = 40
_LIMIT_TEXT: Final = {
    "steps": "the limit of instructions",
    "time": "the limit of simulated time",
    "outputs": "the limit of outputs",
    "restarts": "the limit of restarts",
}


def stop_sentence(machine: MachineSpec, result: RunResult) -> str:
    """Return how a run ended, in a sentence."""
    stop, tagged = result.stop, addresses(machine).tagged
    if stop.kind == "halt":
        return f"Halted at {tagged(stop.pc)}."
    if stop.kind == "alarm-halt":
        return f"Halted by an alarm at {tagged(stop.pc)}."
    if stop.kind != "loop":
        return f"Not finished: {_LIMIT_TEXT[stop.kind]} was hit at {tagged(stop.pc)}."
    low, high = tagged(stop.loop_low), tagged(stop.loop_high)
    where = f"between {low} and {high}" if low != high else f"at {low}"
    steps = "instruction" if stop.loop_steps == 1 else f"{stop.loop_steps:,} instructions"
    every = f"every {steps} ({duration(stop.loop_ns)})"
    if stop.loop_restarts:
        return f"Restarts for ever: {counted(stop.loop_restarts, 'restart')} {every}, {where}."
    return f"Goes round for ever {where}: the same state {every}."


def output_text(machine: MachineSpec, port: PortSpec, word: int) -> str:
    """Return a word as its port shows it."""
    if port.shows == "character":
        return chr(word) if word < 0x110000 else "?"
    if port.shows == "signed":
        return str(to_signed(word, port.bits, machine.word.arithmetic))
    return WordFormat(port.bits, "twos", machine.word.base).tagged(word)


def outputs_by_port(machine: MachineSpec, result: RunResult) -> dict[PortSpec, list[int]]:
    """Return the words that left at each output port, in order of port."""
    ports = {p.number: p for p in machine.ports if p.direction == "out"}
    found: dict[PortSpec, list[int]] = {port: [] for port in ports.values()}
    for _, number, word in result.outputs:
        found[ports[number]].append(word)
    return found


def write_result(machine: MachineSpec, result: RunResult, writer: Writer) -> None:
    """Write what a run did: outputs first, then how it stopped and what was counted."""
    writer.labelled("machine", f"{machine.name}. {machine.word.numbering_sentence()}")
    if result.events:
        writer.heading("Events")
        _write_events(machine, result.events, writer)
    for port, words in outputs_by_port(machine, result).items():
        if words:
            writer.heading(f"{port.name} (port {port.number})")
            _write_port(machine, port, words, writer)
    writer.heading("Run")
    writer.labelled("stopped", stop_sentence(machine, result))
    writer.labelled("time", f"{duration(result.time_ns)} simulated, {result.steps:,} instructions")
    accesses = f"{result.fetches:,} fetches, {result.reads:,} reads, {result.writes:,} writes"
    writer.labelled("accesses", accesses)
    writer.labelled("alarms", "; ".join(_alarm_texts(machine, result)) or "none")
    writer.labelled("restarts", f"{result.restarts:,}")
    lamps = [f"{lamp['name']} {lamp['text']}" for lamp in _lamps(machine, result)]
    writer.labelled("lamps", ", ".join(lamps) or "none")


def _write_port(machine: MachineSpec, port: PortSpec, words: list[int], writer: Writer) -> None:
    texts = [output_text(machine, port, word) for word in words]
    if port.shows == "character":
        for line in "".join(texts).replace("\r\n", "\n").rstrip("\n").split("\n"):
            writer.line(line)
        return
    writer.paragraph(" ".join(texts[:NUMBERS_SHOWN]))
    if len(texts) > NUMBERS_SHOWN:
        writer.paragraph(f"... and {len(texts) - NUMBERS_SHOWN:,} more; --json has them all")


def _alarm_texts(machine: MachineSpec, result: RunResult) -> list[str]:
    tagged = addresses(machine).tagged
    texts = []
    for tally in result.alarms:
        place = ""
        if tally.first_store >= 0:
            store = machine.stores[tally.first_store]
            place = f" on {store.name} word {_index_text(machine, tally.first_store, tally.first_address)}"
        when = f"first after {duration(tally.first_ns)}"
        often = "once" if tally.count == 1 else f"{tally.count:,} times"
        texts.append(f"{tally.name} {often}, {when} at {tagged(tally.first_pc)}{place}")
    return texts


def _index_text(machine: MachineSpec, store: int, index: int) -> str:
    """Return a word of a store in the machine's base; without a store (-1), a number as long as it is."""
    bits = max((machine.stores[store].words - 1).bit_length() if store >= 0 else index.bit_length(), 1)
    return WordFormat(bits, "twos", machine.word.base).tagged(index)


def _lamps(machine: MachineSpec, result: RunResult) -> list[dict[str, object]]:
    bits = {r.name: r.bits for r in machine.registers}
    shown = []
    for lamp in machine.lamps:
        value = result.lamps[lamp.name]
        text = str(value)
        if lamp.shows in bits:
            text = WordFormat(bits[lamp.shows], "twos", machine.word.base).tagged(value)
        shown.append({"name": lamp.name, "value": value, "text": text})
    return shown


def _write_events(machine: MachineSpec, events: tuple[Event, ...], writer: Writer) -> None:
    rows = [_event_row(machine, event) for event in events]
    writer.table(("step", "time", "at", "event", "place", "word"), rows)


def _event_row(machine: MachineSpec, event: Event) -> tuple[str, ...]:
    place, word = event.detail, ""
    if event.store >= 0:
        index = _index_text(machine, event.store, event.address)
        place = f"{machine.stores[event.store].name} {index} {event.detail}".rstrip()
        word = "" if event.kind == "alarm" else machine.word.text(event.word)
    elif event.kind == "output":
        place, word = f"port {event.address}", str(event.word)
    elif event.kind == "restart":
        word = str(event.word)
    at = addresses(machine).text(event.pc)
    return str(event.step), duration(event.time_ns), at, event.kind, place, word


def run_json(machine: MachineSpec, result: RunResult, engine: str, seed: int) -> Mapping[str, object]:
    """Return what schema ``run/1`` holds."""
    ports = {p.number: p for p in machine.ports if p.direction == "out"}
    printed = {
        port.name: "".join(output_text(machine, port, word) for word in words)
        for port, words in outputs_by_port(machine, result).items()
        if port.shows == "character"
    }
    return {
        "machine": machine.name,
        "numbering": machine.word.numbering_sentence(),
        "engine": engine,
        "seed": seed,
        "stop": _stop_json(machine, result),
        "steps": result.steps,
        "time_ns": result.time_ns,
        "accesses": {"fetches": result.fetches, "reads": result.reads, "writes": result.writes},
        "alarms": _alarms_json(machine, result),
        "restarts": result.restarts,
        "restart_times_ns": list(result.restart_times_ns),
        "outputs": [
            {
                "time_ns": time, "port": number, "name": ports[number].name, "word": word,
                "text": output_text(machine, ports[number], word),
            }
            for time, number, word in result.outputs
        ],
        "printed": printed,
        "lamps": _lamps(machine, result),
        "registers": {n: list(v) if isinstance(v, tuple) else v for n, v in result.registers.items()},
        "events": [_event_json(machine, event) for event in result.events],
    }  # fmt: skip


def _stop_json(machine: MachineSpec, result: RunResult) -> dict[str, object]:
    stop, tagged = result.stop, addresses(machine).tagged
    found: dict[str, object] = {
        "kind": stop.kind,
        "pc": stop.pc,
        "pc_text": tagged(stop.pc),
        "sentence": stop_sentence(machine, result),
    }
    if stop.kind == "loop":
        found["loop"] = {
            "from_step": stop.loop_from_step, "steps": stop.loop_steps, "time_ns": stop.loop_ns,
            "restarts": stop.loop_restarts, "low": stop.loop_low, "low_text": tagged(stop.loop_low),
            "high": stop.loop_high, "high_text": tagged(stop.loop_high),
        }  # fmt: skip
    return found


def _alarms_json(machine: MachineSpec, result: RunResult) -> list[dict[str, object]]:
    return [_alarm_json(machine, tally) for tally in result.alarms]


def _alarm_json(machine: MachineSpec, tally: AlarmTally) -> dict[str, object]:
    store, index = tally.first_store, tally.first_address
    of_word = store >= 0  # not so for a watchdog, or an address outside every window
    return {
        "name": tally.name,
        "count": tally.count,
        "first_ns": tally.first_ns,
        "first_pc": tally.first_pc,
        "first_pc_text": addresses(machine).tagged(tally.first_pc),
        "first_store": machine.stores[store].name if of_word else None,
        "first_index": index if of_word else None,
        "first_index_text": _index_text(machine, store, index) if of_word else None,
    }


def _event_json(machine: MachineSpec, event: Event) -> dict[str, object]:
    placed = event.store >= 0 or event.kind == "output"
    worded = event.kind not in {"alarm", "stop"}
    return {
        "kind": event.kind,
        "step": event.step,
        "access": event.access,
        "time_ns": event.time_ns,
        "pc": event.pc,
        "pc_text": addresses(machine).tagged(event.pc),
        "store": machine.stores[event.store].name if event.store >= 0 else None,
        "address": event.address if placed else None,
        "address_text": _index_text(machine, event.store, event.address) if placed else None,
        "word": event.word if worded else None,
        "word_text": _word_text(machine, event.word) if worded else None,
        "detail": event.detail,
    }


def _word_text(machine: MachineSpec, word: int) -> str:
    """Return a word in the machine's base; a count that no word of the machine holds, as it is."""
    return machine.word.tagged(word) if word < 1 << machine.word.bits else str(word)
