"""The tables of a machine file, declared for :mod:`emu.schema`; rules across tables stand in ``emu.load``."""

import re
from collections.abc import Callable
from typing import Final, Literal

from attrs import frozen

from emu.behaviour.tokens import MAX_WIDTH, RESERVED
from emu.codes import Protection
from emu.schema import key, own_path
from emu.spec import MAX_STORE_WORDS, AlarmAction
from emu.tomlfile import TomlPath
from emu.words import Arithmetic, Base, Numbering

MAX_INSTRUCTIONS: Final = 1024
MAX_REGISTERS: Final = 256  # entries of `register`, and registers of one file
MAX_STORES: Final = 16
MAX_WINDOWS: Final = 256
MAX_ENTRIES: Final = 64  # of every other list of tables
MAX_PORT: Final = 4095
MAX_PERIOD: Final = 1 << 53  # ns, a hundred days

_PLAIN_RULE: Final = "letters, digits and '_', beginning with a letter"
_SPOKEN_RULE: Final = "letters, digits, '-', '_' and '.', beginning with a letter"
_PLAIN: Final = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_SPOKEN: Final = re.compile(r"[A-Za-z][A-Za-z0-9_.-]*")
_MAX_NAME: Final = 40


def _name_check(pattern: re.Pattern[str], rule: str, taken: frozenset[str]) -> Callable[[str], str]:
    def check(name: str) -> str:
        if len(name) > _MAX_NAME or not pattern.fullmatch(name):
            return f"a name of 1 to {_MAX_NAME} {rule}"
        if name in taken:
            return "a name that is no word of the behaviour language"
        return ""

    return check


plain_name: Final = _name_check(_PLAIN, _PLAIN_RULE, RESERVED)
"""Check of names that behaviours speak: registers, alarms, traps."""

alias_name: Final = _name_check(_PLAIN, _PLAIN_RULE, frozenset())
"""Check of the names of the registers of a file."""

spoken_name: Final = _name_check(_SPOKEN, _SPOKEN_RULE, frozenset())
"""Check of all other names."""


def _power_of_two(count: int) -> str:
    return "" if count & (count - 1) == 0 else "a power of two"


def _letter(letter: str) -> str:
    good = len(letter) == 1 and letter.isascii() and letter.isalpha() and letter not in RESERVED
    return "" if good else "one letter, a to z or A to Z, but neither M nor P"


@frozen
class WordTable:
    """``[word]``."""

    bits: int = key(doc="Data bits of a word.", low=4, high=60, unit="bits")
    arithmetic: Arithmetic = key(doc="How numbers with a sign are written.")
    base: Base = key(doc="The base of everything printed.", choices=(2, 8, 10, 16))
    numbering: Numbering = key(doc="How drawings number the bits: from which end, and from 0 or 1.")
    path: TomlPath = own_path()


@frozen
class AddressTable:
    """``[address]``."""

    bits: int = key(doc="Width of an address.", low=1, high=32, unit="bits")
    unmapped_alarm: str = key(default="", doc="Alarm of an access outside every window.")
    path: TomlPath = own_path()


@frozen
class RegisterTable:
    """``[[register]]``."""

    name: str = key(doc="Its name.", check=plain_name)
    bits: int = key(doc="Its width.", low=1, high=MAX_WIDTH, unit="bits")
    count: int = key(
        default=0,
        doc="A file of so many registers, a power of two.",
        low=2,
        high=MAX_REGISTERS,
        check=_power_of_two,
    )
    zero: int | None = key(default=None, doc="Index of the register that is always 0.", low=0)
    reset: int = key(default=0, doc="Its value at power-up.", low=0)
    names: tuple[str, ...] = key(
        default=(), doc="Names of the registers of a file in programs.", check=alias_name
    )
    doc: str = key(default="", doc="What it is for.")
    path: TomlPath = own_path()


@frozen
class FetchTable:
    """``[fetch]``."""

    counter: str = key(doc="The register that is the program counter.")
    start: int = key(doc="The address where it begins at power-up.", low=0)
    step: int = key(default=1, doc="What the counter moves by, in addresses.", low=1, high=1 << 16)
    unknown: str = key(
        default="halt",
        doc="What a word that is no instruction does.",
        pattern=r"halt|(?:alarm|trap) [A-Za-z_][A-Za-z0-9_]*",
        pattern_rule='"halt", "alarm NAME" or "trap NAME"',
    )
    path: TomlPath = own_path()


@frozen
class StoreTable:
    """``[[store]]``."""

    name: str = key(doc="Its name.", check=spoken_name)
    words: int = key(doc="How many words.", low=1, high=MAX_STORE_WORDS, unit="words")
    protection: Protection = key(default="none", doc="Check bits of every word.")
    writable: bool = key(default=True, doc="Whether a program can write it.")
    destructive: bool = key(default=False, doc="Whether reading clears, followed by a rewrite.")
    alarm: str = key(default="", doc="Alarm when the check fails.")
    corrected_alarm: str = key(default="", doc="Alarm when SEC-DED has mended a bit.")
    cycle_ns: int = key(default=0, doc="Time of one access.", low=0, high=MAX_PERIOD, unit="ns")
    doc: str = key(default="", doc="What it is.")
    path: TomlPath = own_path()


@frozen
class WindowTable:
    """``[[window]]``."""

    first: int = key(doc="First address.", low=0)
    last: int = key(doc="Last address.", low=0)
    store: str = key(doc="The store seen there.")
    offset: int = key(default=0, doc="The word of the store seen at the first address.", low=0)
    bank: str = key(default="", doc="Register that chooses the bank.")
    unit: int = key(default=1, doc="How many addresses a word covers.", low=1, high=1 << 16)
    doc: str = key(default="", doc="What it is for.")
    path: TomlPath = own_path()


@frozen
class AlarmTable:
    """``[[alarm]]``."""

    name: str = key(doc="Its name.", check=plain_name)
    action: AlarmAction = key(doc="What it does.")
    doc: str = key(default="", doc="When it comes.")
    path: TomlPath = own_path()


@frozen
class RestartTable:
    """``[restart]``."""

    address: int = key(doc="Where the machine goes on.", low=0)
    clears: tuple[str, ...] = key(default=(), doc="Registers set to 0.", most=MAX_REGISTERS)
    delay_ns: int = key(default=0, doc="Time it takes.", low=0, high=MAX_PERIOD, unit="ns")
    path: TomlPath = own_path()


@frozen
class WatchdogTable:
    """``[watchdog]``."""

    period_ns: int = key(doc="Time without `rearm`.", low=1, high=MAX_PERIOD, unit="ns")
    alarm: str = key(doc="The alarm raised then.")
    path: TomlPath = own_path()


@frozen
class TimerTable:
    """``[[timer]]``."""

    name: str = key(doc="Its name.", check=spoken_name)
    period_ns: int = key(doc="Time between two ticks.", low=1, high=MAX_PERIOD, unit="ns")
    does: tuple[str, ...] = key(doc="What a tick does.")
    enable: str = key(default="", doc="Register of 1 bit: a tick that comes while it is 0 is lost.")
    doc: str = key(default="", doc="What it is for.")
    path: TomlPath = own_path()


@frozen
class TrapTable:
    """``[[trap]]``."""

    name: str = key(doc="Its name.", check=plain_name)
    does: tuple[str, ...] = key(doc="What it does.")
    doc: str = key(default="", doc="What it is for.")
    path: TomlPath = own_path()


@frozen
class PortTable:
    """``[[port]]``."""

    number: int = key(doc="Its number.", low=0, high=MAX_PORT)
    name: str = key(doc="Its name.", check=spoken_name)
    direction: Literal["in", "out"] = key(doc="Whether words come in or go out.")
    bits: int = key(doc="Its width.", low=1, high=60, unit="bits")
    shows: Literal["number", "signed", "character"] = key(
        default="number", doc="How reports print its words."
    )
    doc: str = key(default="", doc="What hangs on it.")
    path: TomlPath = own_path()


@frozen
class LampTable:
    """``[[lamp]]``."""

    name: str = key(doc="Its name.", check=spoken_name)
    shows: str = key(doc='A register, "restarts", or "alarm:NAME".')
    doc: str = key(default="", doc="What it is for.")
    path: TomlPath = own_path()


@frozen
class FieldTable:
    """``[[field]]``."""

    letter: str = key(doc="The letter in encodings.", check=_letter)
    name: str = key(doc="What the field is called.", check=spoken_name)
    kind: Literal["number", "signed", "address", "relative", "register"] = key(
        default="number", doc="How it is written in programs."
    )
    file: str = key(default="", doc="The file whose registers it names (kind register).")
    scale: int = key(default=1, doc="The field counts units of this (signed, relative).", low=1, high=1 << 16)
    doc: str = key(default="", doc="What it is for.")
    path: TomlPath = own_path()


@frozen
class ExampleTable:
    """``example = { text = "...", word = ... }``."""

    text: str = key(doc="An instruction as written in a program.")
    word: int = key(doc="The word it becomes.", low=0)
    path: TomlPath = own_path()


@frozen
class InstructionTable:
    """``[[instruction]]``."""

    name: str = key(doc="Its name in programs.", check=spoken_name)
    bits: str = key(doc="Its encoding: 0, 1, letters of fields, '-' for a bit that does not matter.")
    does: tuple[str, ...] = key(doc="What it does, in the behaviour language.")
    form: str | None = key(default=None, doc="How its operands are written, each as {letter}.")
    extra_ns: int = key(default=0, doc="Time on top of the memory cycles.", low=0, high=MAX_PERIOD, unit="ns")
    example: ExampleTable = key(doc="An example that proves the encoding.")
    doc: str = key(default="", doc="One sentence of what it does.")
    path: TomlPath = own_path()


@frozen
class MachineTable:
    """The whole file."""

    format: Literal["machine/1"] = key(doc="The format of the file.")
    name: str = key(doc="The machine's name.", check=spoken_name)
    doc: str = key(default="", doc="What a newcomer should know of it.")
    word: WordTable = key(doc="What a word is.")
    address: AddressTable = key(doc="What an address is.")
    registers: tuple[RegisterTable, ...] = key(
        name="register", doc="The registers.", fewest=1, most=MAX_REGISTERS
    )
    fetch: FetchTable = key(doc="How instructions are fetched.")
    stores: tuple[StoreTable, ...] = key(name="store", doc="The memories.", fewest=1, most=MAX_STORES)
    windows: tuple[WindowTable, ...] = key(
        name="window", doc="Which addresses reach which store.", fewest=1, most=MAX_WINDOWS, unique=None
    )
    alarms: tuple[AlarmTable, ...] = key(default=(), name="alarm", doc="The alarms.", most=MAX_ENTRIES)
    restart: RestartTable | None = key(default=None, doc="What a restart does.")
    watchdog: WatchdogTable | None = key(default=None, doc="What watches that the program lives.")
    timers: tuple[TimerTable, ...] = key(default=(), name="timer", doc="The timers.", most=MAX_ENTRIES)
    traps: tuple[TrapTable, ...] = key(
        default=(), name="trap", doc="Behaviours that others share.", most=MAX_ENTRIES
    )
    ports: tuple[PortTable, ...] = key(default=(), name="port", doc="The ports.", most=MAX_REGISTERS)
    lamps: tuple[LampTable, ...] = key(default=(), name="lamp", doc="What can be seen.", most=MAX_REGISTERS)
    fields: tuple[FieldTable, ...] = key(
        default=(), name="field", doc="How letters of encodings are written.", most=MAX_ENTRIES,
        unique="letter",
    )  # fmt: skip
    instructions: tuple[InstructionTable, ...] = key(
        name="instruction", doc="The instructions.", fewest=1, most=MAX_INSTRUCTIONS
    )
    path: TomlPath = own_path()
