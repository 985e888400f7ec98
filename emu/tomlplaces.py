"""Where every key and value of a TOML text stands.

The standard reader gives values without places, so this scanner walks the same text once more and
notes, for each key path, the span of the key and of the value. It reads no values: it may be lenient,
because the standard reader has already refused what is not TOML. Grammar: TOML v1.0.0.
"""

import re
import tomllib
from bisect import bisect_right

from attrs import define, field, frozen

TomlPath = tuple[str | int, ...]
"""Keys and array positions (from 0) from the top of the document down to a value."""

Span = tuple[int, int]
"""Offsets (from 0) of the first character and of the one after the last."""

MAX_DEPTH = 32
"""Longest key path accepted: dotted keys, tables, arrays and inline tables all count."""

_BARE = r"[A-Za-z0-9_-]+"
_ONE_LINE_STRING = r'"(?:[^"\\\n]|\\.)*+"|\'[^\'\n]*+\''
_SIMPLE = re.compile(  # the commonest line, read in one step: key = scalar
    rf"[ \t]*({_BARE})[ \t]*=[ \t]*"
    r"(\"[^\"\\\n]*\"(?!\")|'[^'\n]*'(?!')|[A-Za-z0-9+.:_-]+)"
    r"[ \t]*(?:\#[^\n]*)?(?:\r?\n|\Z)"
)
_SKIP = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_SPACE = re.compile(r"[ \t]*+")
_REST = re.compile(r"[ \t]*+(?:#[^\n]*+)?(?:\r?\n|\r?\Z)")
_KEY_PART = re.compile(rf"{_BARE}|{_ONE_LINE_STRING}")
_STRING = re.compile(
    r'"""(?:[^"\\]++|\\[\s\S]|"{1,2}+(?!"))*+"{3,5}+'
    r"|'''(?:[^']++|'{1,2}+(?!'))*+'{3,5}+"
    rf"|{_ONE_LINE_STRING}"
)
_SCALAR = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:[^\s,\]}#]*|[^\s,\]}#\[{\"'=]+")
_STRING_PIECE = re.compile(  # one character of a basic string as written, or a line folded away
    r"(?P<fold>\\[ \t]*\r?\n[ \t\r\n]*)|\\u[0-9A-Fa-f]{4}|\\U[0-9A-Fa-f]{8}|\\.|\r\n|[\s\S]"
)
_LITERAL_PIECE = re.compile(r"(?P<fold>(?!))|\r\n|[\s\S]")


@frozen
class _KeyPart:
    name: str
    span: Span


class _StopError(Exception):
    """The scan cannot go on; carries the offset where it stands."""

    def __init__(self, offset: int, *, deep: bool = False) -> None:
        self.offset = offset
        self.deep = deep
        super().__init__(offset)


@define
class PlaceIndex:
    """Spans of keys and values by path, and how far the scan came.

    A table's value is its header, an entry of an array of tables its own header; a table that is only
    implied has a key and no value. ``stopped`` is the offset where the text ceased to be readable, or
    None; ``too_deep`` says that a path longer than :data:`MAX_DEPTH` was the reason. ``last_path`` and
    ``last_span`` are the last key that was seen.
    """

    keys: dict[TomlPath, Span] = field(factory=dict)
    values: dict[TomlPath, Span] = field(factory=dict)
    stopped: int | None = None
    too_deep: bool = False
    last_path: TomlPath = ()
    last_span: Span = (0, 0)

    def nearest_value(self, path: TomlPath) -> Span | None:
        """Return the span of the value at ``path``, or of the closest thing that holds it."""
        for length in range(len(path), 0, -1):
            found = self.values.get(path[:length]) or self.keys.get(path[:length])
            if found:
                return found
        return None

    def first_definition(self) -> tuple[TomlPath, Span] | None:
        """Return the earlier thing that the last key seen collides with, if there is one."""
        for length in range(len(self.last_path), 0, -1):
            path = self.last_path[:length]
            found = self.keys.get(path)
            if found and found[0] < self.last_span[0]:
                return path, found
        return None


def scan(text: str, upto: int | None = None) -> PlaceIndex:
    """Return the places of ``text``, of the keys that start before offset ``upto`` if it is given.

    Takes time and memory in proportion to the text, whatever it holds, and raises nothing.
    """
    scanner = _Scanner(text, len(text) if upto is None else upto)
    index = scanner.index
    try:
        scanner.run()
    except _StopError as stop:
        index.stopped, index.too_deep = stop.offset, stop.deep
    return index


def line_starts(text: str) -> list[int]:
    """Return the offset of the first character of each line."""
    return [0, *(m.end() for m in re.finditer("\n", text))]


def line_and_column(starts: list[int], offset: int) -> tuple[int, int]:
    """Return line and column, both from 1, of an offset, given :func:`line_starts`."""
    line = bisect_right(starts, offset)
    return line, offset - starts[line - 1] + 1


def character_offset(literal: str, wanted: int) -> int:
    """Return where in a string ``literal``, quotes and all, character ``wanted`` of its value is written.

    Beyond the last character this is the closing quote.
    """
    quotes = 3 if literal[:3] in {'"""', "'''"} else 1
    position, end = quotes, len(literal) - quotes
    if quotes == 3:  # a line end directly after the opening quotes is not part of the value
        position += 2 if literal.startswith("\r\n", 3) else int(literal.startswith("\n", 3))
    pieces = _STRING_PIECE if literal[0] == '"' else _LITERAL_PIECE
    while position < end:
        piece = pieces.match(literal, position)
        if piece is None:
            break
        if piece["fold"] is None:
            if not wanted:
                break
            wanted -= 1
        position = piece.end()
    return min(position, end)


def _key_name(written: str) -> str:
    if written[0] not in "\"'":
        return written
    if written[0] == "'" or "\\" not in written:
        return written[1:-1]
    try:
        return str(tomllib.loads(f"k={written}")["k"])
    except tomllib.TOMLDecodeError:
        return written[1:-1]


@define
class _Scanner:
    text: str
    upto: int
    index: PlaceIndex = field(factory=PlaceIndex)
    table: TomlPath = ()
    entries: dict[TomlPath, int] = field(factory=dict)

    def run(self) -> None:
        """Read statements until the text ends."""
        position, end = _SKIP.match(self.text).end(), len(self.text)  # type: ignore[union-attr]
        while position < end:
            position = self.skip(self.statement(position))

    def skip(self, position: int) -> int:
        return _SKIP.match(self.text, position).end()  # type: ignore[union-attr]

    def space(self, position: int) -> int:
        return _SPACE.match(self.text, position).end()  # type: ignore[union-attr]

    def note_key(self, path: TomlPath, span: Span) -> None:
        if span[0] >= self.upto:
            raise _StopError(span[0])
        if len(path) > MAX_DEPTH:
            raise _StopError(span[0], deep=True)
        self.index.keys.setdefault(path, span)
        self.index.last_path, self.index.last_span = path, span

    def statement(self, position: int) -> int:
        if simple := _SIMPLE.match(self.text, position):
            path = (*self.table, simple[1])
            self.note_key(path, simple.span(1))
            self.index.values.setdefault(path, simple.span(2))
            return simple.end()
        position = self.space(position)
        header = self.text.startswith("[", position)
        after = self.header(position) if header else self.key_and_value(self.table, position)
        rest = _REST.match(self.text, after)
        if rest is None:
            raise _StopError(after)
        return rest.end()

    def key(self, position: int) -> tuple[list[_KeyPart], int]:
        parts: list[_KeyPart] = []
        while True:
            position = self.space(position)
            match = _KEY_PART.match(self.text, position)
            if match is None:
                raise _StopError(position)
            if len(parts) == MAX_DEPTH:
                raise _StopError(parts[0].span[0], deep=True)
            parts.append(_KeyPart(_key_name(match[0]), match.span()))
            position = self.space(match.end())
            if not self.text.startswith(".", position):
                return parts, position
            position += 1

    def header(self, start: int) -> int:
        brackets = 2 if self.text.startswith("[[", start) else 1
        parts, position = self.key(start + brackets)
        if not self.text.startswith("]" * brackets, position):
            raise _StopError(position)
        span = (start, position + brackets)
        path: TomlPath = ()
        for part in parts[:-1]:
            path = (*path, part.name)
            self.note_key(path, part.span)
            if path in self.entries:
                path = (*path, self.entries[path])
        path = (*path, parts[-1].name)
        self.note_key(path, parts[-1].span)
        self.index.values.setdefault(path, span)
        if brackets == 2:
            self.entries[path] = self.entries.get(path, -1) + 1
            path = (*path, self.entries[path])
            self.note_key(path, parts[-1].span)
            self.index.values[path] = span
        self.table = path
        return span[1]

    def key_and_value(self, base: TomlPath, position: int) -> int:
        parts, position = self.key(position)
        if not self.text.startswith("=", position):
            raise _StopError(position)
        path = base
        for part in parts:
            path = (*path, part.name)
            self.note_key(path, part.span)
        position = self.value(path, self.space(position + 1))
        if position <= self.upto:  # an inner key is the last one seen only while its table is open
            self.index.last_path, self.index.last_span = path, parts[-1].span
        return position

    def value(self, path: TomlPath, start: int) -> int:
        if len(path) > MAX_DEPTH:
            raise _StopError(start, deep=True)
        first = self.text[start : start + 1]
        if first == "[":
            end = self.items(path, start, "]")
        elif first == "{":
            end = self.items(path, start, "}")
        else:
            match = (_STRING if first in {'"', "'"} else _SCALAR).match(self.text, start)
            if match is None:
                raise _StopError(start)
            end = match.end()
        self.index.values.setdefault(path, (start, end))
        return end

    def items(self, path: TomlPath, start: int, closing: str) -> int:
        """Read what stands between the brackets of an array or an inline table."""
        position, count = self.skip(start + 1), 0
        while not self.text.startswith(closing, position):
            if position >= len(self.text):
                raise _StopError(start)
            if closing == "]":
                position = self.value((*path, count), position)
                count += 1
            else:
                position = self.key_and_value(path, position)
            position = self.skip(position)
            if self.text.startswith(",", position):
                position = self.skip(position + 1)
            elif not self.text.startswith(closing, position):
                raise _StopError(position if position < len(self.text) else start)
        return position + 1
