"""Rules across the tables of a machine file: names are defined, values fit, windows do not collide."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from attrs import define, field

from emu.behaviour.tokens import sample
from emu.codes import check_bits
from emu.errors import Code, Note, Problems, declare, nearest
from emu.fromtoml import key_path
from emu.machinefile import MachineTable, RegisterTable, StoreTable, WindowTable
from emu.spec import MAX_STORED_BITS
from emu.tomlfile import TomlDocument
from emu.words import mask

MAX_TOTAL_WORDS: Final = 1 << 23  # of all stores together
MAX_BANK_BITS: Final = 32


def _variant(old: str, new: str) -> str:
    return sample("acc = a + 1").replace("a + 1", "acc").replace(old, new)


UNDEFINED: Final = declare(
    "undefined-name",
    "Every name that a machine file uses is defined in it.",
    "Define it, or mend the spelling.",
    _variant('store = "core"', 'store = "cores"'),
    "machine",
)
TAKEN: Final = declare(
    "name-taken",
    "A name stands for one thing: registers, the registers of files and the letters of encodings differ.",
    "Rename one of the two.",
    _variant('name = "acc"', 'name = "a"').replace("acc = acc", "a = pc"),
    "machine",
)
DOES_NOT_FIT: Final = declare(
    "does-not-fit",
    "A value fits what holds it: a register, an address, a word, a store.",
    "Make the value smaller, or what holds it wider.",
    _variant("start = 0", "start = 256"),
    "machine",
)
COLLIDES: Final = declare(
    "windows-collide",
    "An address belongs to one window.",
    "Change `first` or `last` of one of the two windows.",
    _variant("[[instruction]]", '[[window]]\nfirst = 255\nlast = 255\nstore = "core"\n\n[[instruction]]'),
    "machine",
)
BAD_WINDOW: Final = declare(
    "window",
    "A window shows whole words of a store, and every word of a banked store can be reached.",
    "Count the addresses, the unit and the bits of the bank register.",
    _variant("last = 255", "last = 254\nunit = 2"),
    "machine",
)
UNREACHED: Final = declare(
    "store-unreached",
    "Every store is seen through a window.",
    "Add a window, or remove the store.",
    _variant("[[window]]", '[[store]]\nname = "rope"\nwords = 256\n\n[[window]]'),
    "machine",
)
PROTECTION: Final = declare(
    "protection",
    "A protected store names the alarm of its check; one without protection names none.",
    "Add or remove `alarm`; `corrected_alarm` goes with `sec-ded` only.",
    _variant("words = 256", 'words = 256\nprotection = "odd"'),
    "machine",
)
CLASH: Final = declare(
    "settings-clash",
    "Settings that speak of the same thing agree.",
    "Change one of them as the message says.",
    _variant("start = 0", "start = 0, step = 2"),
    "machine",
)


@define
class CrossCheck:
    """Checks one machine file; ``run`` reports into ``problems``."""

    table: MachineTable
    document: TomlDocument
    problems: Problems
    registers: Mapping[str, RegisterTable] = field(init=False)

    def __attrs_post_init__(self) -> None:
        self.registers = {register.name: register for register in self.table.registers}

    def run(self) -> None:
        """Check everything but encodings and behaviours."""
        self._names()
        self._registers()
        self._stores()
        self._windows()
        self._fetch()
        self._alarms()
        self._ports_and_lamps()
        self._fields()

    # -- reporting

    def report(
        self, code: Code, message: str, owner: Any, attribute: str, *steps: int, hint: str = "",
        notes: tuple[Note, ...] = (),
    ) -> None:  # fmt: skip
        """Add a problem at the value of an attribute of a table."""
        place = self.document.place(key_path(owner, attribute, *steps))
        self.problems.add(code, message, place, hint=hint, notes=notes)

    def written(self, kind: str, key: str = "name") -> frozenset[str]:
        """Return the names of a list of tables as written in the file, also of entries that are wrong."""
        entries = self.document.root.get(kind, [])
        return frozenset(
            entry[key]
            for entry in (entries if isinstance(entries, list) else [])
            if isinstance(entry, dict) and isinstance(entry.get(key), str)
        )

    def defined(self, name: str, kind: str, owner: Any, attribute: str, *steps: int) -> bool:
        """Check that a name is that of an entry of ``[[kind]]``."""
        known = self.written(kind)
        if name in known:
            return True
        message = f"{attribute!r} names {_article(kind)} {kind} of the machine; got {name!r}"
        known_here = f"known: {', '.join(sorted(known))}" if known else f"there is no [[{kind}]]"
        self.report(UNDEFINED, message, owner, attribute, *steps, hint=nearest(name, known) or known_here)
        return False

    def fits(self, value: int, most: int, what: str, owner: Any, attribute: str) -> bool:
        """Check that a number is at most ``most``; ``what`` says what holds it."""
        if value <= most:
            return True
        self.report(DOES_NOT_FIT, f"{what} is at most {most:#o}; got {value:#o}", owner, attribute)
        return False

    def register(self, name: str, owner: Any, attribute: str, *steps: int) -> RegisterTable | None:
        """Return the single register of that name, or None after reporting that there is none."""
        if not self.defined(name, "register", owner, attribute, *steps):
            return None
        register = self.registers.get(name)
        if register is not None and register.count:
            message = f"{attribute!r} names a single register; {name!r} is a file"
            self.report(CLASH, message, owner, attribute, *steps)
            return None
        return register

    # -- names and registers

    def _names(self) -> None:
        taken: dict[str, tuple[str, Any, str]] = {}
        for register in self.table.registers:
            taken.setdefault(register.name, ("a register", register, "name"))
        for register in self.table.registers:
            for at, name in enumerate(register.names):
                self._take(name, ("a register of a file", register, "names"), taken, at)
        for declared in self.table.fields:
            self._take(declared.letter, ("a letter of encodings", declared, "letter"), taken)

    def _take(
        self, name: str, use: tuple[str, Any, str], taken: dict[str, tuple[str, Any, str]], *steps: int
    ) -> None:
        earlier = taken.setdefault(name, use)
        if earlier is use:
            return
        what, owner, attribute = use
        place = self.document.place(key_path(earlier[1], earlier[2]))
        message = f"a name stands for one thing; {name!r} is {earlier[0]} and {what}"
        self.report(TAKEN, message, owner, attribute, *steps, notes=(Note("first used here", place),))

    def _registers(self) -> None:
        for register in self.table.registers:
            self.fits(register.reset, mask(register.bits), f"the reset value of {register.name!r}", register,
                      "reset")  # fmt: skip
            if register.zero is not None and not register.count:
                self.report(CLASH, "'zero' goes with 'count': a single register is not hard-wired", register,
                            "zero")  # fmt: skip
            elif register.zero is not None:
                self.fits(register.zero, register.count - 1, "the index of the zero", register, "zero")
            if register.names and len(register.names) != register.count:
                given = f"{register.count} registers, {len(register.names)} names"
                message = f"a file has a name for each register; {given}"
                self.report(CLASH, message, register, "names")

    # -- stores and windows

    def _stores(self) -> None:
        for store in self.table.stores:
            self._protection(store)
            bits = self.table.word.bits + check_bits(store.protection, self.table.word.bits)
            if bits > MAX_STORED_BITS:
                message = f"a stored word has at most {MAX_STORED_BITS} bits, check bits included; got {bits}"
                self.report(DOES_NOT_FIT, message, store, "protection")
        total = sum(store.words for store in self.table.stores)
        if total > MAX_TOTAL_WORDS:
            message = f"all stores together have at most {MAX_TOTAL_WORDS:,} words; got {total:,}"
            self.report(DOES_NOT_FIT, message, self.table, "stores")

    def _protection(self, store: StoreTable) -> None:
        for attribute in ("alarm", "corrected_alarm"):
            name = getattr(store, attribute)
            if name:
                self.defined(name, "alarm", store, attribute)
        if store.protection == "none" and store.alarm:
            message = f"a store without protection raises no alarm; got {store.alarm!r}"
            self.report(PROTECTION, message, store, "alarm", hint="give 'protection', or leave 'alarm' out")
        if store.protection != "none" and not store.alarm:
            message = f"a store with protection names its alarm; {store.name!r} names none"
            self.report(PROTECTION, message, store, "protection", hint='add alarm = "..."')
        if store.protection != "sec-ded" and store.corrected_alarm:
            message = f"only sec-ded mends words; {store.name!r} has protection {store.protection!r}"
            self.report(PROTECTION, message, store, "corrected_alarm")

    def _windows(self) -> None:
        stores = {store.name: store for store in self.table.stores}
        top = mask(self.table.address.bits)
        for window in self.table.windows:
            known = self.defined(window.store, "store", window, "store")
            bank = self.register(window.bank, window, "bank") if window.bank else None
            self.fits(window.first, top, "an address", window, "first")
            self.fits(window.last, top, "an address", window, "last")
            if self._whole_words(window) and known and window.store in stores:
                self._reach(window, stores[window.store], bank)
        self._collisions()
        seen = self.written("window", "store")
        for store in self.table.stores:
            if store.name not in seen:
                message = f"every store is seen through a window; {store.name!r} through none"
                self.report(UNREACHED, message, store, "name")

    def _whole_words(self, window: WindowTable) -> bool:
        span = window.last - window.first + 1
        if span < 1:
            message = f"the last address is not below the first, {window.first:#o}; got {window.last:#o}"
            self.report(BAD_WINDOW, message, window, "last")
        elif span % window.unit:
            message = f"a window shows whole words of {window.unit} addresses; it has {span} addresses"
            self.report(BAD_WINDOW, message, window, "unit")
        return span >= 1 and not span % window.unit

    def _reach(self, window: WindowTable, store: StoreTable, bank: RegisterTable | None) -> None:
        size = (window.last - window.first + 1) // window.unit
        if window.offset + size > store.words:
            message = (
                f"a window shows words that its store has; {store.name!r} has {store.words:,}, "
                f"the window ends at word {window.offset + size:,}"
            )
            self.report(DOES_NOT_FIT, message, window, "offset" if window.offset else "last")
        elif bank is not None:
            self._bank(window, store, bank, size)

    def _bank(self, window: WindowTable, store: StoreTable, bank: RegisterTable, size: int) -> None:
        banks = -(-(store.words - window.offset) // size)
        needed = max(1, (banks - 1).bit_length())
        if bank.bits < needed:
            given = f"{banks} banks need {needed} bits, {bank.name!r} has {bank.bits}"
            message = f"a bank register reaches every bank; {given}"
            self.report(BAD_WINDOW, message, window, "bank")
        if bank.bits > MAX_BANK_BITS:
            message = f"a bank register has at most {MAX_BANK_BITS} bits; {bank.name!r} has {bank.bits}"
            self.report(DOES_NOT_FIT, message, window, "bank")

    def _collisions(self) -> None:
        windows = sorted(self.table.windows, key=lambda window: (window.first, window.last))
        earlier = windows[0] if windows else None
        for window in windows[1:]:
            if earlier is not None and window.first <= earlier.last:
                place = self.document.place(key_path(earlier, "first"))
                message = f"an address belongs to one window; {window.first:#o} belongs to two"
                note = Note("the other window begins here", place)
                self.report(COLLIDES, message, window, "first", notes=(note,))
            if earlier is None or window.last > earlier.last:
                earlier = window

    # -- fetching, alarms, timers

    def _fetch(self) -> None:
        fetch, address = self.table.fetch, self.table.address
        counter = self.register(fetch.counter, fetch, "counter")
        if counter is not None and counter.bits > address.bits:
            message = (
                f"the program counter is no wider than an address, {address.bits} bits; "
                f"{counter.name!r} has {counter.bits}"
            )
            self.report(DOES_NOT_FIT, message, fetch, "counter")
        limit = mask(min(counter.bits, address.bits) if counter else address.bits)
        if self.fits(fetch.start, limit, "the first address", fetch, "start"):
            self._instructions_at(fetch.start, fetch, "start")
        restart = self.table.restart
        if restart is not None and self.fits(restart.address, limit, "the address of a restart", restart,
                                             "address"):  # fmt: skip
            self._instructions_at(restart.address, restart, "address")
        what, _, name = fetch.unknown.partition(" ")
        if name:
            self._unknown(what, name)
        if address.unmapped_alarm:
            self.defined(address.unmapped_alarm, "alarm", address, "unmapped_alarm")

    def _unknown(self, kind: str, name: str) -> None:
        known = self.written(kind)
        if name not in known:
            message = f"'unknown' names {_article(kind)} {kind} of the machine; got {name!r}"
            self.report(UNDEFINED, message, self.table.fetch, "unknown", hint=nearest(name, known))

    def _instructions_at(self, address: int, owner: Any, attribute: str) -> None:
        """Check that instructions can be fetched from an address: whole words, ``step`` apart."""
        step = self.table.fetch.step
        window = next((w for w in self.table.windows if w.first <= address <= w.last), None)
        if window is None:
            if "window" in self.document.root and not self._window_errors():
                message = f"instructions come from a window; {address:#o} lies in none"
                self.report(DOES_NOT_FIT, message, owner, attribute)
        elif window.unit != step:
            message = (
                f"the counter moves by one word; words are {window.unit} addresses apart, 'step' is {step}"
            )
            self.report(
                CLASH, message, owner, attribute, hint=f"write step = {window.unit}, or unit = {step}"
            )
        elif (address - window.first) % window.unit:
            message = f"an instruction begins at a whole word, every {step} addresses; got {address:#o}"
            self.report(DOES_NOT_FIT, message, owner, attribute)

    def _window_errors(self) -> bool:
        """Tell whether some window could not be read, so that nothing can be said of addresses."""
        return len(self.document.root["window"]) != len(self.table.windows)

    def _alarms(self) -> None:
        table = self.table
        for alarm in table.alarms:
            if alarm.action == "restart" and "restart" not in self.document.root:
                message = f"an alarm that restarts needs a [restart] table; {alarm.name!r} restarts"
                self.report(UNDEFINED, message, alarm, "action", hint="add [restart] with its address")
        if table.restart is not None:
            for at, name in enumerate(table.restart.clears):
                self.defined(name, "register", table.restart, "clears", at)
        if table.watchdog is not None:
            self._watchdog(table.watchdog.alarm)
        for timer in table.timers:
            enable = self.register(timer.enable, timer, "enable") if timer.enable else None
            if enable is not None and enable.bits != 1:
                message = f"'enable' names a register of 1 bit; {enable.name!r} has {enable.bits}"
                self.report(CLASH, message, timer, "enable")

    def _watchdog(self, name: str) -> None:
        watchdog = self.table.watchdog
        if self.defined(name, "alarm", watchdog, "alarm"):
            action = next((a.action for a in self.table.alarms if a.name == name), "")
            if action == "lamp":
                message = f"a watchdog halts or restarts; its alarm {name!r} only lights a lamp"
                self.report(CLASH, message, watchdog, "alarm", hint=f"give {name!r} another action")

    # -- ports, lamps, fields

    def _ports_and_lamps(self) -> None:
        word = self.table.word.bits
        numbers: dict[tuple[int, str], Any] = {}
        for port in self.table.ports:
            self.fits(port.bits, word, "the width of a port, as of a word,", port, "bits")
            earlier = numbers.setdefault((port.number, port.direction), port)
            if earlier is not port:
                place = self.document.place(key_path(earlier, "number"))
                message = f"a number belongs to one {port.direction}put port; {port.number} belongs to two"
                self.report(TAKEN, message, port, "number", notes=(Note("first used here", place),))
        for lamp in self.table.lamps:
            self._lamp(lamp)

    def _lamp(self, lamp: Any) -> None:
        what, colon, _ = lamp.shows.partition(":")
        if lamp.shows == "restarts":
            return
        if what == "alarm" and colon:
            known: Iterable[str] = sorted(f"alarm:{alarm}" for alarm in self.written("alarm"))
        else:
            files = {register.name for register in self.table.registers if register.count}
            known = sorted(self.written("register") - files)
        if lamp.shows not in known:
            message = f'a lamp shows a register, "restarts" or "alarm:NAME"; got {lamp.shows!r}'
            self.report(UNDEFINED, message, lamp, "shows", hint=nearest(lamp.shows, known))

    def _fields(self) -> None:
        for declared in self.table.fields:
            if declared.kind == "register":
                if not declared.file:
                    message = f"a field of kind register names its file; {declared.letter!r} names none"
                    self.report(CLASH, message, declared, "kind", hint='add file = "..."')
                elif self.defined(declared.file, "register", declared, "file"):
                    register = self.registers.get(declared.file)
                    if register is not None and not register.count:
                        message = f"'file' names a file of registers; {declared.file!r} is a single one"
                        self.report(CLASH, message, declared, "file")
            elif declared.file:
                message = f"'file' goes with kind register; the kind is {declared.kind}"
                self.report(CLASH, message, declared, "file")
            if declared.scale != 1 and declared.kind not in {"relative", "signed"}:
                message = f"'scale' goes with kinds relative and signed; the kind is {declared.kind}"
                self.report(CLASH, message, declared, "scale")


def _article(kind: str) -> str:
    return "an" if kind[0] in "aeiou" else "a"
