"""S-record: S1, S2 and S3 data records with 16-, 24- or 32-bit addresses."""

from typing import Final

from attrs import define, field

from emu.errors import Problems
from emu.files.byte_words import Chunk, highest, put_chunks, to_chunks
from emu.files.gather import Gathering, counted
from emu.files.layout import FileWord, ReadResult
from emu.files.records import (
    CHECKSUM,
    CUT_SHORT,
    KIND,
    MIXED,
    NO_END,
    NOT_A_RECORD,
    TOTAL,
    lines,
    lost_bytes,
    to_bytes,
)
from emu.image import MemoryImage
from emu.where import Place, Source

RECORD_BYTES: Final = 16
_ADDRESS_BYTES: Final = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}


@define
class _Reader:
    problems: Problems
    ended: bool = False
    counted: bool = False  # the last record was a count, and right
    entry: int | None = None
    title: str = ""
    data_kinds: set[int] = field(factory=set)
    data_lines: int = 0
    chunks: list[Chunk] = field(factory=list)

    def line(self, number: int, text: str) -> None:
        place = Place(self.problems.source.file, number, 1, len(text))
        if self.ended:
            self.problems.add(NO_END, "nothing follows the end record, got another line: lost", place)
            return
        if text[0] not in "Ss" or not (text[1:2].isascii() and text[1:2].isdigit()):
            got = text[:2]
            self.problems.add(
                NOT_A_RECORD, f"a record starts with S and a digit, got {got!r}: line lost", place
            )
            return
        kind = int(text[1])
        self.counted = False
        self.data_lines += kind in {1, 2, 3}
        data = to_bytes(text[2:], 3, number, self.problems)
        if kind not in _ADDRESS_BYTES:
            self.problems.add(KIND, f"record kinds are S0 to S9 without S4, got S{kind}: record lost", place)
        elif data is not None and self._whole(kind, data, place):
            split = 1 + _ADDRESS_BYTES[kind]
            self._record(kind, int.from_bytes(data[1:split], "big"), data[split:-1], place)

    def _whole(self, kind: int, data: bytes, place: Place) -> bool:
        """Check count and sum; record what is lost if they are wrong."""
        least = _ADDRESS_BYTES[kind] + 1
        if not data or data[0] != len(data) - 1 or data[0] < least:
            says, given = (data[0] if data else 0), max(len(data) - 1, 0)
            if says == given:
                message = f"an S{kind} record counts {least} bytes or more, got {says}: record lost"
            else:
                message = f"the record says {says} bytes, got {given}: {self._lost(kind, data)}"
            self.problems.add(CUT_SHORT, message, place)
            return False
        if (sum(data) & 0xFF) != 0xFF:
            right = ~sum(data[:-1]) & 0xFF
            message = f"the record's sum byte is {right:02X}, got {data[-1]:02X}: {self._lost(kind, data)}"
            self.problems.add(CHECKSUM, message, place)
            return False
        return True

    def _lost(self, kind: int, data: bytes) -> str:
        size = _ADDRESS_BYTES[kind]
        if kind not in {1, 2, 3} or len(data) <= size:
            return "record lost"
        return lost_bytes(int.from_bytes(data[1 : 1 + size], "big"), data[0] - size - 1)

    def _record(self, kind: int, address: int, data: bytes, place: Place) -> None:
        if kind in {1, 2, 3}:
            self.data_kinds.add(kind)
            if data:
                self.chunks.append(Chunk(address, data, place))
        elif kind == 0:
            self.title = data.rstrip(b"\0 ").decode("ascii", "replace")
        elif data:
            self.problems.add(
                KIND, f"an S{kind} record has no data, got {counted(len(data), 'byte')}: record lost", place
            )
        elif kind in {5, 6}:
            self._total(address, place)
        else:
            self._end(kind, address, place)

    def _total(self, said: int, place: Place) -> None:
        if said != self.data_lines:
            self.problems.add(TOTAL, f"the file says {said} data records, got {self.data_lines}", place)
        self.counted = said == self.data_lines

    def no_end(self, place: Place) -> None:
        """Record that there is no end record; if a right count stands last, nothing can be missing."""
        if self.counted:
            message = "the last record is S7, S8 or S9, got a count, which is right: nothing is lost"
            self.problems.add(NO_END, message, place, severity="warning")
        else:
            self.problems.add(
                NO_END, "the last record is S7, S8 or S9, got none: what followed is lost", place
            )

    def _end(self, kind: int, address: int, place: Place) -> None:
        self.ended, self.entry = True, address
        if self.data_kinds and self.data_kinds != {10 - kind}:
            kinds = ", ".join(f"S{k}" for k in sorted(self.data_kinds))
            message = f"an S{kind} record ends a file of S{10 - kind} records, got {kinds}"
            self.problems.add(MIXED, message, place, severity="warning")


def read(source: Source, word: FileWord) -> ReadResult:
    """Read S-records; InputError with all problems of the file.

    An end record with address 0 names no start address, for most writers put 0 where they know none.
    """
    problems = Problems(source)
    reader = _Reader(problems)
    number = 0
    for number, text in lines(source):
        reader.line(number, text)
    if not reader.ended:
        reader.no_end(Place(source.file, number))
    gathering = Gathering(word, problems)
    put_chunks(gathering, reader.chunks)
    entry = reader.entry // word.unit if reader.entry else None
    image = gathering.finish()
    return ReadResult(image, word, "s-record", problems.warnings, entry=entry, title=reader.title)


def record(kind: int, address: int, data: bytes) -> str:
    """Return one record with its sum."""
    size = _ADDRESS_BYTES[kind]
    body = bytes((size + len(data) + 1,)) + address.to_bytes(size, "big") + data
    return f"S{kind}{body.hex().upper()}{~sum(body) & 0xFF:02X}"


def write(image: MemoryImage, word: FileWord, file: str = "s-record") -> str:
    """Return the image in records of up to 16 data bytes, with a count and an end record.

    The shortest addresses that suffice are used. InputError if a bit is not known.
    """
    chunks = to_chunks(image, word, file, RECORD_BYTES)
    top = highest(chunks)
    kind = 1 if top <= 0xFFFF else 2 if top <= 0xFFFFFF else 3
    out = [record(kind, chunk.address, chunk.data) for chunk in chunks]
    if len(out) <= 0xFFFFFF:
        out.append(record(5 if len(out) <= 0xFFFF else 6, len(out), b""))
    return "\n".join([*out, record(10 - kind, 0, b"")]) + "\n"
