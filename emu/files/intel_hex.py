"""Intel HEX: records of bytes with 16-bit addresses, extended by segment (02) or linear base (04) records."""

from collections.abc import Iterator

from attrs import define, field

from emu.errors import Problems
from emu.files.byte_words import Chunk, put_chunks, to_chunks
from emu.files.gather import Gathering
from emu.files.layout import FileWord, ReadResult
from emu.files.records import (
    CHECKSUM,
    CUT_SHORT,
    KIND,
    NO_END,
    NOT_A_RECORD,
    SEGMENT_END,
    lines,
    lost_bytes,
    to_bytes,
)
from emu.image import MemoryImage
from emu.where import Place, Source

RECORD_BYTES = 16
_SIZES = {0x01: 0, 0x02: 2, 0x03: 4, 0x04: 2, 0x05: 4}
_NAMES = {0x01: "end", 0x02: "segment base", 0x03: "segment start", 0x04: "linear base", 0x05: "linear start"}


@define
class _Reader:
    problems: Problems
    per_address: int = 1  # bytes that one address of the file stands for
    base: int = 0
    linear: bool = False
    ended: bool = False
    entry: int | None = None
    chunks: list[Chunk] = field(factory=list)

    def line(self, number: int, text: str) -> None:
        place = Place(self.problems.source.file, number, 1, len(text))
        if self.ended:
            self.problems.add(NO_END, "nothing follows the end record, got another line: lost", place)
            return
        if not text.startswith(":"):
            self.problems.add(NOT_A_RECORD, f"a record starts with ':', got {text[:1]!r}: line lost", place)
            return
        data = to_bytes(text[1:], 2, number, self.problems)
        if data is not None and self._whole(data, place):
            self._record(int.from_bytes(data[1:3], "big"), data[3], data[4:-1], place)

    def _whole(self, data: bytes, place: Place) -> bool:
        """Check count and sum; record what is lost if they are wrong."""
        if len(data) < 5 or len(data) != data[0] + 5:
            given = len(data) - 5
            says = data[0] if data else 0
            lost = self._lost(data, says) if len(data) >= 4 else "record lost"
            got = f"{given}" if given >= 0 else "no whole record"
            self.problems.add(CUT_SHORT, f"the record says {says} data bytes, got {got}: {lost}", place)
            return False
        wrong = sum(data) & 0xFF
        if wrong:
            right = -sum(data[:-1]) & 0xFF
            message = f"the record's sum byte is {right:02X}, got {data[-1]:02X}: {self._lost(data, data[0])}"
            self.problems.add(CHECKSUM, message, place)
            return False
        return True

    def _lost(self, data: bytes, count: int) -> str:
        address = self.base + int.from_bytes(data[1:3], "big")
        return lost_bytes(address, count if data[3] == 0 else 0)

    def _record(self, offset: int, kind: int, data: bytes, place: Place) -> None:
        if kind == 0:
            self._data(offset, data, place)
        elif kind not in _SIZES:
            self.problems.add(KIND, f"record kinds are 00 to 05, got {kind:02X}: record lost", place)
        elif len(data) != _SIZES[kind]:
            rule = f"a {_NAMES[kind]} record has {_SIZES[kind]} bytes, got {len(data)}: record lost"
            self.problems.add(KIND, rule, place)
        else:
            self._control(kind, int.from_bytes(data, "big"))

    def _data(self, offset: int, data: bytes, place: Place) -> None:
        if not self.linear and offset + -(-len(data) // self.per_address) > 0x10000:
            end = self.base + 0xFFFF
            lost = lost_bytes(self.base + offset, len(data))
            self.problems.add(
                SEGMENT_END, f"the segment ends at {end:04x}, got a record beyond it: {lost}", place
            )
        elif data:
            self.chunks.append(Chunk(self.base + offset, data, place))

    def _control(self, kind: int, value: int) -> None:
        if kind == 0x01:
            self.ended = True
        elif kind == 0x02:
            self.base, self.linear = value << 4, False
        elif kind == 0x04:
            self.base, self.linear = value << 16, True
        elif kind == 0x03:
            self.entry = (value >> 16 << 4) + (value & 0xFFFF)
        else:
            self.entry = value


def read(source: Source, word: FileWord) -> ReadResult:
    """Read Intel HEX; InputError with all problems of the file."""
    problems = Problems(source)
    reader = _Reader(problems, _per_address(word))
    number = 0
    for number, text in lines(source):
        reader.line(number, text)
    if not reader.ended:
        place = Place(source.file, number)
        problems.add(NO_END, "the last record is :00000001FF, got none: what followed is lost", place)
    gathering = Gathering(word, problems)
    put_chunks(gathering, reader.chunks)
    entry = None if reader.entry is None else reader.entry // word.unit
    return ReadResult(gathering.finish(), word, "intel-hex", problems.warnings, entry=entry)


def record(offset: int, kind: int, data: bytes) -> str:
    """Return one record with its sum."""
    body = bytes((len(data), offset >> 8, offset & 0xFF, kind)) + data
    return f":{body.hex().upper()}{-sum(body) & 0xFF:02X}"


def write(image: MemoryImage, word: FileWord, file: str = "intel-hex") -> str:
    """Return the image in records of up to 16 bytes, with linear bases; InputError if a bit is not known."""
    out: list[str] = []
    base = 0
    for chunk in to_chunks(image, word, file, RECORD_BYTES):
        for address, data in _split(chunk, _per_address(word)):
            if address >> 16 != base:
                base = address >> 16
                out.append(record(0, 0x04, base.to_bytes(2, "big")))
            out.append(record(address & 0xFFFF, 0x00, data))
    return "\n".join([*out, record(0, 0x01, b"")]) + "\n"


def _per_address(word: FileWord) -> int:
    """Return how many bytes one address of the file stands for."""
    return 1 if word.addresses == "bytes" else word.bytes_per_word


def _split(chunk: Chunk, per_address: int) -> Iterator[tuple[int, bytes]]:
    """Yield a chunk in the parts that lie on one side of a boundary of 65,536 addresses."""
    room = 0x10000 - (chunk.address & 0xFFFF)
    before, beyond = chunk.data[: room * per_address], chunk.data[room * per_address :]
    yield chunk.address, before
    if beyond:
        yield chunk.address + room, beyond
