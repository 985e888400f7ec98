"""Rules across the tables of a machine file: their error codes, and what all of them need."""

from collections import Counter
from collections.abc import Mapping
from typing import Any, Final

from attrs import define, field

from emu.behaviour.tokens import sample
from emu.errors import Code, Note, Problems, declare, nearest
from emu.fromtoml import key_path
from emu.machinefile import MachineTable, RegisterTable
from emu.tomlfile import TomlDocument

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
class Rules:
    """What the rules work on, and how they report."""

    table: MachineTable
    document: TomlDocument
    problems: Problems
    registers: Mapping[str, RegisterTable] = field(init=False)  # those of which nothing was wrong
    doubtful: frozenset[str] = field(init=False)  # names of the others: nothing is said of their use

    def __attrs_post_init__(self) -> None:
        entries = self.entries("register")
        counts = Counter(entry.get("name") for entry in entries if isinstance(entry.get("name"), str))
        as_read = {register.name: register for register in self.table.registers}
        wrong = {name for name, count in counts.items() if count > 1 or name not in as_read}
        for entry in entries:
            register = as_read.get(str(entry.get("name")))
            if register is not None and entry.get("count", 0) != register.count:
                wrong.add(register.name)
        self.doubtful = frozenset(str(name) for name in wrong)
        self.registers = {name: register for name, register in as_read.items() if name not in wrong}

    def report(
        self, code: Code, message: str, owner: Any, attribute: str, *steps: int, hint: str = "",
        notes: tuple[Note, ...] = (),
    ) -> None:  # fmt: skip
        """Add a problem at the value of an attribute of a table."""
        place = self.document.place(key_path(owner, attribute, *steps))
        self.problems.add(code, message, place, hint=hint, notes=notes)

    def number(self, value: int) -> str:
        """Return a number in the machine's base."""
        return format(value, {2: "#b", 8: "#o", 10: "d", 16: "#x"}[self.table.word.base])

    def written(self, kind: str, key: str = "name") -> frozenset[str]:
        """Return the names of a list of tables as written in the file, also of entries that are wrong."""
        names = (entry.get(key) for entry in self.entries(kind))
        return frozenset(name for name in names if isinstance(name, str))

    def entries(self, kind: str) -> list[dict[str, Any]]:
        """Return the entries of a list of tables as they stand in the file."""
        found = self.document.root.get(kind, [])
        return [entry for entry in found if isinstance(entry, dict)] if isinstance(found, list) else []

    def defined(self, name: str, kind: str, owner: Any, attribute: str, *steps: int) -> bool:
        """Check that a name is that of an entry of ``[[kind]]``."""
        known = self.written(kind)
        if name in known:
            return True
        message = f"{attribute!r} names {article(kind)} {kind} of the machine; got {name!r}"
        known_here = f"known: {', '.join(sorted(known))}" if known else f"there is no [[{kind}]]"
        self.report(UNDEFINED, message, owner, attribute, *steps, hint=nearest(name, known) or known_here)
        return False

    def fits(
        self, value: int, most: int, what: str, owner: Any, attribute: str, *, decimal: bool = False
    ) -> bool:
        """Check that a number is at most ``most``; ``what`` says of what. Shown in the machine's base."""
        if value <= most:
            return True
        show = str if decimal else self.number
        message = f"{what} is at most {show(most)}; got {show(value)}"
        self.report(DOES_NOT_FIT, message, owner, attribute)
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


def article(kind: str) -> str:
    """Return the article that goes before a word."""
    return "an" if kind[0] in "aeiou" else "a"
