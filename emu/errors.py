"""Every error of an input carries a code, the rule, what was given, the place and a hint.

Library code raises :class:`InputError` with *all* problems of an input gathered by
:class:`Problems`; only ``faults.cli`` prints them and chooses an exit code.
"""

import difflib
from collections.abc import Iterable
from typing import Literal, NoReturn

from attrs import define, field, frozen

from emu.where import Place, Source

Severity = Literal["error", "warning"]
_REGISTRY: dict[str, "Code"] = {}


@frozen
class Code:
    """One stable error code, with what its documentation page says.

    ``slug`` is the code as printed (``unknown-key``); ``rule`` the rule that was broken, one sentence;
    ``cure`` what to do; ``example`` a complete input that provokes it and ``example_kind`` the sort of
    input (``machine``, ``machine-name``, ``program``, ``program-name``, ``image``, ``inputs``, ``toml``,
    ``file-name``, ``board``, ``fault``, ``case``, ``march``), both used by the test that every documented
    example emits its own code.
    """

    slug: str
    rule: str
    cure: str
    example: str = ""
    example_kind: str = ""


def declare(slug: str, rule: str, cure: str, example: str = "", example_kind: str = "") -> Code:
    """Declare a code once, beside the code that raises it."""
    if slug in _REGISTRY:
        raise ValueError(f"error code {slug!r} is declared twice")
    code = Code(slug, rule, cure, example, example_kind)
    _REGISTRY[slug] = code
    return code


def declared() -> dict[str, Code]:
    """Return every code declared by the modules imported so far, by slug."""
    return dict(sorted(_REGISTRY.items()))


@frozen
class Note:
    """A second place that belongs to a problem ("first defined here")."""

    text: str
    place: Place


@frozen
class Problem:
    """One thing wrong with an input.

    ``message`` states the rule and then what was given, in one line. ``hint`` is the nearest right
    thing, or "". ``source_line`` is the text of the line, or "" where there is none.
    """

    code: Code
    message: str
    place: Place
    hint: str = ""
    notes: tuple[Note, ...] = ()
    source_line: str = ""
    severity: Severity = "error"

    @property
    def headline(self) -> str:
        """The one-line form: ``file:line:col: error: text [code]``."""
        return f"{self.place}: {self.severity}: {self.message} [{self.code.slug}]"

    def render(self) -> str:
        """Return the headline, the source line with a caret under the token, notes and hint."""
        lines = [self.headline]
        if self.source_line:
            column = max(self.place.column, 1)
            pad = "".join("\t" if c == "\t" else " " for c in self.source_line[: column - 1])
            lines += [f"    {self.source_line}", f"    {pad}^{'~' * (self.place.length - 1)}"]
        lines += [f"    {note.place}: note: {note.text}" for note in self.notes]
        if self.hint:
            lines.append(f"    hint: {self.hint}")
        return "\n".join(lines)


class InputError(Exception):
    """An input file or an argument is bad. ``problems`` holds all of them, sorted by place.

    ``dropped`` counts the problems that were found but not kept.
    """

    def __init__(self, problems: Iterable[Problem], dropped: int = 0) -> None:
        self.problems: tuple[Problem, ...] = tuple(sorted(problems, key=lambda p: p.place))
        self.dropped = dropped
        super().__init__(self.render())

    def __reduce__(self) -> tuple[type["InputError"], tuple[tuple[Problem, ...], int]]:
        return InputError, (self.problems, self.dropped)  # so that a worker process can send it

    def render(self) -> str:
        """Return every problem as text, in order of place, and how many more there were."""
        lines = [p.render() for p in self.problems]
        if self.dropped:
            lines.append(f"... and {self.dropped:,} more problems, not shown")
        return "\n".join(lines)


@define
class Problems:
    """Gathers the problems of one input so that all are reported at once.

    ``limit`` bounds how many are kept (a hostile file must not fill the screen); the rest are counted.
    """

    source: Source
    limit: int = 100
    found: list[Problem] = field(factory=list)
    dropped: int = 0

    def add(
        self,
        code: Code,
        message: str,
        place: Place,
        *,
        hint: str = "",
        notes: tuple[Note, ...] = (),
        severity: Severity = "error",
    ) -> None:
        """Record one problem; the source line is looked up by its place."""
        if self.full:
            self.dropped += 1
            return
        self.found.append(Problem(code, message, place, hint, notes, self.source.excerpt(place), severity))

    @property
    def full(self) -> bool:
        """Whether more problems would only be counted: then no time need be spent on finding their words."""
        return len(self.found) >= self.limit

    @property
    def errors(self) -> tuple[Problem, ...]:
        """The problems that are errors, not warnings."""
        return tuple(p for p in self.found if p.severity == "error")

    @property
    def warnings(self) -> tuple[Problem, ...]:
        """The problems that are only warnings."""
        return tuple(p for p in self.found if p.severity == "warning")

    def raise_if_errors(self) -> None:
        """Raise :class:`InputError` with everything found, warnings too, if there is an error."""
        if self.errors:
            raise InputError(self.found, self.dropped)


def fail(code: Code, message: str, place: Place, *, hint: str = "", source_line: str = "") -> NoReturn:
    """Raise :class:`InputError` for a single problem."""
    raise InputError([Problem(code, message, place, hint, (), source_line)])


def nearest(given: str, known: Iterable[str]) -> str:
    """Return ``did you mean 'x'?`` for the closest known name, or "" if none is close."""
    close = difflib.get_close_matches(given, list(known), n=1, cutoff=0.5)
    return f"did you mean {close[0]!r}?" if close else ""
