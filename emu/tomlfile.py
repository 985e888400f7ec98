"""TOML files: values, and the place of every key and value.

The one module that opens and reads TOML. Values come from the standard library's reader; places from
:mod:`emu.tomlplaces`, worked out only when an error has to be reported. A hostile file can neither hang
nor exhaust memory: size, nesting, number of values and size of integers are bounded by the constants below.
"""

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NoReturn

from attrs import define, field

from emu.errors import InputError, Note, Problem, declare, fail
from emu.tomladvice import advice
from emu.tomlplaces import (
    MAX_DEPTH,
    PlaceIndex,
    Span,
    TomlPath,
    character_offset,
    line_and_column,
    line_starts,
    scan,
)
from emu.where import Place, Source

__all__ = [
    "MAX_BYTES",
    "MAX_DEPTH",
    "MAX_INTEGER_BITS",
    "MAX_VALUES",
    "TomlDocument",
    "TomlPath",
    "parse",
    "read",
]

MAX_BYTES = 1 << 20
"""Largest file accepted, in bytes of UTF-8."""

MAX_VALUES = 100_000
"""Most keys and array elements accepted in one file, tables included."""

MAX_INTEGER_BITS = 128
"""Widest integer accepted; words have at most 64 bits, check bits come on top."""

CANNOT_READ = declare(
    "cannot-read-file",
    "An input file must exist and be readable.",
    "Check the name and the folder it is looked up from, and that you may read it.",
    "no-such-folder/no-such-file.toml",
    "file-name",
)
# The codes about sheer size, and the one about bytes that are no text, have no example worth printing.
FILE_TOO_BIG = declare(
    "file-too-big",
    f"A TOML file may hold at most {MAX_BYTES:,} bytes.",
    "Keep bulk data such as dumps in image files and name them from the TOML file.",
)
NOT_UTF8 = declare(
    "not-utf8",
    "A TOML file is text in UTF-8.",
    "Save the file again as UTF-8; if it is not text at all, the wrong file was named.",
)
SYNTAX = declare(
    "toml-syntax",
    "The file must be valid TOML, version 1.0.0.",
    "Mend the line shown; strings need quotes, and a key is written `key = value`.",
    "name = fulmar\n",
    "toml",
)
DUPLICATE_KEY = declare(
    "duplicate-key",
    "A key or table may be given only once.",
    "Remove or rename one of the two; entries of a list of tables have double brackets.",
    "[word]\nbits = 16\nbits = 12\n",
    "toml",
)
TOO_DEEP = declare(
    "nesting-too-deep",
    f"Keys, tables and arrays may be nested at most {MAX_DEPTH} deep.",
    "Write the data flatter.",
    "a = " + "[" * (MAX_DEPTH + 1) + "]" * (MAX_DEPTH + 1) + "\n",
    "toml",
)
TOO_MANY = declare(
    "too-many-values",
    f"A TOML file may hold at most {MAX_VALUES:,} keys and array elements.",
    "Keep bulk data such as dumps in image files and name them from the TOML file.",
)
INTEGER_TOO_BIG = declare(
    "integer-too-big",
    f"An integer may have at most {MAX_INTEGER_BITS} bits.",
    "Check the digits; words of a machine have at most 64 bits.",
    f"a = {1 << MAX_INTEGER_BITS}\n",
    "toml",
)

_WHERE = re.compile(r"(?s)(.*) \(at (?:line (\d+), column (\d+)|end of document)\)\Z")
_COLLISION = re.compile(r"Cannot |Duplicate inline table key")
_MOST_UNDERLINED = 80
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


@define(eq=False)
class TomlDocument:
    """A TOML text that was read: ``root`` holds plain dicts, lists and scalars.

    A path is a tuple of keys and array positions from 0: ``("register", 2, "bits")``.
    """

    source: Source
    root: dict[str, Any]
    _index: PlaceIndex | None = field(default=None, init=False, repr=False)
    _starts: list[int] | None = field(default=None, init=False, repr=False)

    @property
    def index(self) -> PlaceIndex:
        """The places, worked out on first use."""
        if self._index is None:
            self._index = scan(self.source.text)
        return self._index

    def value(self, path: TomlPath) -> Any:
        """Return the value at ``path``; KeyError if there is none."""
        node: Any = self.root
        for step in path:
            try:
                node = node[step]
            except (KeyError, IndexError, TypeError):
                raise KeyError(path) from None
        return node

    def place(self, path: TomlPath) -> Place:
        """Return the place of the value at ``path``, or of the closest thing that holds it.

        For a table this is its header. The place of the document itself is its first character.
        """
        return self._place(self.index.nearest_value(path))

    def key_place(self, path: TomlPath) -> Place:
        """Return the place of the key at ``path``; of the value where there is no key (an array element)."""
        return self._place(self.index.keys.get(path) or self.index.nearest_value(path))

    def literal(self, path: TomlPath) -> str:
        """Return the value at ``path`` as it is written in the file, or "" if it is not written there."""
        start, end = self.index.values.get(path, (0, 0))
        return self.source.text[start:end]

    def string_place(self, path: TomlPath, offset: int, length: int = 1) -> Place:
        """Return the place of character ``offset`` (from 0) of the string value at ``path``.

        Escapes, folded lines and Windows line ends are allowed for; an offset beyond the string gives
        its closing quote. If the value is no string, its place. ``length`` is cut at the end of the line.
        """
        literal = self.literal(path)
        if literal[:1] not in {'"', "'"}:
            return self.place(path)
        start, end = self.index.values[path]
        first = start + character_offset(literal, max(offset, 0))
        last = start + character_offset(literal, max(offset, 0) + max(length, 1))
        return self._place((first, min(last, end)))

    def _place(self, span: Span | None) -> Place:
        if self._starts is None:
            self._starts = line_starts(self.source.text)
        return _spanned(self.source, self._starts, span or (0, 1))


def read(path: Path | str) -> TomlDocument:
    """Read a TOML file. Raises InputError if it cannot be read, is too big, not UTF-8 or not TOML."""
    file = str(path)
    try:
        with Path(path).open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        fail(CANNOT_READ, f"the file must be readable; the system says: {reason}", Place(file))
    return parse_bytes(file, data)


def parse_bytes(file: str, data: bytes) -> TomlDocument:
    """Read TOML from the bytes of a file; ``file`` is the name shown in errors. Raises as :func:`read`."""
    if len(data) > MAX_BYTES:
        fail(
            FILE_TOO_BIG,
            f"a TOML file may hold at most {MAX_BYTES:,} bytes; this one holds more",
            Place(file),
        )
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        _not_utf8(file, data, error.start)
    return parse(Source(file, text.removeprefix("\ufeff")))


def parse(source: Source) -> TomlDocument:
    """Read TOML from text. Raises InputError with the place if it is not TOML or exceeds a bound."""
    text = source.text
    if len(text) > MAX_BYTES or len(text.encode("utf-8", "surrogatepass")) > MAX_BYTES:
        fail(FILE_TOO_BIG, f"a TOML text may hold at most {MAX_BYTES:,} bytes", Place(source.file))
    # The standard reader takes time in the square of a dotted key's length: look before it does.
    if any(line.count(".") >= MAX_DEPTH for line in text.split("\n")):
        _refuse_depth(source)
    try:
        root = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        _syntax_error(source, str(error))
    except RecursionError:
        _refuse_depth(source)
        raise
    except ValueError:  # the interpreter's own bound on decimal digits
        _refuse_digits(source)
        raise
    document = TomlDocument(source, root)
    _check_bounds(document)
    return document


def _spanned(source: Source, starts: list[int], span: Span) -> Place:
    """Return the place of a span, its length cut at the end of its first line."""
    line, column = line_and_column(starts, span[0])
    line_end = starts[line] - 1 if line < len(starts) else len(source.text)
    return Place(
        source.file, line, column, max(1, min(span[1], line_end, span[0] + _MOST_UNDERLINED) - span[0])
    )


def _fail_at(source: Source, span: Span) -> tuple[Place, str]:
    place = _spanned(source, line_starts(source.text), span)
    return place, source.excerpt(place)


def _not_utf8(file: str, data: bytes, offset: int) -> NoReturn:
    line = data.count(b"\n", 0, offset) + 1
    start = data.rfind(b"\n", 0, offset) + 1
    column = len(data[start:offset].decode("utf-8")) + 1
    utf16 = data.startswith(_UTF16_MARKS)
    hint = "this looks like UTF-16: save it as UTF-8" if utf16 else "save the file as UTF-8"
    message = f"a TOML file must be UTF-8 text; byte {offset} (from 0) is 0x{data[offset]:02x}"
    fail(NOT_UTF8, message, Place(file, line, column), hint=hint)


def _refuse_depth(source: Source) -> None:
    index = scan(source.text)
    if index.too_deep and index.stopped is not None:
        place, line = _fail_at(source, (index.stopped, index.stopped + 1))
        fail(TOO_DEEP, f"nesting may be at most {MAX_DEPTH} deep; this goes deeper", place, source_line=line)


def _refuse_digits(source: Source) -> None:
    for start, end in scan(source.text).values.values():
        digits = source.text[start:end].replace("_", "").lstrip("+-")
        if digits.isdecimal() and _is_too_long(digits):
            _refuse_integer(source, (start, end), f"{len(digits):,} digits")


def _is_too_long(digits: str) -> bool:
    """Tell whether a decimal integer has more digits than any that would be accepted."""
    return len(digits) > MAX_INTEGER_BITS


def _refuse_integer(source: Source, span: Span, given: str) -> NoReturn:
    place, line = _fail_at(source, span)
    message = f"an integer may have at most {MAX_INTEGER_BITS} bits; this one has {given}"
    fail(INTEGER_TOO_BIG, message, place, source_line=line)


def _walk(root: dict[str, Any]) -> Iterator[tuple[TomlPath, Any]]:
    """Yield every path and value of a document, without recursion."""
    waiting: list[tuple[TomlPath, Any]] = [((), root)]
    while waiting:
        path, node = waiting.pop()
        items = node.items() if isinstance(node, dict) else enumerate(node)
        for step, value in items:
            inner = (*path, step)
            yield inner, value
            if isinstance(value, dict | list):
                waiting.append((inner, value))


def _check_bounds(document: TomlDocument) -> None:
    """Refuse what the standard reader took and we do not."""
    source = document.source
    for count, (path, value) in enumerate(_walk(document.root), 1):
        if len(path) > MAX_DEPTH:
            _refuse_depth(source)
        if count > MAX_VALUES:
            message = f"a TOML file may hold at most {MAX_VALUES:,} values; this one holds more"
            fail(TOO_MANY, message, Place(source.file, 1, 1))
        if type(value) is int and value.bit_length() > MAX_INTEGER_BITS:
            span = document.index.values.get(path, (0, 1))
            _refuse_integer(source, span, f"{value.bit_length():,} bits")


def _syntax_error(source: Source, said: str) -> NoReturn:
    match = _WHERE.match(said)
    message, line, column = (match[1], match[2], match[3]) if match else (said, None, None)
    starts = line_starts(source.text)
    end = len(source.text.rstrip())
    offset = starts[int(line) - 1] + int(column) - 1 if line and column else end
    if _COLLISION.match(message):
        _collision(source, starts, offset, at_end=not line)
    place = _spanned(source, starts, (offset, offset + 1))
    notes = () if line else _left_open(source, starts)
    text = source.excerpt(place)
    told = f"the file must be valid TOML: {message[:1].lower()}{message[1:160]}"
    raise InputError(
        [Problem(SYNTAX, told, place, advice(message, source.line(place.line), place.column), notes, text)]
    )


def _left_open(source: Source, starts: list[int]) -> tuple[Note, ...]:
    """Say where the string or bracket began that runs into the end of the file."""
    stopped = scan(source.text).stopped
    if stopped is None or source.text[stopped : stopped + 1] not in {"[", "{", '"', "'"}:
        return ()
    return (Note("opened here and never closed", _spanned(source, starts, (stopped, stopped + 1))),)


def _collision(source: Source, starts: list[int], offset: int, *, at_end: bool) -> NoReturn:
    """Report a key or table given twice, with the place of the first."""
    index = scan(source.text, len(source.text) if at_end else offset)
    first = index.first_definition()
    path = first[0] if first else index.last_path
    place = _spanned(source, starts, index.last_span)
    notes = (Note("first given here", _spanned(source, starts, first[1])),) if first else ()
    dotted = ".".join(str(step) for step in path if isinstance(step, str))[:80]
    message = f"a key or table may be given only once; {dotted!r} is given again"
    hint = "entries of a list of tables have double brackets: [[name]]"
    is_header = source.line(place.line).lstrip().startswith("[")
    text = source.excerpt(place)
    raise InputError([Problem(DUPLICATE_KEY, message, place, hint if is_header else "", notes, text)])
