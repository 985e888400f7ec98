"""Parts of a program that are left out: ``.if``, ``.else``, ``.end``."""

from typing import Final

from attrs import define, field

from emu.assemble.lines import LineError, Report, SourceLine, Span
from emu.assemble.tokens import Token
from emu.errors import Note, declare

NOT_CLOSED: Final = declare(
    "asm-if-not-closed",
    "Every .if is closed by an .end in the same file.",
    "Write .end behind the last line that the .if is about.",
    "; machine: dunlin\n.if 1\n.word 1\n",
    "program",
)
NO_IF: Final = declare(
    "asm-no-if",
    "An .end closes an .if above it in the same file, and an .if has at most one .else.",
    "Take the line out, or write the .if that it belongs to.",
    "; machine: dunlin\n.word 1\n.end\n",
    "program",
)


@define(eq=False)
class Condition:
    """An ``.if`` that is not closed yet. ``active``: its lines are read; ``taken``: one branch has been."""

    line: SourceLine
    span: Span
    active: bool
    taken: bool
    otherwise: bool = False


@define(eq=False)
class Conditions:
    """The open ``.if`` lines, outermost first; the first ``floor`` belong to the files that include this."""

    stack: list[Condition] = field(factory=list)
    floor: int = 0

    def skips(self, line: SourceLine, head: Token | None) -> bool:
        """Return whether a line is left out; an ``.if`` among such lines is remembered for its ``.end``."""
        if not self.stack or self.stack[-1].active:  # an active one stands only in active ones
            return False
        if head and head.text == ".if":
            self.stack.append(Condition(line, head.span, active=False, taken=True))
        return not head or head.text not in {".else", ".end"}

    def begin(self, line: SourceLine, span: Span, holds: bool) -> None:
        """Open an ``.if``."""
        self.stack.append(Condition(line, span, holds, holds))

    def began_on(self, line: SourceLine) -> bool:
        """Return whether the innermost ``.if`` stands on that line."""
        return bool(self.stack) and self.stack[-1].line is line

    def otherwise(self) -> None:
        """Turn to the other branch."""
        if len(self.stack) <= self.floor:
            raise LineError(NO_IF, "an .else belongs to an .if above it in the same file, got none")
        top = self.stack[-1]
        if top.otherwise:
            note = Note("its .if is here", top.line.place(top.span))
            raise LineError(NO_IF, "an .if has one .else, got another", notes=(note,))
        top.active, top.taken, top.otherwise = not top.taken, True, True

    def end(self) -> None:
        """Close the innermost ``.if``."""
        if len(self.stack) <= self.floor:
            raise LineError(NO_IF, "an .end belongs to an .if above it in the same file, got none")
        self.stack.pop()

    def enter_file(self) -> int:
        """Begin a file; returns what :meth:`leave_file` needs."""
        before, self.floor = self.floor, len(self.stack)
        return before

    def leave_file(self, before: int, report: Report) -> None:
        """End a file and report every ``.if`` of it that is still open."""
        for condition in self.stack[self.floor :]:
            message = "an .if is closed by an .end in the same file, got none"
            report.error(condition.line, LineError(NOT_CLOSED, message), condition.span)
        del self.stack[self.floor :]
        self.floor = before
