"""What a person at the machine can see of a run, and nothing else.

Lamps, alarms, restarts, what was printed, where it stopped or in what loop it goes round. Registers without
lamps, memory and counts of accesses are no symptoms. How long a run was watched is known to people, so times
are given, rounded only when they are told.
"""

import hashlib
import json

from attrs import asdict, frozen

from emu.engine.contract import RunResult, StopKind
from emu.spec import MachineSpec

OUTPUTS_KEPT = 512


@frozen
class AlarmSeen:
    """One kind of alarm: how often in the time watched (-1: again and again, in a loop), and the first.

    ``store`` and ``address`` (word index in that store) are those of the access that raised it first, ""
    and 0 for an alarm that no access raised.
    """

    name: str
    count: int
    first_ns: int
    store: str
    address: int


@frozen
class LoopSeen:
    """The machine goes round: the program counter stays in ``low``..``high``.

    ``restarts`` of them happen every ``period_ns`` (0: a loop without restarts).
    """

    low: int
    high: int
    period_ns: int
    restarts: int

    @property
    def restart_period_ns(self) -> int | None:
        """Time between restarts, or None when the loop has none."""
        return round(self.period_ns / self.restarts) if self.restarts else None


@frozen
class Symptoms:
    """What was seen of one run.

    ``restarts``: -1 when the machine restarts again and again. ``outputs``: (port, word), in order, the
    first 512; in a loop those before the state recurred. ``lamps``: what each row shows at the end ((name,
    value), in the order of the machine file); while a machine goes round its lamps flicker, so there are
    none then.
    """

    stop: StopKind
    pc: int
    loop: LoopSeen | None
    alarms: tuple[AlarmSeen, ...]
    restarts: int
    outputs: tuple[tuple[int, int], ...]
    lamps: tuple[tuple[str, int], ...]
    time_ns: int

    def alarm(self, name: str) -> AlarmSeen | None:
        """Return the alarm of that name, if it was raised."""
        return next((a for a in self.alarms if a.name == name), None)

    def printed(self, port: int) -> str:
        """Return what left at a port, as text (code points of the words)."""
        return "".join(chr(word) for number, word in self.outputs if number == port)


def symptoms_of(machine: MachineSpec, result: RunResult) -> Symptoms:
    """Return what a person could see of a run."""
    stop = result.stop
    looping = stop.kind == "loop"
    loop = LoopSeen(stop.loop_low, stop.loop_high, stop.loop_ns, stop.loop_restarts) if looping else None
    endless = looping and stop.loop_restarts > 0
    alarms = tuple(
        AlarmSeen(
            tally.name,
            -1 if endless else tally.count,
            tally.first_ns,
            machine.stores[tally.first_store].name if tally.first_store >= 0 else "",
            tally.first_address,
        )
        for tally in result.alarms
    )
    return Symptoms(
        stop=stop.kind,
        pc=0 if looping else stop.pc,
        loop=loop,
        alarms=alarms,
        restarts=-1 if endless else result.restarts,
        outputs=tuple((port, word) for _, port, word in result.outputs[:OUTPUTS_KEPT]),
        lamps=() if looping else tuple((lamp.name, result.lamps[lamp.name]) for lamp in machine.lamps),
        time_ns=0 if looping else result.time_ns,
    )


def canonical(symptoms: Symptoms) -> str:
    """Return the comparable text of symptoms: equal texts mean that nobody can tell the runs apart."""
    return json.dumps(asdict(symptoms), sort_keys=True, separators=(",", ":"))


def from_canonical(text: str) -> Symptoms:
    """Return the symptoms of a canonical text (the inverse of :func:`canonical`)."""
    data = json.loads(text)
    loop = LoopSeen(**data["loop"]) if data["loop"] else None
    return Symptoms(
        stop=data["stop"],
        pc=data["pc"],
        loop=loop,
        alarms=tuple(AlarmSeen(**alarm) for alarm in data["alarms"]),
        restarts=data["restarts"],
        outputs=tuple((port, word) for port, word in data["outputs"]),
        lamps=tuple((name, value) for name, value in data["lamps"]),
        time_ns=data["time_ns"],
    )


def signature(symptoms: Symptoms) -> str:
    """Return a strong short name of what was seen (32 hexadecimal digits)."""
    return hashlib.blake2b(canonical(symptoms).encode(), digest_size=16).hexdigest()
