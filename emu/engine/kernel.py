"""One variant of a machine's generated function: the course of an instruction, written down line by line.

A generated function is resumable: it takes its state from an int array, runs to a stop, to the end of a slice
of steps, or until a list of outputs or events is full, and puts its state back.
``docs/reference/engine.md`` tells the course of an instruction that it follows.
"""

from attrs import define

from emu.engine.layout import RESTART_TIMES_KEPT, STOP_KINDS
from emu.engine.statements import Statements
from emu.engine.variants import COMMON, EXTRA
from emu.spec import MachineSpec
from emu.words import mask

_STOP = {kind: code for code, kind in enumerate(STOP_KINDS)}
_SAVED = (
    ("time", "TIME"), ("steps", "STEPS"), ("reads", "READS"), ("writes", "WRITES"), ("restarts", "RESTARTS"),
    ("unmapped", "UNMAPPED"), ("pc", "PC"), ("watched", "WATCHED"), ("outputs", "OUTPUTS"),
    ("low", "LOW"), ("high", "HIGH"),
)  # fmt: skip


@define
class Kernel(Statements):
    """Writes one variant of a machine's function."""

    def write(self) -> None:
        """Write the whole function."""
        extra = EXTRA[self.variant]
        self.line("@kernel")
        self.line(f"def run_{self.variant}({COMMON}{', ' + extra if extra else ''}):")
        self.indent()
        self._take_state()
        self.line("while True:")
        self.indent()
        self._boundary()
        self._instruction()
        self.indent(-1)
        self._put_state()
        self.line("return full")
        self.indent(-1)

    def _registers(self) -> list[tuple[str, int]]:
        first = self.layout.at["REGISTERS"]
        return [(self.register(r.name), first + i) for i, r in enumerate(self.layout.singles)]

    def _take_state(self) -> None:
        for name, place in (*_SAVED, ("watch", "WATCH"), ("output_room", "OUTPUT_ROOM")):
            self.line(f"{name} = st[{place}]")
        for name, at in self._registers():
            self.line(f"{name} = st[{at}]")
        if self.variant == "trace":
            self.line("events = st[EVENTS]")
            self.line("max_events = st[MAX_EVENTS]")
        if self.planned:
            self.line("if st[FRESH]:")
            stores = len(self.machine.stores)
            self.line(f"    force_at_start(st, mem, modes, rules, gates, dwell, {stores})")
            self.line("    st[FRESH] = 0")
            self.line("altering = len(gates) or len(bus)")
        for text in ("lim = 0", "tlim = 0", "stop = 0", "full = 0", "pend = 0"):
            self.line(text)

    def _put_state(self) -> None:
        for name, place in _SAVED:
            self.line(f"st[{place}] = {name}")
        for name, at in self._registers():
            self.line(f"st[{at}] = {name}")
        self.line("st[STOP] = stop")
        if self.variant == "trace":
            self.line("st[EVENTS] = events")
        if not self.planned:
            self.line("st[ACCESS] = steps + reads + writes - unmapped")

    # --- between instructions

    def _boundary(self) -> None:
        counter = self.register(self.machine.counter)
        crowded = "events > st[EVENT_ROOM] - SITES and events < max_events"
        tracing = f" or ({crowded})" if self.variant == "trace" else ""
        self.line(f"if steps >= lim or time >= tlim{tracing}:")
        self.indent()
        limits = (("steps", "steps"), ("time", "time"), ("outputs", "outputs"), ("restarts", "restarts"))
        for i, (kind, count) in enumerate(limits):
            self.line(f"{'el' if i else ''}if {count} >= st[MAX_{kind.upper()}]:")
            self.line(f"    stop = {_STOP[kind]}")
        self.block("if stop:", [f"st[STOP_PC] = {counter}"])
        self.indent()
        self._stop_event()
        self.line("break")
        self.indent(-1)
        self.line(f"if (output_room and outputs > output_room - SITES){tracing}:")
        self.line("    full = 1")
        self.line("if full or steps >= st[SLICE]:")
        self.line("    break")
        self.line("lim = min(st[MAX_STEPS], st[SLICE])")
        self.line(f"pc = {counter}")
        self._timers()
        self._watchdog()
        self.indent(-1)

    def _stop_event(self) -> None:
        self.event("stop", "-1", "0", "0", "stop")

    def _timers(self) -> None:
        first, limits = self.layout.at["TIMERS"], ["st[MAX_TIME]"]
        for number, timer in enumerate(self.machine.timers):
            due = f"st[{first + number}]"
            limits.append(due)
            self.line(f"if stop == 0 and time >= {due}:")
            self.indent()
            self.line(f"{due} += {timer.period_ns}")
            if timer.enable:
                self.line(f"if {self.register(timer.enable)}:")
                self.indent()
            self._operands = {}
            self.body(timer.does)
            self._settle()
            self.indent(-2 if timer.enable else -1)
        watchdog = self.machine.watchdog
        if watchdog:
            self.line(f"if stop == 0 and time - watched >= {watchdog.period_ns}:")
            self.indent()
            self.line("watched = time")
            self.alarm(watchdog.alarm)
            self._settle()
            self.indent(-1)
            limits.append(f"watched + {watchdog.period_ns}")
        self.line(f"tlim = min({', '.join(limits)})" if len(limits) > 1 else f"tlim = {limits[0]}")

    def _watchdog(self) -> None:
        self.line("if stop:")
        self.line("    break")

    # --- an instruction

    def _instruction(self) -> None:
        machine, counter = self.machine, self.register(self.machine.counter)
        self.line(f"pc = {counter}")
        word = self.access("pc", "fetch")
        self.line(f"{counter} = (pc + {machine.step}) & {self.counter_mask}")
        self.line("if pend == 0:")
        self.indent()
        self._dispatch(word)
        self.indent(-1)
        self.line("steps += 1")
        self.line("before = restarts")
        self._settle()
        self.line("low = min(low, pc)")
        self.line("high = max(high, pc)")
        self.line(f"if watch and ({counter} <= pc or restarts > before) and stop == 0:")
        self.indent()
        self._look()
        self.indent(-1)
        self.line("if stop:")
        self.line("    break")

    def _dispatch(self, word: str) -> None:
        bits = direct_bits(self.machine)
        self.line(f"op = dec[{word} & {mask(bits)}]" if bits else f"op = decode(dec, {word})")
        self._choose(word, 0, len(self.machine.instructions))

    def _choose(self, word: str, first: int, last: int) -> None:
        """Write the chain of instructions; long ones are halved so that nesting stays shallow."""
        if last - first > 64:
            middle = (first + last) // 2
            self.line(f"if op < {middle}:")
            self.indent()
            self._choose(word, first, middle)
            self.indent(-1)
            self.line("else:")
            self.indent()
            self._choose(word, middle, last)
            self.indent(-1)
            return
        for number in range(first, last):
            instruction = self.machine.instructions[number]
            self.line(f"{'el' if number > first else ''}if op == {number}:  # {instruction.name!a}")
            self.indent()
            self.instruction(instruction, word)
            self.indent(-1)
        if last == len(self.machine.instructions):
            self.line("else:" if last > first else "if True:")
            self.indent()
            self._unknown()
            self.indent(-1)

    def _unknown(self) -> None:
        what, _, name = self.machine.unknown.partition(" ")
        if what == "alarm":
            self.alarm(name)
        elif what == "trap":
            self.trap(name)
        else:
            self.line("pend |= 4")

    def _settle(self) -> None:
        """Write what waited for the end of the instruction."""
        self.line("if pend:")
        self.indent()
        self.line("if pend & 4:")
        self.line(f"    stop = {_STOP['halt']}")
        self.line("elif pend & 1:")
        self.line(f"    stop = {_STOP['alarm-halt']}")
        if self.machine.restart is not None:
            self.line("else:")
            self.indent()
            self._restart()
            self.indent(-1)
        self.line("pend = 0")
        self.line("if stop:")
        self.line("    st[STOP_PC] = pc")
        self.indent()
        self._stop_event()
        self.indent(-2)

    def _restart(self) -> None:
        spec, layout = self.machine.restart, self.layout
        assert spec is not None, "asked before"
        self.line("restarts += 1")
        self.line(f"if restarts <= {RESTART_TIMES_KEPT}:")
        self.line(f"    st[{layout.at['RESTART_TIMES'] - 1} + restarts] = time")
        self.event("restart", "-1", "0", "restarts")
        for name in spec.clears:
            register = self.machine.register(name)
            if register.count:
                start = layout.at["FILES"] + layout.file_at(name)
                self.line(f"for i in range({start}, {start + register.count}):")
                self.line("    st[i] = 0")
            else:
                self.line(f"{self.register(name)} = 0")
        self.line(f"{self.register(self.machine.counter)} = {spec.address}")
        self.line(f"time += {spec.delay_ns}")
        self.line("watched = time")
        self.line("lim = 0")

    # --- loops

    def _compared(self) -> list[tuple[str, str]]:
        """Return (present, past) texts of what a loop is recognised by, beside memory and files."""
        at = self.layout.at
        first = at["PAST_REGISTERS"]
        pairs = [(name, f"st[{first + i}]") for i, (name, _) in enumerate(self._registers())]
        due, past = at["TIMERS"], at["PAST_TIMERS"]
        pairs += [(f"(st[{due + i}] - time)", f"st[{past + i}]") for i in range(len(self.machine.timers))]
        for number in range(len(self.layout.inputs)):
            present = f"offer_state(st, {at['OFFERED'] + number}, inp, {number})"
            pairs.append((present, f"st[{at['PAST_OFFERED'] + number}]"))
        if self.machine.watchdog:
            pairs.append(("(time - watched)", "st[PAST_AGE]"))
        return pairs

    def _ranges(self) -> list[tuple[str, int, str]]:
        """Return (present, count, condition) of the parts that are compared place by place."""
        found = []
        files = sum(f.count for f in self.layout.files)
        if files:
            found.append(("FILES", files, ""))
        if self.planned:
            found.append(("LAST_READ", len(self.machine.stores), "st[LOOKS_BACK]"))
        return found

    def _look(self) -> None:
        counter = self.register(self.machine.counter)
        past_counter = dict(self._compared())[counter]
        noting = self.variant == "profile"
        same_hash = "" if noting else "st[HASH] == st[PAST_HASH] and "
        self.line(f"if st[PAST] and {same_hash}{counter} == {past_counter}:")
        self.indent()
        self.line("apart = 0")
        for present, past in self._compared():
            self.line(f"apart |= {present} ^ {past}")
        for part, count, condition in self._ranges():
            test = f"apart == 0 and not same_range(st, {part}, PAST_{part}, {count})"
            self.line(f"if {condition + ' and ' if condition else ''}{test}:")
            self.line("    apart = 1")
        if self.planned:
            self.line("if st[LOOKS_BACK]:")
            for part in ("LAST_WORD", "LAST_ADDRESS"):
                self.line(f"    apart |= st[{part}] ^ st[PAST_{part}]")
        if noting:
            self.block(
                "if apart == 0 and st[HASH] != st[PAST_HASH]:", ["note_near(near, steps)", "apart = 1"]
            )
        self.line("if apart == 0:")
        self.indent()
        self._loop_found(counter)
        self.indent(-2)
        self.line("if stop == 0 and steps >= st[DUE]:")
        self.indent()
        self._remember()
        self.indent(-1)

    def _loop_found(self, counter: str) -> None:
        self.line(f"stop = {_STOP['loop']}")
        values = (
            ("STOP_PC", counter), ("LOOP_FROM", "st[PAST_STEPS]"), ("LOOP_STEPS", "steps - st[PAST_STEPS]"),
            ("LOOP_NS", "time - st[PAST_TIME]"), ("LOOP_RESTARTS", "restarts - st[PAST_RESTARTS]"),
            ("LOOP_LOW", "low"), ("LOOP_HIGH", "high"),
        )  # fmt: skip
        for place, value in values:
            self.line(f"st[{place}] = {value}")
        self._stop_event()

    def _remember(self) -> None:
        """Write the taking of a new past moment."""
        for present, past in self._compared():
            self.line(f"{past} = {present}")
        files = sum(f.count for f in self.layout.files)
        if files:
            self.line(f"copy_range(st, FILES, PAST_FILES, {files})")
        if self.planned or self.variant == "profile":
            self.line(f"copy_range(st, LAST_READ, PAST_LAST_READ, {len(self.machine.stores)})")
            self.line("st[PAST_LAST_WORD] = st[LAST_WORD]")
            self.line("st[PAST_LAST_ADDRESS] = st[LAST_ADDRESS]")
        values = (
            ("PAST", "1"), ("PAST_HASH", "st[HASH]"), ("PAST_STEPS", "steps"), ("PAST_TIME", "time"),
            ("PAST_RESTARTS", "restarts"), ("DUE", "2 * steps"),
        )  # fmt: skip
        for place, value in values:
            self.line(f"st[{place}] = {value}")
        self.line("low = 1 << 62")
        self.line("high = -1")
        if self.variant in {"healthy", "profile"}:
            self.block("if st[SHOW_PAST]:", ["st[SLICE] = steps", "lim = 0"])


def direct_bits(machine: MachineSpec) -> int:
    """Return how many low bits of a word tell the instruction, if few enough for one table; else 0."""
    bits = max((i.mask.bit_length() for i in machine.instructions), default=0)
    return bits if bits <= 16 else 0
