"""The readable engine: walks the typed tree of every instruction. Written to be read, not to be fast.

The course of one instruction, the same in every engine (``docs/reference/engine.md``):

1. limits; 2. timers that are due, then the watchdog; 3. fetch, and the counter moves on; 4. decode;
5. statements; 6. what waited for the end: halt, alarms in the order raised, restart; 7. look for a loop.
"""

from collections.abc import Mapping

import numpy as np
from attrs import define, field

from emu.behaviour.tree import Statement
from emu.codes import encode, verify
from emu.engine.contract import AlarmTally, RunRequest, RunResult, Stop, StopKind
from emu.engine.evaluate import Scope, execute
from emu.engine.loops import LoopWatch, Moment, TrackedCells
from emu.engine.powerup import power_up
from emu.memory import PlannedMemory, identity_plan, shapes_of
from emu.record import Event, EventKind
from emu.rules import looks_back
from emu.spec import InstructionSpec, MachineSpec, StoreSpec, WindowSpec
from emu.words import WordFormat

RESTART_TIMES_KEPT = 64


def memory_for(request: RunRequest) -> PlannedMemory:
    """Return the stores of a request at power-up, under its plan with conditions settled."""
    shapes = shapes_of(request.machine.stores)
    plan = (request.plan or identity_plan(shapes)).under(request.conditions)
    cells: list[list[int]] = [TrackedCells(c.tolist()) for c in power_up(request)]
    return PlannedMemory(plan, cells, request.seed)


Decoded = tuple[InstructionSpec | None, Mapping[str, int]]


@define
class Tally:
    """A growing :class:`AlarmTally`."""

    first: AlarmTally
    count: int = 0


@define(eq=False)
class WalkingRun:
    """One run in progress: step it, look at it, take and restore snapshots (``copy.deepcopy`` of it)."""

    request: RunRequest
    memory: PlannedMemory
    registers: dict[str, int] = field(factory=dict)
    files: dict[str, list[int]] = field(factory=dict)
    time_ns: int = 0
    steps: int = 0
    fetches: int = 0
    reads: int = 0
    writes: int = 0
    restarts: int = 0
    restart_times: list[int] = field(factory=list)
    tallies: dict[str, Tally] = field(factory=dict)
    outputs: list[tuple[int, int, int]] = field(factory=list)
    offered: dict[int, int] = field(factory=dict)
    events: list[Event] = field(factory=list)
    timers_due: list[int] = field(factory=list)
    watched_since: int = 0
    pc: int = 0
    stop: Stop | None = None
    word: WordFormat = field(init=False)
    _halting: bool = False
    _restarting: bool = False
    _raised: list[str] = field(factory=list)
    _loop: LoopWatch | None = None
    _actions: dict[str, str] = field(factory=dict)
    _decoded: dict[int, Decoded] = field(factory=dict)
    _windows: list[tuple[WindowSpec, int, StoreSpec]] = field(factory=list)
    _counter_mask: int = 0
    _looks_back: bool = False

    def __attrs_post_init__(self) -> None:
        machine = self.request.machine
        self.word = machine.word
        for register in machine.registers:
            if register.count:
                self.files[register.name] = [register.reset] * register.count
                if register.zero is not None:
                    self.files[register.name][register.zero] = 0
            else:
                self.registers[register.name] = register.reset
        start = machine.start if self.request.image.entry is None else self.request.image.entry
        self.registers[machine.counter] = start
        self.timers_due = [t.period_ns for t in machine.timers]
        self._actions = {a.name: a.action for a in machine.alarms}
        self._counter_mask = (1 << machine.register(machine.counter).bits) - 1
        self._windows = [(w, machine.store_index(w.store), machine.store(w.store)) for w in machine.windows]
        self._looks_back = any(looks_back(rule) for mode in self.memory.plan.modes for rule in mode.rules)
        if self.request.stop_on_loop and not self.memory.plan.gates:
            self._loop = LoopWatch([c for c in self.memory.cells if isinstance(c, TrackedCells)])

    @property
    def machine(self) -> MachineSpec:
        """The machine that runs."""
        return self.request.machine

    # --- the course of an instruction -----------------------------------------------------------------

    def step(self) -> None:
        """Execute one instruction, with the timers and the watchdog before it, unless a limit is hit."""
        if self.stop is None and not self._limited():
            self.pc = self.registers[self.machine.counter]
            self._timers()
            if self.stop is None:
                self._instruction()

    def _limited(self) -> bool:
        request = self.request
        kind: StopKind | None = None
        if self.steps >= request.max_steps:
            kind = "steps"
        elif self.time_ns >= request.max_time_ns:
            kind = "time"
        elif len(self.outputs) >= request.max_outputs:
            kind = "outputs"
        elif self.restarts >= request.max_restarts:
            kind = "restarts"
        if kind is not None:
            self._stopped(Stop(kind, self.registers[self.machine.counter]))
        return kind is not None

    def _timers(self) -> None:
        for number, timer in enumerate(self.machine.timers):
            if self.stop is None and self.time_ns >= self.timers_due[number]:
                self.timers_due[number] += timer.period_ns
                if not timer.enable or self.registers[timer.enable]:
                    execute(timer.does, Scope(self, {}, {}))
                    self._settle()
        watchdog = self.machine.watchdog
        if self.stop is None and watchdog and self.time_ns - self.watched_since >= watchdog.period_ns:
            self.watched_since = self.time_ns
            self.alarm(watchdog.alarm)
            self._settle()

    def _instruction(self) -> None:
        counter = self.machine.counter
        self.pc = self.registers[counter]
        word = self._access(self.pc, "fetch")
        self.registers[counter] = (self.pc + self.machine.step) & self._counter_mask
        if not any(self._actions[name] != "lamp" for name in self._raised):
            self._obey(word)
        self.steps += 1
        restarts = self.restarts
        self._settle()
        if self._loop is not None:
            self._loop.executed(self.pc)
            if self.stop is None and (self.registers[counter] <= self.pc or self.restarts > restarts):
                self._look_for_loop(self._loop)

    def _obey(self, word: int) -> None:
        known = self._decoded.get(word)
        if known is None:
            known = self._decoded[word] = decoded(self.machine, word)
        instruction, operands = known
        if instruction is None:
            self._unknown()
            return
        execute(instruction.does, Scope(self, operands, {}))
        self.time_ns += instruction.extra_ns

    def _unknown(self) -> None:
        what, _, name = self.machine.unknown.partition(" ")
        if what == "alarm":
            self.alarm(name)
        elif what == "trap":
            execute(self.trap(name), Scope(self, {}, {}))
        else:
            self._halting = True

    def _settle(self) -> None:
        """Let what waited for the end of the instruction act."""
        raised, halting, restarting = self._raised, self._halting, self._restarting
        self._raised, self._halting, self._restarting = [], False, False
        if not (raised or halting or restarting):
            return
        done = [self._actions[name] for name in raised]
        if halting:
            self._stopped(Stop("halt", self.pc))
        elif "halt" in done:
            self._stopped(Stop("alarm-halt", self.pc))
        elif restarting or "restart" in done:
            self._restart()

    def _restart(self) -> None:
        spec = self.machine.restart
        assert spec is not None, "the loader allows a restart only where the machine has one"
        self.restarts += 1
        if len(self.restart_times) < RESTART_TIMES_KEPT:
            self.restart_times.append(self.time_ns)
        self._event("restart", word=self.restarts)
        for name in spec.clears:
            if name in self.files:
                self.files[name][:] = [0] * len(self.files[name])
            else:
                self.registers[name] = 0
        self.registers[self.machine.counter] = spec.address
        self.time_ns += spec.delay_ns
        self.watched_since = self.time_ns

    def _stopped(self, stop: Stop) -> None:
        self.stop = stop
        self._event("stop", detail=stop.kind)

    def _look_for_loop(self, watch: LoopWatch) -> None:
        now = Moment(self._state(), self.steps, self.time_ns, self.restarts)
        past = watch.past
        if watch.recurs(now) and past is not None:
            pc = self.registers[self.machine.counter]
            spans = (now.steps - past.steps, now.time_ns - past.time_ns, now.restarts - past.restarts)
            self._stopped(Stop("loop", pc, past.steps, *spans, watch.low, watch.high))

    def _state(self) -> tuple[object, ...]:
        memory = self.memory
        history: tuple[object, ...] = ()
        if self._looks_back:
            history = (memory.last_word, memory.last_address, tuple(memory.last_read))
        lengths = {n: len(w) for n, w in self.request.inputs.items()}
        return (
            tuple(self.registers.values()),
            tuple(tuple(f) for f in self.files.values()),
            tuple(min(count, max(lengths.get(n, 1) - 1, 0)) for n, count in sorted(self.offered.items())),
            self.time_ns - self.watched_since if self.machine.watchdog else 0,
            tuple(due - self.time_ns for due in self.timers_due),
            history,
        )

    # --- what statements act on (emu.engine.evaluate.Surroundings) --------------------------------------

    def load(self, address: int) -> int:
        """Read a word as data."""
        return self._access(address, "read")

    def store(self, address: int, value: int) -> None:
        """Write a word through the windows."""
        found = self._found(address)
        if found is None:
            return
        number, store, at = found
        stored = encode(store.protection, store.data_bits, value)
        self._event("write", store=number, address=at, word=value)
        self.memory.write(number, at, stored)
        self.writes += 1
        self.time_ns += store.cycle_ns

    def _access(self, address: int, kind: EventKind) -> int:
        found = self._found(address)
        if kind == "fetch":
            self.fetches += 1
        else:
            self.reads += 1
        if found is None:
            return 0
        number, store, at = found
        access = self.memory.access
        verdict = verify(store.protection, store.data_bits, self.memory.read(number, at))
        self._event(kind, store=number, address=at, word=verdict.data, access=access)
        if verdict.status == "corrected" and store.corrected_alarm:
            self.alarm(store.corrected_alarm, number, at)
        if verdict.status == "error" and store.alarm:
            self.alarm(store.alarm, number, at)
        self.time_ns += store.cycle_ns
        return verdict.data

    def _found(self, address: int) -> tuple[int, StoreSpec, int] | None:
        """Return store number, store and word index of a machine address; None outside every window."""
        self.memory.begin(self.time_ns)
        address = self.memory.bus(address & ((1 << self.machine.address_bits) - 1))
        for window, number, store in self._windows:
            if window.first <= address <= window.last:
                return number, store, self._within(window, address) % store.words
        if self.machine.unmapped_alarm:
            self.alarm(self.machine.unmapped_alarm)
        return None

    def _within(self, window: WindowSpec, address: int) -> int:
        bank = self.registers[window.bank] if window.bank else 0
        return window.offset + bank * window.size + (address - window.first) // window.unit

    def port_read(self, number: int) -> int:
        """Return the next word offered at an input port; the last one stays."""
        port = next((p for p in self.machine.ports if p.number == number and p.direction == "in"), None)
        if port is None:
            return 0
        words = self.request.inputs.get(number, ())
        count = self.offered.get(number, 0)
        self.offered[number] = count + 1
        return words[min(count, len(words) - 1)] & ((1 << port.bits) - 1) if words else 0

    def port_write(self, number: int, value: int) -> None:
        """Send a word out of an output port."""
        port = next((p for p in self.machine.ports if p.number == number and p.direction == "out"), None)
        if port is not None:
            word = value & ((1 << port.bits) - 1)
            self.outputs.append((self.time_ns, number, word))
            self._event("output", address=number, word=word)

    def plain(self, what: str) -> None:
        """Do ``skip``, ``halt``, ``rearm`` or ``restart``."""
        if what == "skip":
            counter = self.machine.counter
            self.registers[counter] = (self.registers[counter] + self.machine.step) & self._counter_mask
        elif what == "halt":
            self._halting = True
        elif what == "restart":
            self._restarting = True
        else:
            self.watched_since = self.time_ns

    def alarm(self, name: str, store: int = -1, address: int = 0) -> None:
        """Raise an alarm; it acts at the end of the instruction."""
        first = AlarmTally(name, 1, self.time_ns, store, address, self.pc)
        self.tallies.setdefault(name, Tally(first)).count += 1
        self._event("alarm", store=store, address=address, detail=name)
        self._raised.append(name)

    def trap(self, name: str) -> tuple[Statement, ...]:
        """Return the statements of a trap."""
        return next(t.does for t in self.machine.traps if t.name == name)

    def zero_of(self, file: str) -> int | None:
        """Return the index of a file's hard-wired zero, if it has one."""
        return self.machine.register(file).zero

    # --- the result -------------------------------------------------------------------------------------

    def _event(
        self,
        kind: EventKind,
        *,
        store: int = -1,
        address: int = 0,
        word: int = 0,
        detail: str = "",
        access: int = -1,
    ) -> None:
        if self.request.trace and len(self.events) < self.request.max_events:
            number = self.memory.access if access < 0 else access
            event = Event(kind, self.steps, number, self.time_ns, self.pc, store, address, word, detail)
            self.events.append(event)

    def lamps(self) -> Mapping[str, int]:
        """Return what every lamp row shows now."""
        shown: dict[str, int] = {}
        for lamp in self.machine.lamps:
            what, _, name = lamp.shows.partition(":")
            if what == "alarm":
                shown[lamp.name] = int(name in self.tallies)
            elif what == "restarts":
                shown[lamp.name] = self.restarts
            else:
                shown[lamp.name] = self.registers[what]
        return shown

    def result(self) -> RunResult:
        """Return the result of a run that has stopped."""
        assert self.stop is not None, "the run goes on"
        tallies = tuple(
            AlarmTally(
                n, t.count, t.first.first_ns, t.first.first_store, t.first.first_address, t.first.first_pc
            )
            for n, t in sorted(self.tallies.items())
        )
        memory = tuple(
            np.array(cells[: store.words], np.int64)
            for cells, store in zip(self.memory.cells, self.machine.stores, strict=True)
        )
        return RunResult(
            self.stop, self.steps, self.time_ns, self.fetches, self.reads, self.writes, tallies,
            self.restarts, tuple(self.restart_times), tuple(self.outputs),
            {**self.registers, **{n: tuple(f) for n, f in self.files.items()}}, self.lamps(), memory,
            tuple(self.events),
        )  # fmt: skip


def operand_value(runs: tuple[tuple[int, int], ...], word: int) -> int:
    """Return the value of a field of an instruction word; runs are joined, leftmost first."""
    value = 0
    for high, low in runs:
        width = high - low + 1
        value = value << width | word >> low & ((1 << width) - 1)
    return value


def decoded(machine: MachineSpec, word: int) -> Decoded:
    """Return the instruction that a word is, with its operands by letter; None if it is none."""
    for instruction in machine.instructions:
        if word & instruction.mask == instruction.match:
            return instruction, {o.field.letter: operand_value(o.runs, word) for o in instruction.operands}
    return None, {}


class Walker:
    """The readable engine."""

    name = "walker"

    def run(self, request: RunRequest) -> RunResult:
        """Execute the request to its stop."""
        run = WalkingRun(request, memory_for(request))
        while run.stop is None:
            run.step()
        return run.result()
