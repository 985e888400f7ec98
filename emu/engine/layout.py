"""Where everything that changes during a run lies in the state array of a compiled machine.

The state of a run is one int64 array (beside the cells of memory): copying it is a snapshot. The first places
are the same for every machine and have names; behind them lie parts whose sizes depend on the machine.
"""

from attrs import field, frozen

from emu.memory import EXTRA_CELLS
from emu.spec import MachineSpec, PortSpec, RegisterSpec

RESTART_TIMES_KEPT = 64
ALARM_FIELDS = 5  # count, first time, store, address, pc
GATES_PER_GROUP = 8
MAX_CLOCKS = 3 * GATES_PER_GROUP

FIXED = (
    "HASH",  # of all cells; changes with every change of a cell
    "UNDONE",  # cells noted in the undo list
    "EPOCH",  # stamp of the undo list
    "LAST_WORD", "LAST_ADDRESS", "MODE", "ACCESS",  # of the planned memory; ACCESS only when saved
    "BEFORE", "BEFORE_1", "BEFORE_2", "BEFORE_3",  # what the cells held that are being written
    "SEED", "FRESH", "LOOKS_BACK", "WATCH",
    "SHOW_PAST",  # end the slice when a new past state is taken
    "TIME", "STEPS", "READS", "WRITES", "RESTARTS", "UNMAPPED", "PC", "WATCHED",
    "OUTPUTS", "OUTPUT_ROOM", "OUTPUT_HASH", "EVENTS", "EVENT_ROOM", "MAX_EVENTS",
    "MAX_STEPS", "MAX_TIME", "MAX_OUTPUTS", "MAX_RESTARTS", "SLICE",
    "STOP", "STOP_PC", "LOOP_FROM", "LOOP_STEPS", "LOOP_NS", "LOOP_RESTARTS", "LOOP_LOW", "LOOP_HIGH",
    "LOW", "HIGH", "DUE", "PAST", "PAST_HASH", "PAST_STEPS", "PAST_TIME", "PAST_RESTARTS", "PAST_AGE",
    "PAST_LAST_WORD", "PAST_LAST_ADDRESS",
)  # fmt: skip
HASH, UNDONE, EPOCH, LAST_WORD, LAST_ADDRESS, MODE, ACCESS, BEFORE = range(8)
SEED = FIXED.index("SEED")
CLOCKS = len(FIXED)
LAST_READ = CLOCKS + 2 * MAX_CLOCKS
STOP_KINDS = ("", "halt", "alarm-halt", "loop", "steps", "time", "outputs", "restarts")
EVENT_FIELDS = 9
EVENT_KINDS = ("fetch", "read", "write", "alarm", "restart", "output", "stop")


@frozen
class Layout:
    """Offsets of the parts of the state array, and of the stores in the flat array of cells.

    ``at`` maps a part to its first index: every name of ``FIXED``, and ``CLOCKS``, ``LAST_READ``, ``TIMERS``,
    ``REGISTERS``, ``FILES``, ``OFFERED``, ``ALARMS``, ``RESTART_TIMES``, and ``PAST_...`` of
    those that a loop is recognised by. ``size`` is the length of the array. ``bases[s]`` is the first
    flat cell of store s, the last entry the number of all cells.
    """

    machine: MachineSpec
    singles: tuple[RegisterSpec, ...] = field(init=False)
    files: tuple[RegisterSpec, ...] = field(init=False)
    inputs: tuple[PortSpec, ...] = field(init=False)
    outputs: tuple[PortSpec, ...] = field(init=False)
    at: dict[str, int] = field(init=False)
    size: int = field(init=False)
    bases: tuple[int, ...] = field(init=False)

    def __attrs_post_init__(self) -> None:
        machine = self.machine
        self._set("singles", tuple(r for r in machine.registers if not r.count))
        self._set("files", tuple(r for r in machine.registers if r.count))
        self._set("inputs", _first_of(machine.ports, "in"))
        self._set("outputs", _first_of(machine.ports, "out"))
        at = {name: i for i, name in enumerate(FIXED)} | {"CLOCKS": CLOCKS}
        end = LAST_READ
        for name, size in self._parts():
            at[name] = end
            end += size
        self._set("at", at)
        self._set("size", end)
        bases = [0]
        for store in machine.stores:
            bases.append(bases[-1] + store.words + EXTRA_CELLS)
        self._set("bases", tuple(bases))

    def _set(self, name: str, value: object) -> None:
        object.__setattr__(self, name, value)

    def _parts(self) -> list[tuple[str, int]]:
        stores, timers = len(self.machine.stores), len(self.machine.timers)
        state = [
            ("LAST_READ", stores),
            ("TIMERS", timers),
            ("REGISTERS", len(self.singles)),
            ("FILES", sum(f.count for f in self.files)),
            ("OFFERED", len(self.inputs)),
        ]
        past = [(f"PAST_{name}", size) for name, size in state]
        rest = [
            ("ALARMS", ALARM_FIELDS * len(self.machine.alarms)),
            ("RESTART_TIMES", RESTART_TIMES_KEPT),
        ]
        return state + past + rest

    def file_at(self, name: str) -> int:
        """Return where a file begins, counted from the beginning of FILES."""
        start = 0
        for file in self.files:
            if file.name == name:
                return start
            start += file.count
        raise KeyError(name)

    def alarm_at(self, name: str) -> int:
        """Return the index of an alarm's fields in the state array."""
        number = [a.name for a in self.machine.alarms].index(name)
        return self.at["ALARMS"] + ALARM_FIELDS * number


def _first_of(ports: tuple[PortSpec, ...], direction: str) -> tuple[PortSpec, ...]:
    found: dict[int, PortSpec] = {}
    for port in ports:
        if port.direction == direction:
            found.setdefault(port.number, port)
    return tuple(found.values())
