"""The tables of a case file: what was seen, what passed, what was measured, swapped and mended.

A case is one list of entries, ``[[entry]]``, in the order in which things happened. Each has a ``kind``.
"""

import datetime as dt
import re
from collections.abc import Callable, Mapping
from typing import Any, Final, Literal

from attrs import frozen

from emu.schema import key, own_path
from emu.tomlfile import TomlPath
from faults.case.forms import parse_count, parse_lamps, parse_time, spell_addresses, spelled_digits

FORMAT: Final = "case/1"
MOST_ENTRIES: Final = 1000

Reading = Literal["open", "closed", "shorted", "absent", "weak", "late", "noisy", "good"]
Moved = Literal["moved", "stayed", "gone"]


def _form(parse: Callable[[Any], object]) -> Callable[[Any], str]:
    def check(given: Any) -> str:
        try:
            parse(given)
        except ValueError as error:
            return str(error)
        return ""

    return check


def _relative(path: str) -> str:
    """Only paths that mean the same on another computer."""
    rooted = path.startswith(("/", "~")) or re.match(r"[A-Za-z]:", path)
    if not path or rooted or "\\" in path or "\0" in path:
        return "a path relative to the case file, with / between folders"
    return ""


def _file(doc: str, default: Any = "") -> Any:
    return key(doc=doc, default=default, check=_relative)


def _sha(name: str, of: str) -> Any:
    return key(
        name=name,
        default="",
        doc=f"SHA-256 of {of}; checked if given.",
        pattern="(?:[0-9a-f]{64})?",
        pattern_rule="64 small hexadecimal digits",
    )


def _program(*, required: bool = True) -> Any:
    doc = "The program that ran: a shipped name, or a path."
    return key(doc=doc, check=_relative) if required else _file(doc)


@frozen
class Entry:
    """What every entry may say besides what it is about."""

    when: str | dt.date | dt.datetime = key(default="", doc="When it was seen or done.")
    condition: str = key(default="", doc='Under what condition: "cold", "single step", "supply +5 %".')
    instrument: str = key(default="", doc="With what it was read, and by whom if that matters.")
    certainty: float | None = key(
        default=None,
        doc="Chance that it was read and written down right; 0.98 if not given.",
        low=0.0,
        high=1.0,
    )
    path: TomlPath = own_path()


@frozen
class Stop(Entry):
    """The machine stopped and its lamps were read."""

    program: str = _program()
    lamps: str = key(
        doc="Rows of lamps as the machine file names them, ? for a digit not read.", check=_form(parse_lamps)
    )
    address: str = key(
        default="",
        doc="Where it stopped, if that was read.",
        check=_form(spelled_digits),
    )


@frozen
class Alarm(Entry):
    """An alarm was raised, so often in such a time; a count of "none": it was looked for and not seen."""

    program: str = _program()
    alarm: str = key(doc="Which alarm, as the machine file names it.")
    count: int | str = key(
        doc='How often: 14, "at least 3", "2..5", "many", "some", "none".', check=_form(parse_count)
    )
    within: str = key(default="", doc="In what time it was counted.", check=_form(parse_time))
    first: str = key(
        default="",
        doc="Address of the word that raised the first one, if the machine keeps it.",
        check=_form(spelled_digits),
    )


@frozen
class Restarts(Entry):
    """The machine restarted itself, so often or every so often."""

    program: str = _program()
    count: int | str = key(default="some", doc="How often, as for an alarm.", check=_form(parse_count))
    within: str = key(default="", doc="In what time they were counted.", check=_form(parse_time))
    every: str = key(
        default="",
        doc='Time from one to the next: "about 2 s".',
        check=_form(parse_time),
    )


@frozen
class Printed(Entry):
    """What came out at a port, as text."""

    program: str = _program()
    text: str = key(doc="What was printed; an empty text says that nothing was.")
    port: str = key(default="", doc="Name of the port; not needed where a machine has one that prints.")
    whole: bool = key(default=True, doc="Whether this is all of it; false for a part of it.")


@frozen
class Passed(Entry):
    """A program ran and was satisfied: evidence as good as a failure."""

    program: str = _program()
    runs: int = key(default=1, low=1, high=1_000_000, doc="How many runs, all of which passed.")


@frozen
class Failed(Entry):
    """A program ran and reported a failure, in some or all of its runs."""

    program: str = _program()
    runs: int = key(default=1, low=1, high=1_000_000, doc="How many runs there were.")
    failures: int | None = key(
        default=None, low=1, high=1_000_000, doc="How many of them failed; all if not given."
    )
    text: str = key(default="", doc="What it printed of the failure, if that was written down.")


@frozen
class Hung(Entry):
    """A program went round and round, or never came to its end."""

    program: str = _program()
    within: str = key(
        default="",
        doc="The loop, as a range of addresses, if it was seen.",
        check=_form(spell_addresses),
    )


@frozen
class Dump(Entry):
    """The words of a store were read out into a file."""

    store: str = key(doc="Which store was read.")
    file: str = key(doc="The image file that holds what was read.", check=_relative)
    sha256: str = _sha("sha256", "the file")
    expected: str = _file(
        "The image file of what should be there; not needed where `program` tells what the store holds."
    )
    expected_sha256: str = _sha("expected-sha256", "the expected file")
    filled: bool = key(
        default=False,
        doc="True: the words of `expected` were written into the store just before the reading.",
    )
    program: str = _file(
        "The program that was loaded and ran before the reading: a shipped name, or a path. A store that it "
        "can write then holds what it left there."
    )
    loaded: bool = key(
        default=False,
        doc="True: the program was loaded and has not run yet, so the store is as it was loaded.",
    )
    layout: str = key(default="", doc="Format of the file, where its name does not tell.")
    repeat: int = key(
        default=1, low=1, high=10_000, doc="Which reading this is, when it was read several times."
    )


@frozen
class Addresses(Entry):
    """Only the failing addresses of a store are known, from a list."""

    store: str = key(doc="Which store.")
    failing: str = key(
        default="",
        doc="The failing addresses and ranges.",
        check=_form(spell_addresses),
    )
    file: str = _file("A text file of failing addresses, instead of `failing`.")
    sha256: str = _sha("sha256", "the file")
    program: str = _program(required=False)
    complete: bool = key(default=True, doc="Whether every other address is known to be right.")


@frozen
class Capture(Entry):
    """Transactions captured by a logic analyser, as CSV: time, address, data and if known the kind."""

    program: str = _program()
    file: str = key(doc="The CSV file.", check=_relative)
    sha256: str = _sha("sha256", "the file")
    columns: str = key(
        default="time,address,data",
        doc="What its columns hold, in order: time, address, data, kind, or - for one to skip.",
        pattern=r"(?:time|address|data|kind|-)(?:,(?:time|address|data|kind|-))*",
        pattern_rule='a list such as "time,address,data,kind"',
    )


@frozen
class Measured(Entry):
    """A reading at a site of the board: continuity with the power off, or a signal with it on."""

    site: str = key(doc="Path of the site, as `corewright faults MACHINE` lists it.")
    reading: Reading | None = key(default=None, doc="What was found, in a word.")
    ohms: float | None = key(default=None, low=0.0, doc="Resistance, instead of `reading`.", unit="ohm")


@frozen
class Swap(Entry):
    """Two cards changed places, or one was exchanged for a spare."""

    moved: str = key(doc="The card that was moved, by its label or slot.")
    to: str = key(doc='Where it went, or "spare" for a card that took its place.')
    fault: Moved = key(doc="What the fault did: moved with the card, stayed, or was gone.")


@frozen
class Mended(Entry):
    """Something was mended: what was seen before speaks of the faults before it, the rest of those left."""

    what: str = key(doc="What was done, in words.")
    site: str = key(default="", doc="Path of the site, or of a group of sites, that was mended.")
    card: str = key(default="", doc="Or the card, by its label or slot.")
    works: float = key(
        default=0.9, low=0.0, high=1.0, doc="Chance that the mend removed a fault of that site or card."
    )


KINDS: Final[Mapping[str, type[Entry]]] = {
    "stop": Stop,
    "alarm": Alarm,
    "restarts": Restarts,
    "printed": Printed,
    "passed": Passed,
    "failed": Failed,
    "hung": Hung,
    "dump": Dump,
    "addresses": Addresses,
    "capture": Capture,
    "measured": Measured,
    "swap": Swap,
    "mended": Mended,
}


def kind_of(entry: Entry) -> str:
    """Return the ``kind`` of an entry."""
    return next(name for name, cls in KINDS.items() if type(entry) is cls)


@frozen
class CaseTable:
    """A whole case file."""

    format_: Literal["case/1"] = key(doc="What this file is.")
    title: str = key(default="", doc="What the case is about, one line.")
    machine: str = key(doc="The machine: a shipped name, or a path.", check=_relative)
    board: str = _file("The board file; the machine's shipped board if not given.")
    priors: str = _file("A file of prior odds; the shipped guesses if not given.")
    costs: str = _file("A file of bench costs; the shipped guesses if not given.")
    tools: tuple[str, ...] = key(
        default=(), doc="What there is at the bench; only steps that need these are proposed."
    )
    entries: tuple[Entry, ...] = key(
        name="entry",
        default=(),
        doc="What was seen and done, in order of time.",
        variants=KINDS,
        unique=None,
        most=MOST_ENTRIES,
    )
    path: TomlPath = own_path()
