"""Tables for the terminal: columns shrunk to a given width, cells wrapped, nothing cut."""

from collections.abc import Sequence

from faults.report.text import cells, wrap

_GAP = 2
_NARROWEST = 6


def fit_columns(heads: Sequence[str], rows: Sequence[Sequence[str]], width: int, rule: str) -> list[str]:
    """Return the lines of a table at most ``width`` columns wide; ``rule`` underlines the heads."""
    widths = _widths([heads, *rows], width)
    lines = _line(heads, widths)
    lines.append((" " * _GAP).join(rule * w for w in widths))
    for row in rows:
        lines += _line(row, widths)
    return lines


def _widths(rows: Sequence[Sequence[str]], width: int) -> list[int]:
    """Take from the widest column until the table fits; a column keeps its ``_NARROWEST``."""
    widths = [max((cells(cell) for cell in column), default=0) for column in zip(*rows, strict=True)]
    room = width - _GAP * (len(widths) - 1)
    while sum(widths) > room and max(widths) > _NARROWEST:
        widths[widths.index(max(widths))] -= 1
    return widths


def _line(row: Sequence[str], widths: Sequence[int]) -> list[str]:
    wrapped = [wrap(cell, w) for cell, w in zip(row, widths, strict=True)]
    height = max(len(cell) for cell in wrapped)
    out = []
    for index in range(height):
        parts = [
            _padded(cell[index] if index < len(cell) else "", w)
            for cell, w in zip(wrapped, widths, strict=True)
        ]
        out.append((" " * _GAP).join(parts).rstrip())
    return out


def _padded(text: str, width: int) -> str:
    return text + " " * (width - cells(text))
