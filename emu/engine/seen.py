"""What a person could see of a stopped run, as a few bytes that compiled code can write by the thousand.

A *record* is a row of numbers: first those of the outputs, then those that :func:`names` gives. Equal records
mean equal symptoms and the other way round. Numbers are written seven bits a byte, the last byte below 128;
those behind the outputs may be negative and are doubled first (-1 becomes 1, 1 becomes 2).
"""

from collections.abc import Iterator
from typing import Final

from attrs import frozen

from emu.engine.contract import RunResult
from emu.engine.layout import STOP_KINDS, Layout
from emu.spec import MachineSpec

RECORD_FORMAT: Final = 1  # changes with what a record holds; results kept under another format are not used
OUTPUTS_SEEN: Final = 512
_HEAD: Final = ("STOP", "PC", "LOW", "HIGH", "LOOP_NS", "LOOP_RESTARTS", "RESTARTS", "TIME")
_PER_ALARM: Final = 4
_MOST_BYTES: Final = 10  # of one number


@frozen
class Seen:
    """A record, read.

    ``outputs``: (port, word), the first 512. ``head``: by name stop (code of ``STOP_KINDS``), pc, low, high,
    loop_ns, loop_restarts, restarts and time; in a loop pc and time are 0, elsewhere the four of the loop.
    ``alarms``: one entry for each alarm of the machine, in its order: count (-1: again and again), first
    time, store, address. ``lamps``: one entry for each lamp row, 0 in a loop.
    """

    outputs: tuple[tuple[int, int], ...]
    head: tuple[int, ...]
    alarms: tuple[tuple[int, int, int, int], ...]
    lamps: tuple[int, ...]


def read_record(machine: MachineSpec, record: bytes) -> Seen:
    """Return what a record says."""
    numbers = list(_numbers(record))
    end = 1 + 2 * numbers[0]
    pairs = numbers[1:end]
    rest = [(n >> 1) ^ -(n & 1) for n in numbers[end:]]
    alarms = len(_HEAD) + _PER_ALARM * len(machine.alarms)
    told = rest[len(_HEAD) : alarms]
    return Seen(
        tuple(zip(pairs[::2], pairs[1::2], strict=True)),
        tuple(rest[: len(_HEAD)]),
        tuple((*told[i : i + _PER_ALARM],) for i in range(0, len(told), _PER_ALARM)),  # type: ignore[misc]
        tuple(rest[alarms:]),
    )


def _numbers(record: bytes) -> Iterator[int]:
    value = shift = 0
    for byte in record:
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            yield value
            value = shift = 0


def write_record(machine: MachineSpec, result: RunResult) -> bytes:
    """Return the record of a run by any engine; compiled code writes the same bytes."""
    stop = result.stop
    looping = stop.kind == "loop"
    endless = looping and stop.loop_restarts > 0
    kept = result.outputs[:OUTPUTS_SEEN]
    loop = (stop.loop_low, stop.loop_high, stop.loop_ns, stop.loop_restarts) if looping else (0, 0, 0, 0)
    restarts = -1 if endless else result.restarts
    rest = [
        STOP_KINDS.index(stop.kind),
        0 if looping else stop.pc,
        *loop,
        restarts,
        0 if looping else result.time_ns,
    ]
    tallies = {tally.name: tally for tally in result.alarms}
    for alarm in machine.alarms:
        told = tallies.get(alarm.name)
        if told is None:
            rest += [0, 0, 0, 0]
        else:
            rest += [-1 if endless else told.count, told.first_ns, told.first_store, told.first_address]
    rest += [0 if looping else result.lamps[lamp.name] for lamp in machine.lamps]
    numbers = [len(kept), *(n for _, port, word in kept for n in (port, word))]
    return b"".join(map(_number, [*numbers, *((n << 1) ^ (n >> 63) for n in rest)]))


def _number(value: int) -> bytes:
    parts = []
    while value > 127:
        parts.append(value & 127 | 128)
        value >>= 7
    return bytes([*parts, value])


def most_bytes(machine: MachineSpec) -> int:
    """Return how long a record of a machine may be."""
    numbers = 1 + 2 * OUTPUTS_SEEN + len(_HEAD) + _PER_ALARM * len(machine.alarms) + len(machine.lamps)
    return _MOST_BYTES * numbers


_WRITING = """
@inner
def put_number(rec, at, value):
    while value > 127:
        rec[at] = (value & 127) | 128
        value >>= 7
        at += 1
    rec[at] = value
    return at + 1


@inner
def put_signed(rec, at, value):
    return put_number(rec, at, (value << 1) ^ (value >> 63))


@inner
def put_seen(st, out, rec, at):
    looping = st[STOP] == 3
    endless = looping and st[LOOP_RESTARTS] > 0
    kept = min(st[OUTPUTS], 512)
    at = put_number(rec, at, kept)
    for i in range(kept):
        at = put_number(rec, at, out[3 * i + 1])
        at = put_number(rec, at, out[3 * i + 2])
    at = put_signed(rec, at, st[STOP])
    at = put_signed(rec, at, 0 if looping else st[STOP_PC])
    at = put_signed(rec, at, st[LOOP_LOW] if looping else 0)
    at = put_signed(rec, at, st[LOOP_HIGH] if looping else 0)
    at = put_signed(rec, at, st[LOOP_NS] if looping else 0)
    at = put_signed(rec, at, st[LOOP_RESTARTS] if looping else 0)
    at = put_signed(rec, at, -1 if endless else st[RESTARTS])
    at = put_signed(rec, at, 0 if looping else st[TIME])
"""

_RUNNING = """
@kernel
def record_run(st, out, rec):
    return put_seen(st, out, rec, 0)


@kernel
def run_recorded(
    st, work, mem, out, inp, dec, tab, undo, stamp, faults, first, last, most_steps, ends, rec, used
):
    spent = 0
    for i in range(first, last):
        if used + RECORD_BYTES > len(rec) or spent > most_steps:
            return i
        q = 6 * i
        if faults[q + 5] > st[STEPS] and st[STOP] == 0:
            st[SLICE] = faults[q + 5]
            run_healthy(st, mem, out, inp, dec, tab)
        epoch = work[EPOCH] + 1
        for j in range(len(st)):
            work[j] = st[j]
        work[EPOCH] = epoch
        work[UNDONE] = 0
        work[SLICE] = 1 << 62
        if work[STOP] == 0:
            run_cell(
                work, mem, out, inp, dec, tab, undo, stamp,
                faults[q], faults[q + 1], faults[q + 2], faults[q + 3], faults[q + 4],
            )
        take_back(work, mem, undo)
        spent += work[STEPS] - st[STEPS]
        used = put_seen(work, out, rec, used)
        ends[i] = used
    return last
"""


def writing_lines(machine: MachineSpec, layout: Layout) -> list[str]:
    """Return the functions of a generated module that write records."""
    lines = _WRITING.splitlines()
    for alarm in machine.alarms:
        at = layout.alarm_at(alarm.name)
        lines.append(f"    at = put_signed(rec, at, -1 if endless and st[{at}] else st[{at}])")
        lines += [f"    at = put_signed(rec, at, st[{at + i}])" for i in (1, 2, 3)]
    for lamp in machine.lamps:
        lines.append(f"    at = put_signed(rec, at, 0 if looping else {_lamp(layout, lamp.shows)})")
    return [*lines, "    return at", ""]


def _lamp(layout: Layout, shows: str) -> str:
    what, _, name = shows.partition(":")
    if what == "alarm":
        return f"(1 if st[{layout.alarm_at(name)}] else 0)"
    if what == "restarts":
        return "st[RESTARTS]"
    index = [r.name for r in layout.singles].index(what)
    return f"st[{layout.at['REGISTERS'] + index}]"


def running_lines(machine: MachineSpec) -> list[str]:
    """Return the kernels that run faults of single cells and keep what was seen; behind ``run_cell``.

    ``faults``: as for ``run_batch``. ``ends[i]``: where the record of fault i ends in ``rec``. Returns the
    fault that comes next when ``rec`` is full or ``most_steps`` instructions have been spent.
    """
    return [f"RECORD_BYTES = {most_bytes(machine)}", *_RUNNING.splitlines()]
