"""What can be wrong with a case that is well formed: names the machine does not know, files that changed."""

import datetime as dt
import re
from collections.abc import Collection
from pathlib import Path
from typing import Final

from attrs import define, evolve, field

from emu.errors import Code, Problem, Problems, Severity, declare, nearest
from emu.spec import MachineSpec, RegisterSpec
from emu.words import WordFormat
from faults.case.forms import parse_addresses, parse_count, parse_lamps, parse_time
from faults.case.load import Case
from faults.case.model import (
    Addresses,
    Alarm,
    Capture,
    Dump,
    Entry,
    Hung,
    Measured,
    Mended,
    Printed,
    Restarts,
    Stop,
    Swap,
)
from faults.case.write import hash_of

_CARDS_SHOWN: Final = 12
_HEAD: Final = 'format = "case/1"\nmachine = "fulmar"\n\n'

UNKNOWN_NAME: Final = declare(
    "case-unknown-name",
    "Alarms, lamps, stores and ports are called as the machine file calls them, sites as the board does.",
    "Use one of the names the hint lists.",
    f'{_HEAD}[[entry]]\nkind = "alarm"\nprogram = "selftest-sum"\nalarm = "parety"\ncount = 3\n',
    "case",
)
DOES_NOT_FIT: Final = declare(
    "case-does-not-fit",
    "What was read must fit the lamps, the words and the addresses of the machine.",
    "Check the base and the number of digits.",
    f'{_HEAD}[[entry]]\nkind = "stop"\nprogram = "selftest-sum"\nlamps = "counter=123456"\n',
    "case",
)
NO_DATE: Final = declare(
    "case-no-such-date",
    "A time that begins like a date (four digits, a dash) must be one: year-month-day.",
    'Correct the date. Other words, such as "Sunday evening", are taken as they are.',
    f'{_HEAD}[[entry]]\nkind = "passed"\nprogram = "gates"\nwhen = "2026-11-31"\n',
    "case",
)
EARLIER: Final = declare(
    "case-earlier-than-before",
    "Entries stand in the order in which things happened; after a mend nothing is older than the mend.",
    "Correct the date, or put the entry where it belongs.",
)
NO_FILE: Final = declare(
    "case-file-missing",
    "Every file that a case names must lie where its path says, from the folder of the case.",
    "Put the file there, or correct the path.",
    f'{_HEAD}[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "no-such-dump.lst"\nprogram = "gates"\n',
    "case",
)
OTHER_HASH: Final = declare(
    "case-file-changed",
    "A file must still be the one that the case was written about: its SHA-256 must be the same.",
    "Restore the file, or if the change was meant, write the new SHA-256.",
)
NOT_SAID: Final = declare(
    "case-dump-against-nothing",
    "A dump tells something only where it is known what the store should hold.",
    "Name an image file as `expected`, or the `program` that was loaded and ran.",
)
NO_HASH: Final = declare(
    "case-no-hash",
    "A file whose SHA-256 is not written down can change unnoticed.",
    "Write the SHA-256 that the message gives.",
)


def check_case(
    case: Case,
    machine: MachineSpec | None = None,
    *,
    programs: Collection[str] = (),
    sites: Collection[str] = (),
    cards: Collection[str] = (),
) -> tuple[Problem, ...]:
    """Return everything wrong with a case, in order of place; warnings have that severity.

    ``machine``: judge names and digits too. ``programs``: names that are no files (shipped programs).
    ``sites``: the paths the board knows, ``cards``: its cards, slots and chips; none given, they are not
    judged.
    """
    problems = Problems(case.document.source)
    checker = _Checker(case, machine, frozenset(programs), frozenset(sites), tuple(cards), problems)
    checker.dates()
    for entry in case.entries:
        checker.files(entry)
        checker.program(entry)
        checker.site(entry)
        checker.card(entry)
        if machine is not None:
            checker.names(entry, machine)
    return tuple(sorted(checker.problems.found, key=lambda p: p.place))


@define(eq=False)
class _Checker:
    case: Case
    machine: MachineSpec | None
    programs: frozenset[str]
    sites: frozenset[str]
    cards: tuple[str, ...]
    problems: Problems
    _hashes: dict[str, str] = field(factory=dict, init=False)

    def add(self, code: Code, message: str, entry: Entry, attribute: str, hint: str = "") -> None:
        self.problems.add(code, message, self.case.place(entry, attribute), hint=hint)

    def dates(self) -> None:
        """Check that dates exist, and warn where one is earlier than that of an entry before."""
        latest: dt.date | None = None
        for entry in self.case.entries:
            try:
                day = _day(entry.when)
            except ValueError:
                self.add(NO_DATE, f"there must be such a day; given {entry.when!r}", entry, "when")
                continue
            if day is not None and latest is not None and day < latest:
                place = self.case.place(entry, "when")
                message = f"an entry is not older than those above it; given {day} after {latest}"
                self.problems.add(
                    EARLIER, message, place, severity="warning", hint="see whether it is a slip"
                )
            latest = max(filter(None, (day, latest)), default=None)

    def files(self, entry: Entry) -> None:
        """Check that the files of an entry are there and unchanged."""
        if isinstance(entry, Dump | Addresses | Capture) and entry.file:
            self.file(entry, "file", "sha256")
        if isinstance(entry, Dump) and entry.expected:
            self.file(entry, "expected", "expected_sha256")
        elif isinstance(entry, Dump) and not entry.program:
            message = "a dump needs what the store should hold, or it tells nothing; neither stands here"
            self.problems.add(
                NOT_SAID, message, self.case.place(entry, "file"), severity="warning",
                hint='add expected = "FILE", or program = "..", the one that ran',
            )  # fmt: skip

    def file(self, entry: Entry, attribute: str, hashed: str) -> None:
        name, wanted = getattr(entry, attribute), getattr(entry, hashed)
        try:
            found = self._hashes.get(name) or hash_of(self.case.path_of(name))
        except (OSError, ValueError) as error:
            reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
            message = f"{name!r} must be a file beside the case; the system says: {reason}"
            self.add(NO_FILE, message, entry, attribute, self.file_near(name))
            return
        self._hashes[name] = found
        key = hashed.replace("_", "-")
        if not wanted:
            message = f"{name!r} has no {key}, so a change would go unnoticed"
            place = self.case.place(entry, attribute)
            self.problems.add(NO_HASH, message, place, hint=f'add {key} = "{found}"', severity="warning")
        elif found != wanted:
            self.add(OTHER_HASH, f"{name!r} must have the {key} written here; it has {found}", entry, hashed)

    def file_near(self, name: str) -> str:
        """Return the hint that names a file beside the case which may be meant, or ""."""
        folder = self.case.path_of(name).parent
        try:
            there = sorted(p.name for p in folder.iterdir() if p.is_file())
        except (OSError, ValueError):
            return ""
        if f"{name}.asm" in there:
            return f"the file {name}.asm is here: write {name}.asm"
        own = Path(self.case.document.source.file).name
        return nearest(Path(name).name, [n for n in there if n != own])

    def program(self, entry: Entry) -> None:
        """Check that the program of an entry is shipped or a file."""
        name = getattr(entry, "program", "")
        if name and self.programs and name not in self.programs and not self.case.path_of(name).is_file():
            shipped = ", ".join(sorted(filter(None, self.programs)))
            hint = (
                self.file_near(name)
                or nearest(name, self.programs)
                or (f"known: {shipped}" if shipped else "")
            )
            self.add(
                NO_FILE, f"a program is a shipped name or a file; {name!r} is neither", entry, "program", hint
            )

    def site(self, entry: Entry) -> None:
        """Check that the board has the site; that of a mend may be the beginning of several."""
        if not self.sites or not isinstance(entry, Measured | Mended) or not entry.site:
            return
        group = isinstance(entry, Mended) and any(s.startswith(f"{entry.site}/") for s in self.sites)
        if entry.site not in self.sites and not group:
            hint = nearest(entry.site, self.sites)
            self.add(
                UNKNOWN_NAME, f"the board must have the site; it has no {entry.site!r}", entry, "site", hint
            )

    def card(self, entry: Entry) -> None:
        """Check that the board has the card; one that came from elsewhere it need not have."""
        if isinstance(entry, Swap):
            self.on_board(entry, "moved", entry.moved)
            if entry.to.strip().lower() != "spare":
                self.on_board(entry, "to", entry.to, severity="warning")
        elif isinstance(entry, Mended):
            self.on_board(entry, "card", entry.card)

    def on_board(self, entry: Entry, attribute: str, name: str, *, severity: Severity = "error") -> None:
        known = {card.lower() for card in self.cards}
        if name and known and name.strip().lower() not in known and name not in self.sites:
            hint = nearest(name, self.cards) or f"known: {', '.join(self.cards[:_CARDS_SHOWN])}"
            message = f"the board must have the card, slot or chip; it has no {name!r}"
            place = self.case.place(entry, attribute)
            self.problems.add(UNKNOWN_NAME, message, place, hint=hint, severity=severity)

    def in_time(self, entry: Alarm | Restarts, machine: MachineSpec) -> None:
        """Check that so many can happen in the time: one access to memory each, at the very most."""
        if not entry.within:
            return
        least, time = parse_count(entry.count).low, parse_time(entry.within).high
        cycle = max(1, min((s.cycle_ns for s in machine.stores), default=1))
        if least * cycle > time + cycle:
            most = f"{max(1, time // cycle):,}"
            message = f"in {entry.within} there is time for {most} at most; given at least {least:,}"
            self.add(DOES_NOT_FIT, message, entry, "count")

    def names(self, entry: Entry, machine: MachineSpec) -> None:
        """Check what an entry says against the machine."""
        addresses = evolve(machine.word, bits=machine.address_bits)
        match entry:
            case Stop():
                self.lamps(entry, machine)
                self.fits(entry, "address", entry.address, addresses)
            case Alarm():
                self.known(entry, "alarm", entry.alarm, [a.name for a in machine.alarms])
                self.fits(entry, "first", entry.first, addresses)
                self.in_time(entry, machine)
            case Restarts():
                self.in_time(entry, machine)
            case Printed() if entry.port:
                self.known(entry, "port", entry.port, [p.name for p in machine.ports])
            case Hung() if entry.within:
                self.ranges(entry, "within", entry.within, addresses, 1 << machine.address_bits)
            case Capture():
                lacking = [c for c in ("address", "data") if c not in entry.columns.split(",")]
                if lacking:
                    message = "a capture has a column of addresses and one of data"
                    self.add(DOES_NOT_FIT, f"{message}; lacking: {', '.join(lacking)}", entry, "columns")
            case Dump() | Addresses():
                stores = [s.name for s in machine.stores]
                if self.known(entry, "store", entry.store, stores) and isinstance(entry, Addresses):
                    words = machine.store(entry.store).words
                    whole = evolve(machine.word, bits=max(1, (words - 1).bit_length()))
                    if entry.failing:
                        self.ranges(entry, "failing", entry.failing, whole, words)
            case _:
                pass

    def known(self, entry: Entry, attribute: str, name: str, names: Collection[str]) -> bool:
        """Whether a name is one of the machine's; record it if not."""
        if name in names:
            return True
        hint = nearest(name, names) or f"known: {', '.join(names)}"
        self.add(
            UNKNOWN_NAME, f"the machine must have the {attribute}; it has no {name!r}", entry, attribute, hint
        )
        return False

    def fits(self, entry: Entry, attribute: str, digits: str, form: WordFormat) -> None:
        if digits:
            try:
                form.parse_masked(digits)
            except ValueError as error:
                self.add(DOES_NOT_FIT, str(error), entry, attribute)

    def ranges(self, entry: Entry, attribute: str, text: str, form: WordFormat, words: int) -> None:
        try:
            beyond = [last for _, last in parse_addresses(text, form) if last >= words]
        except ValueError as error:
            self.add(DOES_NOT_FIT, str(error), entry, attribute)
            return
        if beyond:
            last = form.tagged(words - 1)
            self.add(
                DOES_NOT_FIT, f"addresses run to {last}; given {form.tagged(beyond[0])}", entry, attribute
            )

    def lamps(self, entry: Stop, machine: MachineSpec) -> None:
        rows = {lamp.name: lamp for lamp in machine.lamps}
        for one in parse_lamps(entry.lamps):
            if one.name not in rows:
                hint = nearest(one.name, rows) or f"known: {', '.join(rows)}"
                self.add(
                    UNKNOWN_NAME,
                    f"the machine must have the lamps; it has no {one.name!r}",
                    entry,
                    "lamps",
                    hint,
                )
                continue
            form = lamp_format(machine, rows[one.name].shows)
            try:
                form.parse_masked(one.digits)
            except ValueError as error:
                self.add(DOES_NOT_FIT, f"lamps {one.name!r}: {error}", entry, "lamps")


def _day(when: str | dt.date | dt.datetime) -> dt.date | None:
    """Return the day of a time; None if it names none. ValueError for a day that there is not."""
    if isinstance(when, dt.datetime):
        return when.date()
    if isinstance(when, dt.date):
        return when
    found = re.match(r"\s*(\d{4})-(\d{1,2})-(\d{1,2})(?!\d)", when)
    return dt.date(int(found[1]), int(found[2]), int(found[3])) if found else None


def lamp_format(machine: MachineSpec, shows: str) -> WordFormat:
    """Return how a row of lamps is written: as wide as what it shows."""
    if shows.startswith("alarm:"):
        return evolve(machine.word, bits=1)
    found = (r.bits for r in machine.registers if shows in {r.name, *r.names, *_numbered(r)})
    return evolve(machine.word, bits=next(found, machine.word.bits))


def _numbered(register: RegisterSpec) -> list[str]:
    return [f"{register.name}{number}" for number in range(register.count)]
