"""Puts text on a terminal: safe, in ASCII where the terminal knows no more, coloured where asked.

Results go to standard output, everything else to standard error.
"""

import shutil
import sys
from collections.abc import Sequence
from typing import TextIO

import click
from attrs import frozen

from faults.report.columns import fit_columns
from faults.report.terminal import can_draw
from faults.report.text import plain, to_ascii, wrap

NARROWEST = 40
_STRONG, _MILD, _WARN = "1", "2", "1;33"


def fitted(text: str, stream: TextIO) -> str:
    """Return text that is harmless to a terminal and that the stream can encode."""
    safe = plain(text)
    try:
        safe.encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        return safe.encode("ascii", "replace").decode() if _carets(safe) else to_ascii(safe)
    return safe


def _carets(text: str) -> bool:
    """Whether columns must stay where they are, for carets point at them."""
    return any(line.lstrip().startswith("^") for line in text.splitlines())


def notice(text: str, *, quiet: bool = False) -> None:
    """Tell something on standard error that is no part of the result."""
    if not quiet:
        click.echo(fitted(text, sys.stderr), err=True)


@frozen
class Writer:
    """Writes a result as text. ``colour`` adds bold and dim; nothing is told by colour alone."""

    colour: bool

    @property
    def width(self) -> int:
        """Columns of the terminal (of ``COLUMNS``, else 80 in a pipe), at least 40."""
        return max(shutil.get_terminal_size().columns, NARROWEST)

    def line(self, text: str = "") -> None:
        """Write one line, as long as it is."""
        click.echo(fitted(text, sys.stdout), color=self.colour)

    def paragraph(self, text: str, indent: int = 0) -> None:
        """Write text, wrapped at spaces."""
        for line in wrap(fitted(text, sys.stdout), self.width - indent):
            self.line(" " * indent + line)

    def bullet(self, text: str) -> None:
        """Write text, wrapped, behind a mark."""
        for number, line in enumerate(wrap(fitted(text, sys.stdout), self.width - 2)):
            self.line(f"{' ' if number else '-'} {line}")

    def heading(self, text: str) -> None:
        """Write a heading after an empty line."""
        self.line()
        click.echo(self._painted(fitted(text, sys.stdout), _STRONG), color=self.colour)

    def labelled(self, label: str, text: str, room: int = 14, *, whole: bool = False) -> None:
        """Write text beside a bold label, wrapped; ``whole``: on one line, for what people copy."""
        fitting = fitted(text, sys.stdout)
        lines = [fitting] if whole else wrap(fitting, self.width - room) or [""]
        head = self._painted(f"{label:<{room}}", _STRONG)
        click.echo(f"{head}{lines[0]}".rstrip(), color=self.colour)
        for line in lines[1:]:
            self.line(" " * room + line)

    def warning(self, text: str) -> None:
        """Write text of the result that must not be overlooked, wrapped."""
        for line in wrap(fitted(text, sys.stdout), self.width):
            click.echo(self._painted(line, _WARN), color=self.colour)

    def table(self, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Write a table fitted to the terminal, with the heads underlined."""
        rule = "─" if can_draw(sys.stdout.encoding) else "-"
        shown = [[fitted(cell, sys.stdout) for cell in row] for row in rows]
        lines = fit_columns([fitted(head, sys.stdout) for head in heads], shown, self.width, rule)
        for line in lines:
            self.line(line)

    def _painted(self, text: str, role: str) -> str:
        return f"\x1b[{role}m{text}\x1b[0m" if self.colour and text else text
