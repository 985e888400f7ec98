"""What Intel HEX and S-record lines share: hexadecimal digits to bytes, and every way they go wrong."""

import re
from collections.abc import Iterator
from typing import Final

from emu.errors import Problems, declare
from emu.where import Place, Source

NOT_A_RECORD: Final = declare(
    "not-a-record",
    "Every line of a record file is a record: `:` or `S` and a digit, then pairs of hexadecimal digits.",
    "Delete lines that are not records, or repair the damaged character from another copy.",
    ":0100000055AA\n:01000100Z5A9\n:00000001FF\n",
    "image",
)
CUT_SHORT: Final = declare(
    "record-length",
    "A record has as many bytes as its count says.",
    "The line was cut or two lines ran together: transfer the file again.",
    ":0400000055AA\n:00000001FF\n",
    "image",
)
CHECKSUM: Final = declare(
    "record-checksum",
    "The last byte of a record makes its sum right.",
    "At least one digit of the line is wrong: transfer it again; do not just correct the sum.",
    ":0100000055AB\n:00000001FF\n",
    "image",
)
KIND: Final = declare(
    "record-kind",
    "Only the record kinds of the format appear, each with the number of bytes it needs.",
    "A wrong digit that the sum does not show, or a file of another kind.",
    ":0100000955A1\n:00000001FF\n",
    "image",
)
NO_END: Final = declare(
    "record-end",
    "The last record, and only the last, is an end record.",
    "Lines may be missing at the end: transfer the file again. If it is whole, add the end record by hand.",
    ":0100000055AA\n",
    "image",
)
TOTAL: Final = declare(
    "record-total",
    "A count record says how many data records came before it.",
    "Data records are missing or doubled: transfer the file again.",
    "S104000055A6\nS5030002FA\nS9030000FC\n",
    "image",
)
MIXED: Final = declare(
    "record-end-kind",
    "The end record has the address size of the data records.",
    "Nothing was lost; the file was put together by hand or by an unusual writer.",
    "S104000055A6\nS804000000FB\n",
    "image",
)
SEGMENT_END: Final = declare(
    "record-crosses-segment",
    "A record without a linear base does not run over the end of its 64 KiB segment.",
    "Where its last bytes belong is not certain; split the record at the boundary.",
    ":02FFFF0055AA01\n:00000001FF\n",
    "image",
)


def lines(source: Source) -> Iterator[tuple[int, str]]:
    """Yield ``(number, text)`` of every line that is not blank, without blanks around it."""
    for number, text in enumerate(source.text.splitlines(), 1):
        if text.strip():
            yield number, text.strip()


def to_bytes(digits: str, column: int, number: int, problems: Problems) -> bytes | None:
    """Return the bytes of pairs of digits that start at ``column``, or None with the problem recorded."""
    file = problems.source.file
    wrong = re.search(r"[^0-9A-Fa-f]", digits)
    if wrong:
        place = Place(file, number, column + wrong.start())
        problems.add(NOT_A_RECORD, f"a record has hexadecimal digits, got {wrong[0]!r}: record lost", place)
        return None
    if len(digits) % 2:
        place = Place(file, number, column + len(digits) - 1)
        problems.add(CUT_SHORT, f"a record has pairs of digits, got {len(digits)} digits: record lost", place)
        return None
    return bytes.fromhex(digits)


def lost_bytes(address: int, count: int) -> str:
    """Say which file addresses a broken record would have given."""
    if count <= 0:
        return "record lost"
    last = address + count - 1
    return f"byte {address:04x} lost" if count == 1 else f"bytes {address:04x} to {last:04x} lost"
