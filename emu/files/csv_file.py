"""CSV: a row is an address and a word. Grammar: docs/reference/files.md."""

import re
from collections.abc import Iterator
from typing import Final

from attrs import define

from emu.errors import Problems, declare, nearest
from emu.files.gather import Gathering
from emu.files.layout import FileWord, ReadResult
from emu.files.listing import warn_if_cut
from emu.files.outgoing import masked_digits
from emu.image import MemoryImage
from emu.where import Place, Source
from emu.words import WordFormat

COLUMNS: Final = declare(
    "csv-columns",
    "The heading of a CSV file names the columns `address` and `word`, each once.",
    "Name these two columns; without a heading the first column is the address, the second the word.",
    "address,value\n0,1\n",
    "image",
)
IGNORED: Final = declare(
    "csv-column-ignored",
    "Columns other than `address` and `word` are not read.",
    "Nothing of the image is lost; delete the column if it disturbs.",
    "address,word,note\n0,1,x\n",
    "image",
)
ROW: Final = declare(
    "csv-row",
    "Every row of a CSV file has as many fields as its heading, separated by commas.",
    "Add what is missing; quote a field that holds a comma.",
    "address,word\n0\n",
    "image",
)
FIELD: Final = declare(
    "csv-number",
    "Addresses and words are digits of the stated base, or of another after 0b, 0o or 0x.",
    "Correct the number; a spreadsheet may have turned it into a decimal fraction or a power.",
    "address,word\n0,1E+05\n",
    "image",
)

_FIELD: Final = re.compile(r'\s*(?:"([^"]*)"|([^,"]*))\s*(?:,|$)')


def split(text: str) -> list[tuple[str, int]] | None:
    """Return the fields of a row with their columns (from 1), or None if a quote is out of place."""
    fields: list[tuple[str, int]] = []
    at = 0
    while True:
        match = _FIELD.match(text, at)
        if not match:
            return None
        group = 1 if match[1] is not None else 2
        fields.append((match[group].strip(), match.start(group) + 1))
        at = match.end()
        if not match[0].endswith(","):
            return fields


@define
class _Reader:
    gathering: Gathering
    problems: Problems
    address: int = 0
    word: int = 1
    columns: int = 0

    def heading(self, fields: list[tuple[str, int]], number: int) -> bool:
        """Take a heading, if these fields are one; problems of its names are recorded."""
        if not any(re.search(r"[g-z]", text, re.IGNORECASE) for text, _ in fields) or _numbers(fields):
            self.columns = 2
            return False
        names = [text.lower() for text, _ in fields]
        self.columns = len(names)
        for wanted in ("address", "word"):
            if names.count(wanted) != 1:
                place = Place(self.problems.source.file, number)
                got = ", ".join(names)
                hint = next(
                    (h for h in (nearest(n, [wanted]) for n in names) if h and wanted not in names), ""
                )
                self.problems.add(
                    COLUMNS, f"the heading has one column {wanted!r}, got {got}", place, hint=hint
                )
        self.problems.raise_if_errors()
        self.address, self.word = names.index("address"), names.index("word")
        for index, (text, column) in enumerate(fields):
            if index not in {self.address, self.word}:
                place = Place(self.problems.source.file, number, column, len(text) or 1)
                message = f"only address and word are read, got a column {text!r}"
                self.problems.add(IGNORED, message, place, severity="warning")
        return True

    def row(self, fields: list[tuple[str, int]], number: int) -> None:
        if len(fields) != self.columns:
            message = f"a row has {self.columns} fields, got {len(fields)}: row lost"
            hint = "" if len(fields) > 1 else _separator(fields[0][0])
            self.problems.add(ROW, message, Place(self.problems.source.file, number), hint=hint)
            return
        word = self.gathering.word
        address = self._number(fields[self.address], number, WordFormat(128, base=word.base))
        value = self._number(fields[self.word], number, word.text)
        if address and value:
            if address[1] != (1 << 128) - 1:
                place = Place(self.problems.source.file, number, fields[self.address][1])
                self.problems.add(FIELD, "an address is wholly known, got ?: row lost", place)
                return
            place = Place(self.problems.source.file, number, fields[self.word][1])
            self.gathering.put(address[0], *value, place)

    def _number(self, field: tuple[str, int], number: int, form: WordFormat) -> tuple[int, int] | None:
        text, column = field
        try:
            return form.parse_masked(text)
        except ValueError as error:
            place = Place(self.problems.source.file, number, column, len(text) or 1)
            self.problems.add(FIELD, f"{error}: row lost", place)
            return None


def _numbers(fields: list[tuple[str, int]]) -> bool:
    """Say whether the fields look like numbers, so that the row is no heading."""
    return all(re.match(r"[0-9?]", text) for text, _ in fields)


def _separator(text: str) -> str:
    other = next((name for mark, name in ((";", "a semicolon"), ("\t", "a tab")) if mark in text), "")
    return f"fields are separated by a comma, here by {other}" if other else ""


def _rows(source: Source) -> Iterator[tuple[int, str]]:
    for number, text in enumerate(source.text.splitlines(), 1):
        if text.strip() and not text.lstrip().startswith("#"):
            yield number, text


def read(source: Source, word: FileWord) -> ReadResult:
    """Read CSV; InputError with all problems of the file."""
    problems = Problems(source)
    gathering = Gathering(word, problems)
    reader = _Reader(gathering, problems)
    for number, text in _rows(source):
        fields = split(text)
        if fields is None:
            place = Place(source.file, number, text.find('"') + 1)
            problems.add(ROW, "a quote encloses a whole field, got one out of place: row lost", place)
        elif reader.columns or not reader.heading(fields, number):
            reader.row(fields, number)
    warn_if_cut(source, problems)
    return ReadResult(gathering.finish(), word, "csv", problems.warnings)


def write(image: MemoryImage, word: FileWord, file: str = "csv") -> str:
    """Return a heading and a row per word, numbers with their base.

    InputError if a digit is only partly known (base 2 says all) or check bits would be lost.
    """
    texts = masked_digits(image, word, file)
    tag = {2: "0b", 8: "0o", 10: "", 16: "0x"}[word.base]
    rows = [f"{word.tagged(address)},{tag}{text}" for address, text in texts.items()]
    return "\n".join(["address,word", *rows]) + "\n"
