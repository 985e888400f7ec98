"""Results kept while a campaign goes on: one file to which finished parts are only ever appended.

Every entry carries the strong id of all that could change it, so that files may be merged by joining them, an
entry is used only where it fits, and what a killed campaign left half written, or a bad disk has spoilt, is
noticed and passed over: whole entries behind it are found again by their marks.
"""

import mmap
import os
import shutil
import struct
import sys
import tempfile
import zlib
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Final, Self

import numpy as np
from attrs import define, field

from emu.errors import declare, fail
from emu.where import Place
from faults.worker import Outcome

if sys.platform != "win32":
    import fcntl

MAGIC: Final = b"corewright results/1\n"
_HEAD: Final = struct.Struct("<4sII32s")  # mark, length, checksum of id and data, id
_MARK: Final = b"part"

NOT_RESULTS = declare(
    "not-results",
    "The results of a campaign are kept in a file of their own, which nothing else is written to.",
    "Name a file that is not there yet, or one that an earlier `corewright grade --results` has made.",
)
IN_USE = declare(
    "results-in-use",
    "One campaign at a time writes to a results file.",
    "Wait for the other one, or name another file; files can be joined afterwards, one behind the other.",
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


@define
class Index:
    """What lies in a results file: where the data of each id are, and what is no whole entry.

    ``known``: where the data begin, and their length. ``damaged``: from where to where (bytes).
    """

    known: dict[bytes, tuple[int, int]] = field(factory=dict)
    damaged: list[tuple[int, int]] = field(factory=list)


def index_of(path: Path) -> Index:
    """Return what lies in a results file, and change nothing; an empty index if there is no such file.

    Raises InputError if it holds something else than results.
    """
    index = Index()
    if path.is_dir():
        fail(NOT_RESULTS, "this is a folder", Place(str(path)), hint="name a file in it")
    if not path.is_file() or not _begins_like_ours(path) or path.stat().st_size <= len(MAGIC):
        return index
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        at = len(MAGIC)
        while at < len(data):
            entry = _entry_at(data, at)
            if entry is None and data[at : at + len(MAGIC)] == MAGIC:  # files joined first line and all
                at += len(MAGIC)
            elif entry is None:
                after = _next_entry(data, at + 1)
                index.damaged.append((at, after))
                at = after
            else:
                name, end = entry
                index.known[name] = at + _HEAD.size, end - at - _HEAD.size
                at = end
    return index


def _begins_like_ours(path: Path) -> bool:
    """Return whether the first line is whole; a part of it was torn off, anything else is somebody else's."""
    with path.open("rb") as file:
        begin = file.read(len(MAGIC))
    if not MAGIC.startswith(begin):
        fail(NOT_RESULTS, "this file holds something else than results", Place(str(path)))
    return begin == MAGIC


def _entry_at(data: mmap.mmap, at: int) -> tuple[bytes, int] | None:
    """Return id and end of the whole entry that begins there, or None."""
    start = at + _HEAD.size
    if start > len(data):
        return None
    mark, length, checksum, name = _HEAD.unpack(data[at:start])
    if mark != _MARK or start + length > len(data):
        return None
    return (name, start + length) if _checksum(name, data[start : start + length]) == checksum else None


def _next_entry(data: mmap.mmap, at: int) -> int:
    """Return where the next whole entry, or first line, begins; the end of the data if there is none."""
    after = data.find(MAGIC, at)
    stop = len(data) if after < 0 else after
    at = data.find(_MARK, at, stop)
    while at >= 0 and _entry_at(data, at) is None:
        at = data.find(_MARK, at + 1, stop)
    return stop if at < 0 else at


def _checksum(name: bytes, data: bytes) -> int:
    return zlib.crc32(data, zlib.crc32(name))


def _without(path: Path, damaged: Sequence[tuple[int, int]]) -> None:
    """Write a file anew without some parts of it, whole or not at all."""
    path = path.resolve()  # what a link names is written, the link stays
    data = path.read_bytes()
    begins, ends = [0, *(end for _, end in damaged)], [*(begin for begin, _ in damaged), len(data)]
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines(data[begin:end] for begin, end in zip(begins, ends, strict=True))
            file.flush()
            os.fsync(file.fileno())
        shutil.copymode(path, temporary)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _locked(path: Path) -> BinaryIO:
    """Return the file, open for appending; where the system can lock it, for us alone until it is closed."""
    file = path.open("a+b")
    try:
        if sys.platform != "win32":
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        fail(IN_USE, "another campaign is writing to this file", Place(str(path)))
    except OSError:  # a file system without locks
        pass
    return file


class ResultsFile:
    """The file of a campaign, open for appending; ``known`` says where the entry of an id lies.

    What is damaged is taken out of it; ``damaged`` tells from where to where it lay. Raises InputError, and
    leaves the file alone, if it holds something else than results.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        path.parent.mkdir(parents=True, exist_ok=True)
        index_of(path)  # nothing is touched if it is somebody else's
        self._file: BinaryIO = _locked(path)
        index = index_of(path)
        self.damaged = tuple(index.damaged)
        if index.damaged:
            self._file.close()
            _without(path, index.damaged)
            self._file = _locked(path)
            index = index_of(path)
        self.known = index.known
        if self._file.seek(0, os.SEEK_END) < len(MAGIC):
            self._file.truncate(0)
            self._file.write(MAGIC)
            self._file.flush()

    @property
    def damage(self) -> str:
        """What was damaged, as a sentence for people; empty if nothing was."""
        if not self.damaged:
            return ""
        count, spoilt = len(self.damaged), sum(end - begin for begin, end in self.damaged)
        where = f"{spoilt:,} bytes in {count} place{'s' * (count > 1)}"
        kept = f"the {len(self.known):,} whole parts are kept, what is missing is worked out again"
        return f"{self.path} was damaged or cut short ({where}): {kept}"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._file.close()

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
        self._file.write(_HEAD.pack(_MARK, len(data), _checksum(name, data), name) + data)
        self._file.flush()
        os.fsync(self._file.fileno())
        self.known[name] = (at + _HEAD.size, len(data))
