"""A machine -> the text of its generated module: one function a variant, made from the typed tree.

A generated function is resumable: it takes its state from an int array, runs to a stop, to the end of a slice
of steps, or until a buffer is full, and puts its state back. ``docs/reference/engine.md`` tells the course of
an instruction that it follows, and how a variant is chosen.
"""

import hashlib
import inspect
from typing import Any

from attrs import define

import emu.engine.noting as noting
import emu.engine.planned as planned
import emu.engine.wordops as wordops
from emu.codes import sec_ded_row_masks
from emu.engine.layout import RESTART_TIMES_KEPT, STOP_KINDS, Layout
from emu.engine.seen import running_lines, writing_lines
from emu.engine.sites import COMMON, EXTRA, VARIANTS
from emu.engine.statements import Statements
from emu.spec import MachineSpec, WindowSpec
from emu.words import mask

_GIVEN = {"mix", "draw", "ctpop"}  # by the loader: compiled and plain forms differ
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
        at, pairs = self.layout.at, []
        for number, (name, _) in enumerate(self._registers()):
            pairs.append((name, f"st[{at['PAST_REGISTERS'] + number}]"))
        for number in range(len(self.machine.timers)):
            pairs.append((f"(st[{at['TIMERS'] + number}] - time)", f"st[{at['PAST_TIMERS'] + number}]"))
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
            self.block("if apart == 0 and st[HASH] != st[PAST_HASH]:", ["note_near(near, steps)", "apart = 1"])
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


def _place(machine: MachineSpec, layout: Layout) -> list[str]:
    """Return the function from a machine address (and bank registers) to a flat cell, -1 for none."""
    banks = list(dict.fromkeys(w.bank for w in machine.windows if w.bank))
    lines = ["@inner", f"def place(x{''.join(f', b{i}' for i in range(len(banks)))}):"]
    reached = 0  # every address below lies in an earlier window
    for window in machine.windows:
        tests = []
        if window.first != reached or not reached and window.first:
            tests.append(f"x >= {window.first}")
        if window.last < mask(machine.address_bits):
            tests.append(f"x <= {window.last}")
        reached = window.last + 1 if window.first == reached else reached
        indent = "    "
        if tests:
            lines.append(f"    if {' and '.join(tests)}:")
            indent = "        "
        lines += [indent + text for text in _within(machine, layout, window, banks)]
    return [*lines, "    return -1", ""]


def _within(machine: MachineSpec, layout: Layout, window: WindowSpec, banks: list[str]) -> list[str]:
    store, base = machine.store(window.store), layout.bases[machine.store_index(window.store)]
    index = f"(x - {window.first})" if window.first else "x"
    if window.unit > 1:
        power = window.unit & (window.unit - 1) == 0
        index = f"({index} >> {window.unit.bit_length() - 1})" if power else f"({index} // {window.unit})"
    most = (window.last - window.first) // window.unit + window.offset
    if window.bank:
        index = f"{index} + b{banks.index(window.bank)} * {window.size}"
        most += mask(machine.register(window.bank).bits) * window.size
    if window.offset:
        index = f"{index} + {window.offset}"
    if most < store.words:
        return [f"return {index} + {base}"]
    if store.words & (store.words - 1) == 0:
        return [f"return (({index}) & {store.words - 1}) + {base}"]
    if most < 2 * store.words:
        return [f"i = {index}", f"return i - {store.words - base} if i >= {store.words} else i + {base}"]
    return [f"return ({index}) % {store.words} + {base}"]


def _store_of(layout: Layout) -> list[str]:
    """Return the functions from a flat cell to its store's number and base."""
    lines = []
    for name, values in (("store_of", range(len(layout.bases))), ("base_of", layout.bases)):
        lines += ["@inner", f"def {name}(cell):"]
        for value, end in zip(values, layout.bases[1:-1], strict=False):
            lines += [f"    if cell < {end}:", f"        return {value}"]
        lines += [f"    return {list(values)[len(layout.bases) - 2]}", ""]
    return lines


def _syndromes(machine: MachineSpec) -> list[str]:
    lines = []
    for bits in dict.fromkeys(s.data_bits for s in machine.stores if s.protection == "sec-ded"):
        rows = [f"((ctpop(w & {row}) & 1) << {j})" for j, row in enumerate(sec_ded_row_masks(bits))]
        lines += ["@inner", f"def syndrome_{bits}(w):", f"    return {' | '.join(rows)}", ""]
    return lines


def _decoder() -> list[str]:
    """Return the walk through a decoding tree: nodes of shift, mask, then one entry a value."""
    return [
        "@inner",
        "def decode(dec, word):",
        "    at = 0",
        "    while at >= 0:",
        "        at = dec[at + 2 + ((word >> dec[at]) & dec[at + 1])]",
        "    return -at - 2",
        "",
    ]


def _observe(machine: MachineSpec, layout: Layout) -> list[str]:
    """Return the hash of what a person could see of a run that has stopped."""
    lines = [
        "@inner", "def observe(st):", "    endless = st[STOP] == 3 and st[LOOP_RESTARTS] > 0",
        "    h = mix(st[STOP], st[OUTPUT_HASH])",
        "    if st[STOP] == 3:",
        "        h = mix(mix(h ^ st[LOOP_LOW], st[LOOP_HIGH]) ^ st[LOOP_NS], st[LOOP_RESTARTS])",
        "    else:",
        "        h = mix(h ^ st[STOP_PC], st[TIME])",
    ]  # fmt: skip
    for lamp in machine.lamps:
        if lamp.shows != "restarts" and not lamp.shows.startswith("alarm:"):
            index = [r.name for r in layout.singles].index(lamp.shows)
            lines.append(f"        h = mix(h, st[{layout.at['REGISTERS'] + index}])")
    for alarm in machine.alarms:
        at = layout.alarm_at(alarm.name)
        lines += [
            f"    if st[{at}]:",
            f"        h = mix(h ^ {at}, -1 if endless else st[{at}])",
            f"        h = mix(mix(mix(h, st[{at + 1}]), st[{at + 2}]), st[{at + 3}])",
        ]
    return [*lines, "    return mix(h, -1 if endless else st[RESTARTS])", ""]


_BATCH = '''
@inner
def advance_reference(st, mem, past_mem, out, inp, dec, tab, step):
    while st[STEPS] < step and st[STOP] == 0:
        st[SLICE] = step
        run_healthy(st, mem, out, inp, dec, tab)
        if st[PAST] and st[PAST_STEPS] == st[STEPS]:
            for j in range(len(mem)):
                past_mem[j] = mem[j]


@inner
def catch_up(work, mem, past_mem, undo, stamp, cell, in_and, in_or, written):
    set_noted(work, mem, undo, stamp, cell, (mem[cell] & in_and) | in_or)
    if work[PAST] and written < work[PAST_STEPS]:
        was = past_mem[cell]
        work[PAST_HASH] ^= mix(cell, was) ^ mix(cell, (was & in_and) | in_or)


@kernel
def run_batch(st, work, mem, past_mem, out, inp, dec, tab, undo, stamp, faults, first, last, found):
    for i in range(first, last):
        q = 7 * i
        advance_reference(st, mem, past_mem, out, inp, dec, tab, faults[q + 5])
        epoch = work[EPOCH] + 1
        for j in range(len(st)):
            work[j] = st[j]
        work[EPOCH] = epoch
        work[UNDONE] = 0
        work[SLICE] = 1 << 62
        if work[STOP] == 0:
            if faults[q + 6] < work[STEPS]:
                catch_up(work, mem, past_mem, undo, stamp, faults[q], faults[q + 3], faults[q + 4], faults[q + 6])
            run_cell(
                work, mem, out, inp, dec, tab, undo, stamp,
                faults[q], faults[q + 1], faults[q + 2], faults[q + 3], faults[q + 4],
            )
        take_back(work, mem, undo)
        found[3 * i] = observe(work)
        found[3 * i + 1] = work[STOP]
        found[3 * i + 2] = work[STEPS]
    return 0
'''


def _functions(module: Any, names: set[str] | None = None) -> list[str]:
    """Return the text of a module's own functions (those named, or all), each to be compiled."""
    found: list[tuple[int, str]] = []
    for name, function in vars(module).items():
        if not inspect.isfunction(function) or function.__module__ != module.__name__ or name in _GIVEN:
            continue
        if names is None or name in names:
            text, line = inspect.getsourcelines(function)
            found.append((line, "@inner\n" + "".join(text)))
    return [text for _, text in sorted(found)]


def module_text(machine: MachineSpec) -> str:
    """Return the text of the generated module of a machine."""
    layout = Layout(machine)
    kernels, uses, sites = [], set[str](), 1
    for variant in VARIANTS:
        kernel = Kernel(layout=layout, variant=variant)
        kernel.write()
        kernels += [*kernel.lines, ""]
        uses |= kernel.text.uses
        sites = max(sites, kernel.outputs, kernel.events)
    constants = {**layout.at, "SITES": sites}
    head = ['"""Generated from a machine file; do not edit."""', "from __future__ import annotations", ""]
    head += [f"{name} = {value}" for name, value in constants.items()]
    head += ["Ints = object", ""]
    parts = [*_functions(wordops, uses), *_functions(planned), *_functions(noting)]
    own = [*_place(machine, layout), *_store_of(layout), *_syndromes(machine), *_decoder()]
    seen = writing_lines(machine, layout)
    tail = [*_observe(machine, layout), *seen, *kernels, _BATCH, *running_lines(machine)]
    return "\n".join([*head, *parts, *own, *tail])


def text_digest(text: str) -> str:
    """Return the name of a generated module by its content."""
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()

