"""Image files: octal, hexadecimal and binary listings, raw bytes, Intel HEX, S-record and CSV.

Every format is read into, and written from, an image of words of 4 to 64 data bits (check bits
or not) by the statement in :class:`emu.files.layout.FileWord`. Nothing is lost without a problem that names
the line and what was lost.
"""

import re
from pathlib import PurePath
from typing import Final

from attrs import evolve

from emu.errors import Problem, declare, fail, nearest
from emu.files import csv_file, intel_hex, listing, raw, s_record
from emu.files.gather import EMPTY
from emu.files.layout import FORMATS, FileWord, FormatName, ReadResult
from emu.image import MemoryImage
from emu.where import Place, Source

NOT_TEXT: Final = declare(
    "not-text",
    "A listing, Intel HEX, S-record or CSV file is text in UTF-8.",
    "Read it as raw bytes, or repair the damaged bytes.",
)
UNKNOWN_FORMAT: Final = declare(
    "format-unknown",
    "The format of an image file is told by its content, by the ending of its name, or by hand.",
    "State the format: listing, raw, intel-hex, s-record or csv.",
    "Dear friends, here is my dump!\n",
    "image",
)
FORMAT_DIFFERS: Final = declare(
    "format-differs",
    "The ending of a file's name agrees with its content.",
    "The content was believed. State the format if that was wrong.",
)

TITLES: Final[dict[FormatName, str]] = {
    "listing": "a listing",
    "raw": "raw bytes",
    "intel-hex": "Intel HEX",
    "s-record": "S-record",
    "csv": "CSV",
}
ENDINGS: Final[dict[str, FormatName]] = {
    **dict.fromkeys((".lst", ".oct", ".txt", ".listing"), "listing"),
    **dict.fromkeys((".bin", ".raw", ".img"), "raw"),
    **dict.fromkeys((".hex", ".ihex", ".ihx"), "intel-hex"),
    **dict.fromkeys((".s19", ".s28", ".s37", ".srec", ".mot"), "s-record"),
    ".csv": "csv",
}
_LOOKS: Final[dict[FormatName, re.Pattern[str]]] = {
    "intel-hex": re.compile(r"\s*:[0-9A-Fa-f]{8}"),
    "s-record": re.compile(r"\s*S[0-9][0-9A-Fa-f]{6}"),
    "csv": re.compile(
        r"\s*\"?(0[box])?[0-9A-Fa-f?_]+\"?\s*,|.*\baddress\b.*,|.*,.*\baddress\b", re.IGNORECASE
    ),
    "listing": re.compile(r"\s*(words\b|\*\s*$|[0-9A-Fa-f]+\s*:|[0-9A-Fa-f?]+(\s+[0-9A-Fa-f?]+)*\s*(;|$))"),
}
_SAMPLE_LINES: Final = 200
_TEXT_CONTROLS: Final = frozenset("\t\r\n\f")


def _decode(data: bytes) -> str | None:
    """Return the text of bytes, or None if they are none."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return None
    return None if any(c < " " and c not in _TEXT_CONTROLS for c in text) else text


def guess_format(name: str, data: bytes) -> tuple[FormatName, str]:
    """Return the format that a file is most likely in, and the sentence that says why.

    Lines are counted by what they look like; the ending of the name decides only for raw bytes and where
    no line looks like anything. InputError if neither tells.
    """
    named = ENDINGS.get(PurePath(name).suffix.lower())
    text = _decode(data)
    if named == "raw":
        return "raw", f"the name ends in {PurePath(name).suffix}"
    if text is None:
        return "raw", "it is not text"
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith((";", "#"))]
    sample = lines[:_SAMPLE_LINES]
    votes = {form: sum(bool(look.match(line)) for line in sample) for form, look in _LOOKS.items()}
    best = max(votes, key=votes.__getitem__)
    if votes[best]:
        return best, f"{votes[best]} of {len(sample)} lines look like it"
    if named is None and not lines:
        fail(EMPTY, "an image file holds at least one word, got none", Place(name))
    if named is None:
        message = "a file is one of the known formats, got one that looks like none of them"
        place = Place(name, text.splitlines().index(lines[0]) + 1)
        fail(UNKNOWN_FORMAT, message, place, hint="state the format", source_line=lines[0][:80])
    return named, f"the name ends in {PurePath(name).suffix}"


def _text(name: str, data: bytes, form: FormatName) -> Source:
    try:
        return Source(name, data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = f"{TITLES[form]} is UTF-8 text, got the byte {data[error.start]:02x}"
        fail(NOT_TEXT, message, Place(name, line), hint="read it as raw bytes")


def read_image(
    name: str, data: bytes, word: FileWord | None = None, as_format: str | None = None
) -> ReadResult:
    """Read the image file ``data`` called ``name``; the result says in ``how`` why it was read as it was.

    ``word`` may be None only for a listing that states its own. InputError with every problem of the file.
    """
    if as_format is None:
        form, how = guess_format(name, data)
    else:
        form, how = _known(as_format), "as asked"
    result = _read(name, data, word, form)
    named = ENDINGS.get(PurePath(name).suffix.lower())
    warnings = result.warnings
    if as_format is None and named not in {None, form} and PurePath(name).suffix.lower() != ".txt":
        message = f"the name ends in {PurePath(name).suffix} but the content looks like {TITLES[form]}: {how}"
        warnings += (Problem(FORMAT_DIFFERS, message, Place(name), severity="warning"),)
    return evolve(result, how=f"read as {TITLES[form]}: {how}", warnings=warnings)


def _known(as_format: str) -> FormatName:
    for form in FORMATS:
        if form == as_format:
            return form
    raise ValueError(
        f"a format is one of {', '.join(FORMATS)}, got {as_format!r} {nearest(as_format, FORMATS)}"
    )


def _read(name: str, data: bytes, word: FileWord | None, form: FormatName) -> ReadResult:
    if form == "listing":
        return listing.read(_text(name, data, form), word)
    if word is None:
        fail(listing.UNSTATED, f"the word size is stated, got none for {TITLES[form]}", Place(name))
    if form == "raw":
        return raw.read(data, word, name)
    readers = {"intel-hex": intel_hex.read, "s-record": s_record.read, "csv": csv_file.read}
    return readers[form](_text(name, data, form), word)


def write_image(image: MemoryImage, as_format: str, word: FileWord, file: str = "image") -> bytes:
    """Return the image as a file; ``file`` names it in problems.

    InputError if the format cannot carry all that the image says; ValueError for an unknown format.
    """
    form = _known(as_format)
    if form == "raw":
        return raw.write(image, word, file)
    writers = {
        "listing": listing.write,
        "intel-hex": intel_hex.write,
        "s-record": s_record.write,
        "csv": csv_file.write,
    }
    return writers[form](image, word, file).encode("ascii")
