"""Records of runs (``emu.engine.seen``) as :class:`faults.symptoms.Symptoms`, and quick looks at them."""

from emu.engine.contract import StopKind
from emu.engine.layout import STOP_KINDS
from emu.engine.seen import Seen, read_record
from emu.spec import MachineSpec
from faults.symptoms import AlarmSeen, LoopSeen, Symptoms

_LONG = 128


def symptoms_of_record(machine: MachineSpec, record: bytes) -> Symptoms:
    """Return the symptoms that a record stands for, the same as ``symptoms_of`` the run's result."""
    seen = read_record(machine, record)
    stop, pc, low, high, loop_ns, loop_restarts, restarts, time_ns = seen.head
    kind: StopKind = STOP_KINDS[stop]  # type: ignore[assignment]  # a stopped run has a kind
    loop = LoopSeen(low, high, loop_ns, loop_restarts) if kind == "loop" else None
    lamps = () if loop else tuple(zip((lamp.name for lamp in machine.lamps), seen.lamps, strict=True))
    return Symptoms(kind, pc, loop, _alarms(machine, seen), restarts, seen.outputs, lamps, time_ns)


def _alarms(machine: MachineSpec, seen: Seen) -> tuple[AlarmSeen, ...]:
    found = []
    for alarm, (count, first_ns, store, address) in zip(machine.alarms, seen.alarms, strict=True):
        if count:
            name = machine.stores[store].name if store >= 0 else ""
            found.append(AlarmSeen(alarm.name, count, first_ns, name, address))
    return tuple(sorted(found, key=lambda a: a.name))


def character_ports(machine: MachineSpec) -> frozenset[int]:
    """Return the numbers of the ports that print."""
    return frozenset(p.number for p in machine.ports if p.direction == "out" and p.shows == "character")


def printed(record: bytes, ports: frozenset[int]) -> str:
    """Return what was printed at the ports, in order; quickly where all of it is ASCII."""
    count = record[0]
    end = 1 + 2 * count
    if count < _LONG and record[:end].isascii() and ports.issuperset(record[1:end:2]):
        return record[2:end:2].decode("ascii")
    numbers, value, shift = [], 0, 0
    for byte in record:
        value |= (byte & 127) << shift
        shift += 7
        if byte < _LONG:
            numbers.append(value)
            value = shift = 0
            if len(numbers) > 2 * numbers[0]:
                break
    pairs = zip(numbers[1::2], numbers[2::2], strict=False)
    return "".join(chr(w) if w < 0x110000 else "\ufffd" for port, w in pairs if port in ports)


def without_times(symptoms: Symptoms) -> tuple[object, ...]:
    """Return what of symptoms does not need a clock to be seen."""
    alarms = tuple((a.name, a.count, a.store, a.address) for a in symptoms.alarms)
    loop = symptoms.loop and (symptoms.loop.low, symptoms.loop.high, symptoms.loop.restarts > 0)
    seen = (symptoms.stop, symptoms.pc, loop, alarms, symptoms.restarts)
    return (*seen, symptoms.outputs, symptoms.lamps)
