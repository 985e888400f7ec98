"""The first pass: reads the lines in order, settles where every word goes and collects the names."""

from collections.abc import Callable
from typing import Final

from attrs import define, field

from emu.assemble.conditions import Conditions
from emu.assemble.directives import DIRECTIVES, START_TWICE, find_directive
from emu.assemble.expression import Operand, evaluate
from emu.assemble.forms import InstructionSet
from emu.assemble.layout import Layout, Spot
from emu.assemble.lines import LineError, PoisonedError, Report, SourceLine, Span, split_lines
from emu.assemble.statements import Coded, Content, Item, Row, Statement, split_line
from emu.assemble.symbols import LineScope, SymbolTable
from emu.assemble.tokens import Reader, Token
from emu.errors import InputError, Note, declare
from emu.where import Place, Source

OpenInclude = Callable[[str], Source]
INCLUDE_DEPTH: Final = 16
LINE_LIMIT: Final = 400_000

NEEDS_AT: Final = declare(
    "asm-needs-at",
    "After .bank inside a banked window, .at says at which address the bank goes on.",
    "Write .at ADDRESS behind the .bank line.",
    "; machine: fulmar\n.bank 0\n.at 0x800\n.bank 1\n.word 5\n",
    "program",
)
INCLUDE_MISSING: Final = declare(
    "asm-include-missing",
    "An included file is there and can be read as text.",
    "Check the name; it counts from the folder of the program.",
    '; machine: dunlin\n.include "no-such-file.asm"\n',
    "program",
)
INCLUDE_LOOP: Final = declare(
    "asm-include-loop",
    "A file does not include itself, not even through others.",
    "Take one of the .include lines in the notes out.",
)
TOO_BIG: Final = declare(
    "asm-too-big",
    f"A program has at most {LINE_LIMIT} lines and {INCLUDE_DEPTH} files inside each other.",
    "Look for files that include each other many times.",
)


@define(eq=False)
class FirstPass:
    """Reads the lines in order, places words, and collects the names."""

    layout: Layout
    instructions: InstructionSet
    table: SymbolTable
    report: Report
    open_include: OpenInclude | None
    rows: list[Row] = field(factory=list)
    banks: dict[int, int] = field(factory=dict)
    start: tuple[SourceLine, Operand, Spot | None] | None = None
    _conditions: Conditions = field(factory=Conditions)
    _spot: Spot | None = None
    _lost: LineError | None = None
    _statement: Statement = field(default=Statement(SourceLine("", 0, ""), (), None, 0))
    _item: Item | None = None
    _files: list[str] = field(factory=list)
    _full: bool = False
    _label_waits: bool = False

    def __attrs_post_init__(self) -> None:
        self.banks = self.layout.power_up_banks()
        try:
            self._spot = self.layout.spot_at(self.layout.machine.start, self.banks)
        except LineError as problem:
            self._lost = problem

    def read(self, source: Source, includes: tuple[Place, ...] = ()) -> None:
        """Read a source and what it includes."""
        self._files.append(source.file)
        outside = self._conditions.enter_file()
        for number, text in enumerate(split_lines(source.text), 1):
            if len(self.rows) >= LINE_LIMIT:
                self._too_many_lines(SourceLine(source.file, number, text, includes))
                break
            self._line(SourceLine(source.file, number, text, includes))
        self._conditions.leave_file(outside, self.report)
        self._files.pop()

    def _too_many_lines(self, line: SourceLine) -> None:
        if not self._full:
            problem = LineError(TOO_BIG, f"a program has at most {LINE_LIMIT} lines, got more")
            self.report.error(line, problem, Span(1))
        self._full = True

    def _line(self, line: SourceLine) -> None:
        statement = split_line(line)
        self._statement, self._item = statement, None
        row = len(self.rows)
        self.rows.append(Row(line, None))
        if self._conditions.skips(line, statement.head):
            return
        if statement.problem:
            self.report.error(line, statement.problem, statement.span)
        try:
            self._labels(statement)
            if statement.head:
                self._statement_of(statement, statement.head)
        except LineError as problem:
            self.report.error(line, problem, statement.span)
        except PoisonedError:
            return
        finally:
            if self._item:
                self.rows[row] = Row(line, self._item)

    def _labels(self, statement: Statement) -> None:
        for token in statement.labels:
            entry = self.table.define(token, statement.line)
            if entry:
                entry.spot = self._spot
        if statement.labels:
            self._label_waits = True
            self.spot_now()

    def _statement_of(self, statement: Statement, head: Token) -> None:
        if not head.text.startswith("."):
            self._instruction(statement, head)
            return
        directive = find_directive(head)
        try:
            directive.run(self, Reader(statement.tokens(), directive.usage))
        except (LineError, PoisonedError):
            self._after_failure(head.text, statement)
            raise

    def _after_failure(self, word: str, statement: Statement) -> None:
        """Keep one mistake from causing others: what a broken line would have settled is not known."""
        if word in {".at", ".in", ".align", ".bank"}:
            self._spot, self._lost = None, None
        if word == ".if" and not self._conditions.began_on(statement.line):
            self._conditions.begin(statement.line, statement.span, holds=True)
        if word == ".let":
            tokens = [t for t in statement.line.text[statement.rest :].replace("=", " ").split() if t]
            if tokens and tokens[0].isidentifier() and tokens[0] not in self.table.entries:
                self.table.define(Token("name", tokens[0], statement.rest + 1), statement.line)

    def _instruction(self, statement: Statement, head: Token) -> None:
        form = None
        try:
            form = self.instructions.find(head)
            content = Coded(form, self.instructions.read(form, statement.tokens()))
        except LineError as problem:
            if form is None and "." + head.text in DIRECTIVES:
                problem.hint = f"did you mean '.{head.text}'?"
            self._skip_one()
            raise
        self.put(1, content)

    def _skip_one(self) -> None:
        """Leave room for an instruction that cannot be read, so that later addresses do not move."""
        if self._spot is not None and self.layout.room(self._spot):
            self._spot = self.layout.after(self._spot, 1)

    def now(self, operand: Operand) -> int:
        """Return the value of an expression that must be known already."""
        return evaluate(operand.expression, LineScope(self.table, self._statement.line, self._spot))

    def spot_now(self) -> Spot:
        """Return the place of the next word; raises if there is none."""
        if self._spot is None:
            problem, self._lost = self._lost, None
            if problem:
                raise problem
            raise PoisonedError
        return self._spot

    def move(self, spot: Spot) -> None:
        """Let the next word go there."""
        self._spot, self._lost = spot, None

    def put(self, count: int, content: Content) -> None:
        """Place that many words here."""
        spot = self.spot_now()
        if not count:
            return
        try:
            stretches, after = self.layout.stretches(spot, count)
        except LineError:
            self._spot = None
            raise
        self._spot = after
        statement = self._statement
        self._item = Item(statement.line, statement.span, self._label_waits, stretches, count, content)
        self._label_waits = False

    def change_bank(self, bank: int) -> None:
        """Let banked windows show another bank; inside one, the place is then open until ``.at``."""
        self.banks = dict.fromkeys(self.banks, bank)
        if self._spot is not None and self._spot.bank is not None:
            message = "after .bank a .at says the address, got words or a label before it"
            self._spot, self._lost = None, LineError(NEEDS_AT, message)

    def name(self, token: Token, operand: Operand) -> None:
        """Define a constant."""
        entry = self.table.define(token, self._statement.line)
        if entry:
            entry.operand, entry.here = operand, self._spot
            self.table.try_now(entry)

    def start_at(self, operand: Operand) -> None:
        """Let the program start there."""
        if self.start:
            note = Note("first said here", self.start[0].place(self.start[1].span))
            raise LineError(START_TWICE, "a program has one .start, got another", notes=(note,))
        self.start = (self._statement.line, operand, self._spot)

    def begin_if(self, operand: Operand) -> None:
        """Read the lines up to ``.else`` or ``.end`` only if the value is not 0."""
        holds = True  # where the value is wrong: its lines are read, so that their labels are known
        try:
            holds = self.now(operand) != 0
        finally:
            self._conditions.begin(self._statement.line, self._statement.span, holds)

    def otherwise(self) -> None:
        """Read the lines up to ``.end`` only if those above were left out."""
        self._conditions.otherwise()

    def end_if(self) -> None:
        """Read on in any case."""
        self._conditions.end()

    def include(self, token: Token, file: str) -> None:
        """Read another file here."""
        if self.open_include is None:
            message = f"this program stands alone and includes nothing, got {file!r}"
            raise LineError(INCLUDE_MISSING, message, token.span)
        try:
            source = self.open_include(file)
        except (OSError, ValueError, InputError, KeyError) as cause:
            message = f"an included file can be read, got {file!r}, which cannot{_why(cause)}"
            raise LineError(INCLUDE_MISSING, message, token.span) from cause
        line = self._statement.line
        if source.file in self._files:
            message = f"a file does not include itself, got {' -> '.join([*self._files, source.file])}"
            raise LineError(INCLUDE_LOOP, message, token.span)
        if len(self._files) >= INCLUDE_DEPTH:
            message = f"files include each other at most {INCLUDE_DEPTH} deep, got more"
            raise LineError(TOO_BIG, message, token.span)
        statement = self._statement
        self.read(source, (*line.includes, line.place(token.span)))
        self._statement, self._item = statement, None


def _why(cause: Exception) -> str:
    match cause:
        case InputError():
            return f": {cause.problems[0].message}"
        case ValueError():
            return f": {cause}"
        case _:
            return ""
