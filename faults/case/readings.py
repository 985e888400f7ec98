"""The two small files a case may name: a list of failing addresses, and captured transactions."""

import math
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from attrs import frozen

from emu.errors import Problems, declare, fail
from emu.where import Place, Source
from emu.words import WordFormat
from faults.case.forms import ADDRESSES_RULE, spell_addresses

MOST_BYTES: Final = 64 << 20

CANNOT_READ: Final = declare(
    "case-file-unreadable",
    "A file that a case names must exist beside it and be text.",
    "Check the name, and that the file was sent along with the case.",
)
BAD_ROW: Final = declare(
    "case-bad-row",
    "A row of captured transactions holds what the `columns` of its entry say.",
    "Correct the row, or the columns.",
)
BAD_LIST: Final = declare(
    "case-bad-address-list",
    "A list of failing addresses holds addresses and ranges, and remarks after #.",
    "Correct the line.",
)


@frozen
class Transaction:
    """One captured transaction. ``known`` is the mask of the bits of ``data`` that were read.

    ``time`` in the file's own unit, NaN if it has none; ``kind`` as written, "" if it has none.
    """

    time: float
    address: int
    data: int
    known: int
    kind: str
    line: int


def read_text(path: Path) -> Source:
    """Return the text of a file. InputError if it cannot be read, is too big or is no text."""
    try:
        with path.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
        if len(data) > MOST_BYTES:
            fail(CANNOT_READ, f"a file holds at most {MOST_BYTES:,} bytes; this one more", Place(str(path)))
        return Source(str(path), data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        fail(CANNOT_READ, f"the file must be UTF-8 text; byte {error.start} is not", Place(str(path)))
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        fail(CANNOT_READ, f"the file must be readable; the system says: {reason}", Place(str(path)))


def read_addresses(source: Source, form: WordFormat) -> tuple[tuple[int, int], ...]:
    """Return (first, last) of each range of a list of failing addresses.

    Addresses and ranges separated by blanks or commas, remarks after ``#``. InputError with every bad line.
    """
    problems, ranges = Problems(source), []
    for number, line in _lines(source):
        text = line.split("#", 1)[0]
        for found in re.finditer(r"[^\s,]+(?:\s*\.\.\s*[^\s,]+)?", text):
            place = Place(source.file, number, found.start() + 1, len(found[0]))
            try:
                ((one, other),) = spell_addresses(found[0])
                first, last = form.parse(one), form.parse(other)
            except ValueError as error:
                problems.add(BAD_LIST, str(error), place)
                continue
            if first > last:
                problems.add(BAD_LIST, f"a range runs upward; given {found[0]}", place)
            ranges.append((first, last))
    if not ranges:
        problems.add(BAD_LIST, f"the list must hold {ADDRESSES_RULE}; it holds none", Place(source.file))
    problems.raise_if_errors()
    return tuple(ranges)


def read_transactions(
    source: Source, columns: Sequence[str], address: WordFormat, word: WordFormat
) -> tuple[Transaction, ...]:
    """Return the transactions of a CSV file, in its order.

    ``columns``: what each holds: time, address, data, kind or ``-``. A first row without any digit is a
    heading. Separators are commas, semicolons or tabs. InputError with every bad row.
    """
    problems, found = Problems(source), []
    reader = _Reader(source, tuple(columns), address, word, problems)
    for number, line in _lines(source):
        if line.strip() and not (number == 1 and not re.search(r"\d", line)):
            one = reader.row(number, line)
            if one is not None:
                found.append(one)
    if not found and not problems.errors:
        problems.add(BAD_ROW, "a capture holds transactions; this one holds none", Place(source.file))
    problems.raise_if_errors()
    return tuple(found)


def _lines(source: Source) -> Iterator[tuple[int, str]]:
    return ((number, line.rstrip("\r")) for number, line in enumerate(source.text.split("\n"), 1))


@frozen
class _Reader:
    source: Source
    columns: tuple[str, ...]
    address: WordFormat
    word: WordFormat
    problems: Problems

    def row(self, number: int, line: str) -> Transaction | None:
        """Return the transaction of a row, or None after recording what is wrong with it.

        An address must be wholly known: who could not read it leaves the row out.
        """
        parts = re.split(r"[,;\t]", line)
        if len(parts) < len(self.columns):
            message = f"a row has {len(self.columns)} columns; given {len(parts)}"
            self.problems.add(BAD_ROW, message, Place(self.source.file, number, 1, max(len(line), 1)))
            return None
        cells = {name: part.strip() for name, part in zip(self.columns, parts, strict=False)}
        try:
            data, known = self.word.parse_masked(cells["data"]) if "data" in cells else (0, 0)
            where = self.address.parse(cells.get("address", ""))
            time = float(cells["time"]) if "time" in cells else math.nan
        except ValueError as error:
            self.problems.add(BAD_ROW, str(error), Place(self.source.file, number, 1, max(len(line), 1)))
            return None
        return Transaction(time, where, data, known, cells.get("kind", ""), number)
