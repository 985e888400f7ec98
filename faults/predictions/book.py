"""What a store reads under many plans, as differences from what it should read, and a dump compared."""

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from emu.engine.compiled import cache_folder
from emu.memory import MemoryPlan
from faults.fault import Fault
from faults.hypotheses import IntArray
from faults.predictions.keeping import keep_array, keep_text, kept_array, kept_text
from faults.predictions.plans import BEYOND, HEALTHY, Plans
from faults.predictions.reading import readings, touches

Words = npt.NDArray[np.int64]
_MOST_KEPT: Final = 1 << 24  # differing words of a book that is kept on disk
_MOST_CHUNKS: Final = 40


@frozen(eq=False)
class _Chunk:
    """Differences of several plans, one after the other: ``starts`` int64[n + 1], ``cells`` and ``xor``."""

    starts: IntArray
    cells: npt.NDArray[np.int32]
    xor: npt.NDArray[Any]


@define(eq=False)
class Book:
    """The readings of one store that holds ``contents``, the last of ``times``, by digest of plan.

    ``written``: the contents were written through the plan, see :func:`readings`. Of several faults at once,
    which are tried by the thousand, only how many words differ is kept.
    """

    plans: Plans
    store: int
    contents: Words
    times: int = 1
    written: bool = True
    _place: dict[str, int] = field(factory=dict, init=False)
    _chunks: list[_Chunk] = field(factory=list, init=False)
    _fresh: int = field(default=0, init=False)
    _several: dict[str, Fault] = field(factory=dict, init=False)
    _counts: dict[tuple[str, bytes], int] = field(
        factory=dict, init=False
    )  # by digest, and what was compared

    def __attrs_post_init__(self) -> None:
        if self.plans.cached:
            self._load()

    def enter(self, faults: Sequence[Fault | None], digests: Sequence[str]) -> None:
        """Work out the readings of all plans that are not in the book yet."""
        cells: list[npt.NDArray[np.int64]] = []
        xors: list[Words] = []
        lengths = []
        for fault, digest in zip(faults, digests, strict=True):
            if digest in self._place or digest in (HEALTHY, BEYOND):
                continue
            if fault is not None and len(fault.parts) > 1:
                self._several[digest] = fault
                continue
            plan = self.plans.plan(fault)
            differs = np.zeros(0, np.int64)
            if plan is not None and touches(plan, self.store):
                read = self.read(plan) ^ self.contents
                differs = np.flatnonzero(read)
                xors.append(read[differs])
                cells.append(differs)
            self._place[digest] = len(self._place)
            lengths.append(len(differs))
        if lengths:
            self._fresh += len(lengths)
            starts = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64)
            joined = np.concatenate(cells) if cells else np.zeros(0, np.int64)
            xor = np.concatenate(xors) if xors else np.zeros(0, np.int64)
            narrow = np.int32 if self.plans.board.shapes[self.store].bits < 32 else np.int64
            self._chunks.append(_Chunk(starts, joined.astype(np.int32), xor.astype(narrow)))
            if len(self._chunks) > _MOST_CHUNKS:
                self._chunks = [_joined(self._chunks)]

    def read(self, plan: MemoryPlan) -> Words:
        """Return the reading under a plan."""
        return readings(plan, self.store, self.contents, self.times, written=self.written)

    def wrong(self, digests: Sequence[str], observed: Words, both: Words) -> IntArray:
        """Return how many words differ from what is read under each plan, in the bits of ``both``."""
        narrow = np.int32 if int(both.max(initial=0)) < 1 << 31 else np.int64
        off = ((observed ^ self.contents) & both).astype(narrow)
        mask, total = both.astype(narrow), int(np.count_nonzero(off))
        was_off = (off != 0).view(np.int8)
        found = [np.zeros(0, np.int64)]
        for chunk in self._chunks:
            cells = chunk.cells
            there = ((off[cells] ^ chunk.xor.astype(narrow, copy=False)) & mask[cells]) != 0
            change = np.zeros(len(cells) + 1, np.int32)
            np.cumsum(there.view(np.int8) - was_off[cells], dtype=np.int32, out=change[1:])
            found.append(total + change[chunk.starts[1:]].astype(np.int64) - change[chunk.starts[:-1]])
        counts = np.append(np.concatenate(found), total)
        rows = np.array([self._place.get(digest, len(self._place)) for digest in digests], np.int64)
        wanted = np.asarray(counts[rows], np.int64)
        several = [
            i for i, digest in enumerate(digests) if digest in self._several and digest not in self._place
        ]
        if several:
            compared = hashlib.blake2b(observed.tobytes() + both.tobytes(), digest_size=16).digest()
            for i in several:
                wanted[i] = self._count(digests[i], compared, observed, both)
        return wanted

    def _count(self, digest: str, compared: bytes, observed: Words, both: Words) -> int:
        if (digest, compared) not in self._counts:
            plan = self.plans.plan(self._several[digest])
            read = self.contents if plan is None else self.read(plan)
            self._counts[digest, compared] = int(np.count_nonzero((read ^ observed) & both))
        return self._counts[digest, compared]

    def struck(self, digests: Sequence[str]) -> IntArray:
        """Return how many words read wrong under each plan."""
        found = [np.diff(chunk.starts) for chunk in self._chunks] + [np.zeros(1, np.int64)]
        rows = np.array([self._place.get(digest, len(self._place)) for digest in digests], np.int64)
        return np.asarray(np.concatenate(found)[rows], np.int64)

    def bits_off(self, digests: Sequence[str], observed: Words, both: Words) -> IntArray:
        """Return the bits that are off in any word under each plan, of the bits of ``both`` (a mask each)."""
        off = (observed ^ self.contents) & both
        found = {}
        for digest in set(digests):
            rest = off.copy()
            cells, xor = self._entry(digest)
            rest[cells] = (rest[cells] ^ xor) & both[cells]
            found[digest] = int(np.bitwise_or.reduce(rest, initial=0))
        return np.array([found[digest] for digest in digests], np.int64)

    def bits_struck(self, digests: Sequence[str], both: Words) -> IntArray:
        """Return the bits that read wrong in any word under each plan, of those of ``both`` (a mask each)."""
        found = {}
        for digest in set(digests):
            cells, xor = self._entry(digest)
            found[digest] = int(np.bitwise_or.reduce(xor & both[cells], initial=0))
        return np.array([found[digest] for digest in digests], np.int64)

    def _entry(self, digest: str) -> tuple[npt.NDArray[np.int32], Words]:
        """Return the addresses that read wrong under a plan, and the bits that do."""
        place = self._place.get(digest, -1)
        for chunk in self._chunks:
            count = len(chunk.starts) - 1
            if 0 <= place < count:
                part = slice(int(chunk.starts[place]), int(chunk.starts[place + 1]))
                return np.asarray(chunk.cells[part]), np.asarray(chunk.xor[part], np.int64)
            place -= count
        return np.zeros(0, np.int32), np.zeros(0, np.int64)

    # --- kept on disk

    @property
    def _folder(self) -> Path:
        told = hashlib.blake2b(np.ascontiguousarray(self.contents).tobytes(), digest_size=12).hexdigest()
        return (
            cache_folder()
            / "readings"
            / f"{self.plans.key}-{self.store}-{self.times}-{int(self.written)}-{told}"
        )

    def save(self) -> None:
        """Keep the book; a folder that cannot be written is no misfortune."""
        if not self.plans.cached or not self._fresh or not self._chunks:
            return
        self._chunks = [_joined(self._chunks)]
        chunk = self._chunks[0]
        if len(chunk.cells) <= _MOST_KEPT:
            folder = self._folder
            keep_array(folder / "cells.npy", np.asarray(chunk.cells))
            keep_array(folder / "xor.npy", np.asarray(chunk.xor))
            keep_array(folder / "starts.npy", chunk.starts)
            keep_text(folder / "plans.txt", "\n".join(self._place))
        self._fresh = 0

    def _load(self) -> None:
        folder = self._folder
        names = kept_text(folder / "plans.txt").split()
        arrays = [kept_array(folder / f"{n}.npy") for n in ("starts", "cells", "xor")]
        starts, cells, xor = arrays
        if starts is None or cells is None or xor is None or not names:
            return
        if len(starts) != len(names) + 1 or len(cells) != int(starts[-1]) or len(xor) != len(cells):
            return  # written by two at once, or cut short
        self._place = {name: number for number, name in enumerate(names)}
        self._chunks = [_Chunk(np.asarray(starts, np.int64), np.asarray(cells), np.asarray(xor))]


def _joined(chunks: Sequence[_Chunk]) -> _Chunk:
    starts = [np.zeros(1, np.int64)]
    base = 0
    for chunk in chunks:
        starts.append(chunk.starts[1:] + base)
        base += int(chunk.starts[-1])
    cells = np.concatenate([np.asarray(c.cells) for c in chunks])
    return _Chunk(np.concatenate(starts), cells, np.concatenate([np.asarray(c.xor) for c in chunks]))
