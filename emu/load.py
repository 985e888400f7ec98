"""``machine.toml`` -> :class:`emu.spec.MachineSpec`, with everything wrong in the file reported at once.

A machine file is data: loading one runs nothing of it, and every size is bounded (``emu.machinefile``,
``emu.behaviour``, ``emu.tomlfile`` state the bounds).
"""

import hashlib
import json
import re
from collections.abc import Mapping
from functools import cache, partial
from importlib.resources import files
from itertools import islice
from pathlib import Path
from typing import Any, Final

import attrs
from attrs import define

from emu.assemble.examples import flaws
from emu.assemble.forms import UNREADABLE_FORM
from emu.behaviour.check import check
from emu.behaviour.names import Names
from emu.behaviour.tokens import MAX_TEXTS, SIZE, Text, sample
from emu.behaviour.tree import Statement
from emu.crosscheck import CrossCheck
from emu.crossrules import TAKEN
from emu.encode import OVERLAP, Pattern, overlaps, read_pattern
from emu.errors import Code, Note, Problems, declare, fail, nearest
from emu.fromtoml import build, key_path
from emu.machinefile import InstructionTable, MachineTable
from emu.shipped import machine_names
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
from emu.tomlfile import TomlDocument, TomlPath, parse, read
from emu.where import Place, Source
from emu.words import WordFormat, mask

MAX_FORM: Final = 200

UNKNOWN_MACHINE: Final = declare(
    "unknown-machine",
    "A machine is the name of one that comes with Corewright, or the path of a machine file.",
    "See `corewright machines` for the names; a path holds a slash or a dot.",
    "fulmer",
    "machine-name",
)
FORM: Final = declare(
    "form",
    "The form of an instruction holds {letter} once for every field of its encoding.",
    'Write each letter of `bits` once in braces, for instance form = "{d}, {a}".',
    sample("acc = 1").replace("does =", 'form = "{b}"\ndoes ='),
    "machine",
)
EXAMPLE: Final = declare(
    "example",
    "The example of an instruction begins with its name, and its text assembles to its word.",
    "Mend the word, or the encoding.",
    sample("acc = 1").replace("word = 1 }", "word = 17 }"),
    "machine",
)
FIELD_WIDTH: Final = declare(
    "field-width",
    "A field that names a register has no more bits than number the registers of its file.",
    "Make the field narrower, and give the bits left over a fixed value.",
    sample("acc = 1").replace(
        "[[instruction]]",
        '[[register]]\nname = "r"\nbits = 8\ncount = 4\n\n'
        '[[field]]\nletter = "a"\nname = "which"\nkind = "register"\nfile = "r"\n\n[[instruction]]',
    ),
    "machine",
)


def load_machine(name: str | Path) -> MachineSpec:
    """Return a machine by its shipped name or the path of its file. Raises InputError with all problems.

    A string is a path if it holds a slash or a dot, or if there is such a file; else a shipped name.
    """
    if isinstance(name, str) and not re.search(r"[/\\.]", name):
        if name in machine_names():
            return _shipped(name)
        if not Path(name).is_file():
            _unknown_machine(name)
    return _machine(read(name))


def parse_machine(source: Source) -> MachineSpec:
    """Return the machine that a text describes. Raises InputError with all problems."""
    return _machine(parse(source))


@cache
def _shipped(name: str) -> MachineSpec:
    text = files("emu").joinpath("machines", f"{name}.toml").read_text(encoding="utf-8")
    return parse_machine(Source(f"{name}.toml", text))


def _unknown_machine(name: str) -> None:
    shipped = machine_names()
    file = f"{name}.toml"
    here = f"the file {file} is here: write {file}" if Path(file).is_file() else nearest(name, shipped)
    hint = here or f"there are {', '.join(shipped)}; the path of a file holds a / or a ."
    fail(
        UNKNOWN_MACHINE,
        f"a machine is a shipped name or a path; got {name[:80]!r}",
        Place("MACHINE"),
        hint=hint,
    )


def _machine(document: TomlDocument) -> MachineSpec:
    problems = Problems(document.source)
    table = build(MachineTable, document, problems)
    if table is None:
        problems.raise_if_errors()
        raise AssertionError("a table that cannot be built has a problem")
    _bounded(table, problems, document)
    checks = CrossCheck(table, document, problems)
    checks.run()
    spec = _Loader(table, document, problems, checks).machine()
    problems.raise_if_errors()
    _prove(spec, table, document, problems)
    return attrs.evolve(spec, digest=digest(spec))


def _bounded(table: MachineTable, problems: Problems, document: TomlDocument) -> None:
    """Refuse more behaviours than can be read while somebody waits. Raises InputError."""
    texts = (
        [t.does for t in table.timers] + [t.does for t in table.traps] + [i.does for i in table.instructions]
    )
    size = sum(len(text) for does in texts for text in does)
    if size > MAX_TEXTS:
        message = f"the behaviours of a machine have at most {MAX_TEXTS:,} characters; these have {size:,}"
        problems.add(SIZE, message, document.place(("instruction",)))
        problems.raise_if_errors()


def _prove(spec: MachineSpec, table: MachineTable, document: TomlDocument, problems: Problems) -> None:
    """Hold forms and examples against the assembler that a whole machine makes. Raises InputError."""
    for flaw in flaws(spec):
        instruction = table.instructions[flaw.number]
        owner = instruction if flaw.key == "form" else instruction.example
        code = UNREADABLE_FORM if flaw.key == "form" else EXAMPLE
        problems.add(code, flaw.message, document.place(key_path(owner, flaw.key)), hint=flaw.hint)
    problems.raise_if_errors()


@define
class _Loader:
    """Makes the spec of a table that may still have problems: the result counts only if it has none."""

    table: MachineTable
    document: TomlDocument
    problems: Problems
    checks: CrossCheck

    def machine(self) -> MachineSpec:
        table = self.table
        word = WordFormat(table.word.bits, table.word.arithmetic, table.word.base, table.word.numbering)
        return MachineSpec(
            name=table.name,
            doc=table.doc.strip(),
            word=word,
            address_bits=table.address.bits,
            counter=table.fetch.counter,
            start=table.fetch.start,
            step=table.fetch.step,
            registers=tuple(
                RegisterSpec(r.name, r.bits, r.count, r.zero, r.reset, r.names, r.doc)
                for r in table.registers
            ),
            stores=self.stores(),
            windows=tuple(
                WindowSpec(w.first, w.last, w.store, w.offset, w.bank, w.unit, w.doc) for w in table.windows
            ),
            alarms=tuple(AlarmSpec(a.name, a.action, a.doc) for a in table.alarms),
            restart=self.restart(),
            watchdog=self.watchdog(),
            timers=tuple(
                TimerSpec(t.name, t.period_ns, self.does(t, self.names({})), t.enable, t.doc)
                for t in table.timers
            ),
            traps=tuple(
                TrapSpec(t.name, self.does(t, self.names({}, in_trap=True)), t.doc) for t in table.traps
            ),
            ports=tuple(PortSpec(p.number, p.name, p.direction, p.bits, p.shows, p.doc) for p in table.ports),
            lamps=tuple(LampSpec(lamp.name, lamp.shows, lamp.doc) for lamp in table.lamps),
            instructions=self.instructions(),
            instruction_bits=table.word.bits,
            unknown=table.fetch.unknown,
            unmapped_alarm=table.address.unmapped_alarm,
            digest="",
        )

    def stores(self) -> tuple[StoreSpec, ...]:
        bits = self.table.word.bits
        return tuple(
            StoreSpec(
                s.name, s.words, bits, s.protection, s.writable, s.destructive, s.alarm, s.corrected_alarm,
                s.cycle_ns, s.doc,
            )
            for s in self.table.stores
        )  # fmt: skip

    def restart(self) -> RestartSpec | None:
        given = self.table.restart
        return None if given is None else RestartSpec(given.address, given.clears, given.delay_ns)

    def watchdog(self) -> WatchdogSpec | None:
        given = self.table.watchdog
        return None if given is None else WatchdogSpec(given.period_ns, given.alarm)

    # -- behaviours

    def names(
        self,
        operands: Mapping[str, int],
        *,
        in_trap: bool = False,
        doubtful: frozenset[str] = frozenset(),
    ) -> Names:
        table, written, root = self.table, self.checks.written, self.document.root
        ports: dict[int, frozenset[str]] = {}
        for port in table.ports:
            ports[port.number] = ports.get(port.number, frozenset()) | {port.direction}
        sound = self.checks.registers.values()
        return Names(
            word_bits=table.word.bits,
            address_bits=table.address.bits,
            registers={r.name: r.bits for r in sound if not r.count},
            files={r.name: (r.bits, r.count) for r in sound if r.count},
            operands=operands,
            alarms=written("alarm"),
            traps=None if in_trap else written("trap"),
            ports=ports,
            restarts="restart" in root,
            watchdog="watchdog" in root,
            doubtful=doubtful | self.checks.doubtful,
        )

    def does(self, owner: Any, names: Names) -> tuple[Statement, ...]:
        path = key_path(owner, "does")
        texts = [
            Text(text, partial(self.document.string_place, (*path, at))) for at, text in enumerate(owner.does)
        ]
        return check(texts, names, self.problems)

    # -- instructions

    def instructions(self) -> tuple[InstructionSpec, ...]:
        made: list[InstructionSpec] = []
        patterns: list[tuple[InstructionTable, Pattern]] = []
        fields: dict[str, FieldSpec] = {}
        for f in self.table.fields:
            fields.setdefault(f.letter, FieldSpec(f.letter, f.name, f.kind, f.file, f.scale, f.doc))
        for table in self.table.instructions:
            path = key_path(table, "bits")
            pattern = read_pattern(
                table.bits, self.table.word.bits, partial(self.document.string_place, path), self.problems
            )
            if pattern is not None:
                patterns.append((table, pattern))
                made.append(self.instruction(table, pattern, fields))
            else:  # nothing is said of its letters, whose widths are not known
                self.does(table, self.names({}, doubtful=frozenset(table.bits)))
        self.overlaps(patterns)
        return tuple(made)

    def instruction(
        self, table: InstructionTable, pattern: Pattern, fields: Mapping[str, FieldSpec]
    ) -> InstructionSpec:
        operands = tuple(
            OperandBits(fields.get(letter, FieldSpec(letter, letter)), runs)
            for letter, runs in pattern.fields.items()
        )
        self.operands(table, operands)
        self.example(table, pattern)
        form = ", ".join(f"{{{letter}}}" for letter in pattern.fields) if table.form is None else table.form
        self.form(table, form, set(pattern.fields))
        return InstructionSpec(
            name=table.name,
            bits=table.bits,
            mask=pattern.mask,
            match=pattern.match,
            operands=operands,
            form=form,
            does=self.does(table, self.names({o.field.letter: o.width for o in operands})),
            does_text=table.does,
            example_text=table.example.text,
            example_word=table.example.word,
            extra_ns=table.extra_ns,
            doc=table.doc,
        )

    def operands(self, table: InstructionTable, operands: tuple[OperandBits, ...]) -> None:
        registers, declared = self.checks.registers, self.checks.written("field", "letter")
        for operand in operands:
            letter = operand.field.letter
            at = table.bits.index(letter)
            place = self.document.string_place(key_path(table, "bits"), at)
            if letter in registers and letter not in declared:
                message = f"a name stands for one thing; {letter!r} is a register and a letter here"
                self.problems.add(TAKEN, message, place)
            file = registers.get(operand.field.file) if operand.field.kind == "register" else None
            if file is not None and file.count and 1 << operand.width > file.count:
                needed = (file.count - 1).bit_length()
                message = (
                    f"a field names registers that there are; {file.count} registers of {file.name!r} "
                    f"need {needed} bits, {letter!r} has {operand.width}"
                )
                self.problems.add(FIELD_WIDTH, message, place)

    def example(self, table: InstructionTable, pattern: Pattern) -> None:
        example, width = table.example, self.table.word.bits
        if example.text.split(maxsplit=1)[:1] != [table.name]:
            message = (
                f"an example begins with the name of its instruction, {table.name!r}; got {example.text!r}"
            )
            self.add(EXAMPLE, message, key_path(example, "text"))
        free = sum(mask(high - low + 1) << low for runs in pattern.fields.values() for high, low in runs)
        wrong = (example.word ^ pattern.match) & ~free
        if example.word >> width:
            message = f"a word has {width} bits; the word of the example has {example.word.bit_length()}"
            self.add(EXAMPLE, message, key_path(example, "word"))
        elif wrong:
            form = WordFormat(width, base=self.table.word.base)
            given, right = form.tagged(example.word), form.tagged(example.word & free | pattern.match)
            message = f"the word of an example has the fixed bits of {table.bits!r}; {given} has not"
            hint = f"with them it is {right}; hold both against your drawings"
            self.problems.add(EXAMPLE, message, self.document.place(key_path(example, "word")), hint=hint)

    def form(self, table: InstructionTable, form: str, letters: set[str]) -> None:
        if table.form is None:
            return
        path = key_path(table, "form")
        rest = re.sub(r"\{([A-Za-z])\}", "", form)
        given = re.findall(r"\{([A-Za-z])\}", form)
        if "{" in rest or "}" in rest or not form.isprintable() or len(form) > MAX_FORM:
            given_form = repr(form[:40])
            message = f"a form is one line, up to {MAX_FORM} characters, fields as {{x}}; got {given_form}"
            self.add(FORM, message, path)
        elif sorted(given) != sorted(letters):
            wanted = ", ".join(sorted(letters)) or "none"
            message = (
                f"a form holds every field of the encoding once, {wanted}; got {', '.join(given) or 'none'}"
            )
            self.add(FORM, message, path)

    def add(self, code: Code, message: str, path: TomlPath, *notes: Note) -> None:
        self.problems.add(code, message, self.document.place(path), notes=notes)

    def overlaps(self, patterns: list[tuple[InstructionTable, Pattern]]) -> None:
        word = WordFormat(self.table.word.bits, base=self.table.word.base)
        for first, second, both in islice(overlaps([p for _, p in patterns]), self.problems.limit + 1):
            earlier, later = patterns[first][0], patterns[second][0]
            message = (
                f"no word is two instructions; {word.tagged(both)} is {earlier.name!r} and {later.name!r}"
            )
            place = self.document.place(key_path(earlier, "bits"))
            self.add(OVERLAP, message, key_path(later, "bits"), Note(f"{earlier.name!r} is here", place))


# ---- the digest

_LEFT_OUT: Final[Mapping[type, frozenset[str]]] = {
    MachineSpec: frozenset({"digest"}),
    InstructionSpec: frozenset({"bits", "does_text", "example_text", "example_word"}),
}


def digest(spec: MachineSpec) -> str:
    """Return the SHA-256, in hexadecimal, of all of a machine but its documents, examples and layout.

    Two files that differ in nothing but remarks, documentation or the spelling of behaviours agree.
    """
    text = json.dumps(_canonical(spec), separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()


def _canonical(value: Any) -> Any:
    """Return a value as lists, numbers and strings: a class as its name, and its fields by name."""
    if isinstance(value, tuple):
        return [_canonical(inner) for inner in value]
    kind: object = type(value)
    kept = _kept(kind)
    if kept is None:
        return value
    return [type(value).__name__, {name: _canonical(getattr(value, name)) for name in kept}]


@cache
def _kept(kind: object) -> tuple[str, ...] | None:
    """Return the fields of a class that can change behaviour; None for a plain value."""
    assert isinstance(kind, type), "a class"
    if not attrs.has(kind):
        return None
    left_out = _LEFT_OUT.get(kind, frozenset()) | {"doc"}
    return tuple(a.name for a in attrs.fields(kind) if a.name not in left_out)
