"""Results kept while a campaign goes on: one file to which finished parts are only ever appended.

Every entry carries the strong id of all that could change it, so that files may be merged by joining them, an
entry is used only where it fits, and what a killed campaign left half written is noticed and passed over.
"""

import os
import struct
import zlib
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Final, Self

import numpy as np

from emu.errors import declare, fail
from emu.where import Place
from faults.worker import Outcome

MAGIC: Final = b"corewright results/1\n"
_HEAD: Final = struct.Struct("<4sII32s")  # mark, length, checksum, id
_MARK: Final = b"part"

NOT_RESULTS = declare(
    "not-results",
    "The results of a campaign are kept in a file of their own, which nothing else is written to.",
    "Name a file that is not there yet, or one that an earlier `corewright grade --results` has made.",
)


def packed(outcome: Outcome) -> bytes:
    """Return an outcome as bytes; the same outcome always gives the same bytes."""
    lengths = np.array([len(r) for r in outcome.records], np.int32)
    counts = np.array([len(outcome.seen), len(lengths), outcome.runs], np.int32)
    parts = (counts, outcome.seen.astype(np.int32), outcome.reasons.astype(np.int8), lengths)
    return zlib.compress(b"".join([*(p.tobytes() for p in parts), *outcome.records]), 1)


def unpacked(data: bytes) -> Outcome:
    """Return the outcome that bytes hold."""
    raw = zlib.decompress(data)
    groups, records, runs = (int(n) for n in np.frombuffer(raw, np.int32, 3))
    at = 12
    seen = np.frombuffer(raw, np.int32, groups, at)
    reasons = np.frombuffer(raw, np.int8, groups, at + 4 * groups)
    at += 5 * groups
    lengths = np.frombuffer(raw[at : at + 4 * records], np.int32)
    ends = at + 4 * records + np.cumsum(lengths, dtype=np.int64)
    starts = ends - lengths
    found = tuple(raw[a:b] for a, b in zip(starts.tolist(), ends.tolist(), strict=True))
    return Outcome(seen.copy(), reasons.copy(), found, runs)


class ResultsFile:
    """The file of a campaign, open for appending; ``known`` says where the entry of an id lies.

    Raises InputError, and leaves the file alone, if it holds something else than results.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        path.parent.mkdir(parents=True, exist_ok=True)
        self._file: BinaryIO = path.open("a+b")
        self.known: dict[bytes, tuple[int, int]] = {}
        self._read_index()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def _read_index(self) -> None:
        """Find the whole entries; what follows the last one is cut off."""
        self._file.seek(0)
        begin = self._file.read(len(MAGIC))
        if begin != MAGIC:
            if not MAGIC.startswith(begin):  # somebody else's file; less than our first line was torn off
                self.close()
                fail(NOT_RESULTS, "this file holds something else than results", Place(str(self.path)))
            self._file.truncate(0)
            self._file.write(MAGIC)
            self._file.flush()
            return
        at = len(MAGIC)
        while True:
            self._file.seek(at)
            head = self._file.read(_HEAD.size)
            if len(head) < _HEAD.size:
                break
            mark, length, checksum, name = _HEAD.unpack(head)
            data = self._file.read(length)
            if mark != _MARK or len(data) < length or zlib.crc32(data) != checksum:
                break
            self.known[name] = (at + _HEAD.size, length)
            at += _HEAD.size + length
        self._file.truncate(at)

    def get(self, name: bytes) -> Outcome | None:
        """Return the outcome kept under an id, or None."""
        place = self.known.get(name)
        if place is None:
            return None
        self._file.seek(place[0])
        return unpacked(self._file.read(place[1]))

    def put(self, name: bytes, outcome: Outcome) -> None:
        """Append an outcome; once this returns, neither a crash nor a cut of power loses it."""
        data = packed(outcome)
        self._file.seek(0, os.SEEK_END)
        at = self._file.tell()
        self._file.write(_HEAD.pack(_MARK, len(data), zlib.crc32(data), name) + data)
        self._file.flush()
        os.fsync(self._file.fileno())
        self.known[name] = (at + _HEAD.size, len(data))
