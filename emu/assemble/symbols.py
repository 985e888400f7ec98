"""Names of a program: labels, constants, and where each is used."""

from typing import Final, Literal

from attrs import define, field, frozen

from emu.assemble.expression import FUNCTIONS, HERE, Name, Operand, evaluate, names_of
from emu.assemble.layout import NOWHERE, Spot
from emu.assemble.lines import LineError, PoisonedError, Report, SourceLine, Span, hint_of
from emu.assemble.tokens import Token
from emu.errors import Note, declare
from emu.where import Place
from emu.words import WordFormat

UNKNOWN_NAME: Final = declare(
    "asm-unknown-name",
    "Every name in an expression is a label or a constant of the program.",
    "Define it with NAME: or .let, or correct its spelling (capitals count).",
    "; machine: dunlin\n.word tide\n",
    "program",
)
NAME_TWICE: Final = declare(
    "asm-name-twice",
    "A name is defined once.",
    "Rename one of the two.",
    "; machine: dunlin\ngate: .word 1\ngate: .word 2\n",
    "program",
)
RESERVED: Final = declare(
    "asm-reserved-name",
    "here, bank, index, pattern and the names of registers are taken.",
    "Choose another name.",
    "; machine: dunlin\nhere: .word 1\n",
    "program",
)
NEEDED_NOW: Final = declare(
    "asm-needed-now",
    "What decides where words go is known when its line is reached.",
    "Define the name further up, by numbers or by labels that stand above.",
    "; machine: dunlin\n.reserve size\n.let size = 4\n",
    "program",
)
CIRCLE: Final = declare(
    "asm-circle",
    "A constant is not defined by itself, not even through others.",
    "Give one of the constants in the circle a number.",
    "; machine: dunlin\n.let a = b\n.let b = a\n",
    "program",
)
NO_ADDRESS: Final = declare(
    "asm-no-address",
    "Only a label that a window shows has an address, only one in a banked window a bank.",
    "Use index(LABEL) for the word of its store.",
    "; machine: dunlin\nroom: .word bank(room)\n",
    "program",
)

State = Literal["open", "busy", "done", "poisoned"]


@define(eq=False)
class Entry:
    """A name while the program is being assembled."""

    name: str
    line: SourceLine
    span: Span
    spot: Spot | None = None
    operand: Operand | None = None
    here: Spot | None = None
    value: int = 0
    state: State = "open"
    late: bool = False  # rests on a name that was not there when its line was read
    uses: dict[Place, None] = field(factory=dict)

    @property
    def place(self) -> Place:
        """Where the name is defined."""
        return self.line.place(self.span)


@frozen
class Symbol:
    """A name of an assembled program.

    ``value``: the address of a label (-1 if no window shows it) or the value of a constant. ``bank``: of a
    label in a banked window, else None. ``uses``: where the name is used, in order.
    """

    name: str
    kind: Literal["label", "constant"]
    value: int
    bank: int | None
    place: Place
    uses: tuple[Place, ...]


@define(eq=False)
class SymbolTable:
    """The names of one program."""

    word: WordFormat
    taken: frozenset[str]
    report: Report
    entries: dict[str, Entry] = field(factory=dict)
    closed: bool = False

    def define(self, token: Token, line: SourceLine) -> Entry | None:
        """Enter a new name; reports and returns None if it may not be used or is there already."""
        if token.text in self.taken or token.text == HERE or token.text in FUNCTIONS:
            message = f"this name is taken by the machine or the language, got {token.text!r}"
            self.report.error(line, LineError(RESERVED, message), token.span)
            return None
        known = self.entries.get(token.text)
        if known:
            note = Note("first defined here", known.place)
            problem = LineError(
                NAME_TWICE, f"a name is defined once, got {token.text!r} again", notes=(note,)
            )
            self.report.error(line, problem, token.span)
            return None
        entry = self.entries[token.text] = Entry(token.text, line, token.span)
        return entry

    def find(self, name: Name) -> Entry:
        """Return the entry of a name; :class:`LineError` if it is not (or not yet) defined."""
        entry = self.entries.get(name.text)
        if entry:
            return entry
        if not self.closed:
            message = f"this must be known when the line is reached, got {name.text!r}, not defined above"
            raise LineError(NEEDED_NOW, message, name.span)
        if name.text in self.taken:
            message = f"a number or a label stands here, got the register {name.text!r}"
            raise LineError(UNKNOWN_NAME, message, name.span)
        message = f"a name is a label or a constant, got {name.text!r}, which is defined nowhere"
        raise LineError(UNKNOWN_NAME, message, name.span, hint=hint_of(name.text, self.entries))

    def resolve(self, entry: Entry) -> int:
        """Return the value of an entry, working it out if it is a constant."""
        if entry.state == "open":
            self._work_out(entry)
        if entry.state == "poisoned":
            raise PoisonedError
        return entry.value

    def _work_out(self, entry: Entry) -> None:
        """Work out a constant, first all that it rests on; without recursion, for chains may be long."""
        waiting = [entry]
        while waiting:
            top = waiting[-1]
            top.state = "busy"
            name = self._rests_on(top)
            if name is None:
                self._settle(top, waiting)
                waiting.pop()
            elif self.entries[name.text].state == "busy":
                message = f"a constant is not defined by itself, got {name.text!r}"
                self._spoil(top, LineError(CIRCLE, message, name.span))
                waiting.pop()
            else:
                waiting.append(self.entries[name.text])

    def _rests_on(self, entry: Entry) -> Name | None:
        """Return the first name in a constant whose value is another constant not worked out yet."""
        for name in names_of(entry.operand.expression) if entry.operand else ():
            other = self.entries.get(name.text)
            if other and other.operand and other.state in {"open", "busy"}:
                return name
        return None

    def _settle(self, entry: Entry, waiting: list[Entry]) -> None:
        """Give a constant its value, all that it rests on having one; leave all open if it is too early."""
        if entry.operand is None:
            entry.state = "poisoned"
            return
        try:
            entry.value = evaluate(entry.operand.expression, LineScope(self, entry.line, entry.here))
        except LineError as problem:
            if problem.code is NEEDED_NOW:
                for other in waiting:
                    other.state = "open"
                raise
            self._spoil(entry, problem)
        except PoisonedError:
            entry.state = "poisoned"
        else:
            entry.state = "done"

    def _spoil(self, entry: Entry, problem: LineError) -> None:
        """Report what is wrong in a constant on its own line, once."""
        entry.state = "poisoned"
        self.report.error(entry.line, problem, entry.span)

    def try_now(self, entry: Entry) -> None:
        """Work out a constant if it rests on nothing that comes later."""
        names = names_of(entry.operand.expression) if entry.operand else []
        entry.late = any(name.text in self.entries and self.entries[name.text].late for name in names)
        if entry.late:
            return
        try:
            self.resolve(entry)
        except PoisonedError:
            return
        except LineError as problem:
            if problem.code is not NEEDED_NOW:
                raise
            entry.late = True

    def close(self) -> None:
        """Say that no more names come, and work out every constant."""
        self.closed = True
        for entry in self.entries.values():
            if entry.operand is not None and entry.state == "open":
                try:
                    self.resolve(entry)
                except PoisonedError:
                    continue

    def symbols(self) -> tuple[Symbol, ...]:
        """Return every name, sorted."""
        return tuple(_symbol(self.entries[name]) for name in sorted(self.entries))


def _symbol(entry: Entry) -> Symbol:
    uses = tuple(sorted(entry.uses))
    if entry.spot is None:
        return Symbol(entry.name, "constant", entry.value, None, entry.place, uses)
    return Symbol(entry.name, "label", entry.spot.address, entry.spot.bank, entry.place, uses)


@frozen
class LineScope:
    """What an expression on one line sees."""

    table: SymbolTable
    line: SourceLine
    spot: Spot | None

    @property
    def word(self) -> WordFormat:
        """The machine's word."""
        return self.table.word

    def _use(self, name: Name) -> Entry:
        entry = self.table.find(name)
        entry.uses[self.line.place(name.span)] = None
        return entry

    def value(self, name: Name) -> int:
        """Return the value of a constant or the address of a label."""
        entry = self._use(name)
        if entry.spot is not None:
            return _address(entry.spot, name.span, name.text)
        return self._resolve(entry, name)

    def _resolve(self, entry: Entry, name: Name) -> int:
        try:
            return self.table.resolve(entry)
        except LineError as problem:
            if problem.code is NEEDED_NOW:
                message = (
                    f"this must be known when the line is reached, "
                    f"got {name.text!r}, which rests on a later name"
                )
                raise LineError(NEEDED_NOW, message, name.span) from problem
            raise

    def _label(self, name: Name) -> Spot:
        entry = self._use(name)
        if entry.spot is None and entry.operand is None:
            raise PoisonedError
        if entry.spot is None:
            message = f"a label stands here, got the constant {name.text!r}"
            raise LineError(NO_ADDRESS, message, name.span)
        return entry.spot

    def bank(self, name: Name) -> int:
        """Return the bank of a label."""
        spot = self._label(name)
        if spot.bank is None:
            message = f"bank() takes a label in a banked window, got {name.text!r}, which lies in none"
            raise LineError(NO_ADDRESS, message, name.span)
        return spot.bank

    def index(self, name: Name) -> int:
        """Return the word of its store that a label stands for."""
        spot = self._label(name)
        if spot.store < 0:
            message = f"index() takes a label in a store, got {name.text!r}, which lies behind the last word"
            raise LineError(NO_ADDRESS, message, name.span)
        return spot.index

    def here(self, span: Span) -> int:
        """Return the address of the line."""
        if self.spot is None:
            raise PoisonedError
        return _address(self.spot, span, HERE)


def _address(spot: Spot, span: Span, name: str) -> int:
    if spot.address == NOWHERE:
        message = f"an address is needed, got {name!r}, a word that no window shows"
        raise LineError(NO_ADDRESS, message, span)
    return spot.address
