"""Lines of a program, and what can be wrong with one of them."""

from collections.abc import Callable, Iterable
from typing import Final

from attrs import define, evolve, field, frozen

from emu.errors import Code, InputError, Note, Problem, declare, nearest
from emu.where import Place

ERROR_LIMIT: Final = 20
MOST_SHOWN: Final = 200  # characters of a source line, as in emu.where
LONGEST_NAME: Final = 60  # no name is suggested for a longer one
LONGEST_DIFFERENCE: Final = 6
MOST_COMPARED: Final = 2000
LONGEST_MESSAGE: Final = 400  # a hostile name must not fill the screen

TOO_MANY: Final = declare(
    "asm-too-many-errors",
    f"Only the first {ERROR_LIMIT} errors of a program are shown.",
    "Mend those shown; one of them often causes the rest. Then assemble again.",
    "\n".join(["; machine: dunlin", *[f".nonsense {n}" for n in range(ERROR_LIMIT + 1)]]),
    "program",
)


@define  # as for Token: made often, so not frozen
class Span:
    """Part of a line: where it begins (column, from 1) and how many characters it has."""

    column: int
    length: int = 1


@frozen(eq=False)
class SourceLine:
    """One line of a program. ``includes`` are the places of the ``.include`` lines that led here."""

    file: str
    number: int
    text: str
    includes: tuple[Place, ...] = ()

    def place(self, span: Span) -> Place:
        """Return the place of a part of the line, underlined as far as the line is shown."""
        length = min(span.length, MOST_SHOWN + 1 - span.column)
        return Place(self.file, self.number, span.column, max(length, 1))

    def excerpt(self, place: Place) -> str:
        """Return what of the line is shown under an error at a place of it."""
        return self.text[:MOST_SHOWN] if place.column <= MOST_SHOWN else ""


def split_lines(text: str) -> list[str]:
    """Return the lines of a text as ``Source.line`` counts them; a last empty one is dropped."""
    lines = [line.removesuffix("\r") for line in text.split("\n")]
    return lines if lines[-1] else lines[:-1]


class LineError(Exception):
    """Something is wrong with a line. Without a span, the word that the statement begins with is meant.

    ``hint`` may be a function: it is asked only if the error is shown.
    """

    def __init__(
        self,
        code: Code,
        message: str,
        span: Span | None = None,
        *,
        hint: str | Callable[[], str] = "",
        notes: tuple[Note, ...] = (),
    ) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.span = span
        self.hint = hint
        self.notes = notes


class PoisonedError(Exception):
    """A value is missing because of an error that has been reported already."""


def hint_of(given: str, known: Iterable[str], otherwise: str = "") -> Callable[[], str]:
    """Return a function for the hint to the nearest known name; names far from as long are not looked at."""
    if len(given) > LONGEST_NAME:
        return lambda: otherwise

    def hint() -> str:
        alike = [name for name in known if abs(len(name) - len(given)) <= LONGEST_DIFFERENCE]
        few = alike[:MOST_COMPARED]
        return nearest(given, few) or nearest(given.lower(), few) or otherwise

    return hint


@define
class Report:
    """Gathers the problems of a program; at most :data:`ERROR_LIMIT` errors are kept."""

    errors: list[Problem] = field(factory=list)
    warnings: list[Problem] = field(factory=list)
    dropped: int = 0

    def error(self, line: SourceLine, problem: LineError, default: Span) -> None:
        """Record an error of a line."""
        if len(self.errors) >= ERROR_LIMIT:
            self.dropped += 1
            return
        self.errors.append(_problem(line, problem, default))

    def warn(self, line: SourceLine, problem: LineError, default: Span) -> None:
        """Record a warning of a line."""
        found = _problem(line, problem, default)
        self.warnings.append(evolve(found, severity="warning"))

    def raise_if_errors(self, file: str, last_line: int) -> None:
        """Raise :class:`InputError` with all errors if there are any."""
        if not self.errors:
            return
        if self.dropped:
            text = f"only the first {ERROR_LIMIT} errors are shown, {self.dropped} more were found"
            self.errors.append(Problem(TOO_MANY, text, Place(file, max(last_line, 1), 1)))
        raise InputError(self.errors)


def _problem(line: SourceLine, problem: LineError, default: Span) -> Problem:
    chain = tuple(Note("included from here", place) for place in reversed(line.includes))
    place = line.place(problem.span or default)
    message = problem.message
    if len(message) > LONGEST_MESSAGE:
        message = message[:LONGEST_MESSAGE] + "…"
    notes = (*problem.notes, *chain)
    hint = problem.hint if isinstance(problem.hint, str) else problem.hint()
    return Problem(problem.code, message, place, hint, notes, line.excerpt(place))
