"""What a campaign has to do: programs, and faults in groups of equal plans, cut into chunks."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Final, Literal

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from emu.engine.contract import RunRequest
from emu.engine.seen import RECORD_FORMAT
from emu.gates import DRAW_FORMAT
from emu.image import ProgramImage
from emu.memory import PLAN_FORMAT, MemoryPlan
from emu.spec import MachineSpec
from faults.boards.board import Board
from faults.fault import Fault
from faults.lower import plan_of
from faults.universe import CellBlock, Universe, plan_key
from faults.workings import workings_digest

Ints = npt.NDArray[np.int64]
CELLS_PER_CHUNK: Final = 4096
PLANS_PER_CHUNK: Final = 64
_LEVELS: Final[Mapping[tuple[str, ...], int]] = {("0",): 0, ("1",): 1}
LONGEST: Final = 20_000_000  # steps that a healthy run is given to come to its end


@frozen
class Program:
    """A program to be run on every fault: a name for people, the image, and what its ports are offered."""

    name: str
    image: ProgramImage = field(eq=False)
    inputs: Mapping[int, tuple[int, ...]] = field(factory=dict, eq=False)


@frozen
class Conditions:
    """What is the same for all runs.

    ``longest``: most steps that the healthy run is given to come to its end; a faulty run is given twice the
    steps that the healthy one took and ``spare`` on top. A program that never ends by itself is watched for
    ``watched`` steps. ``names`` are the conditions that hold ("warm").
    """

    seed: int = 0
    power_up: Literal["zeros", "seeded"] = "zeros"
    names: frozenset[str] = frozenset()
    longest: int = LONGEST
    watched: int = 200_000
    spare: int = 20_000


@frozen
class Job:
    """One program under one set of conditions; ``digest`` is a strong name of all that can change results."""

    machine: MachineSpec = field(repr=False)
    program: Program
    conditions: Conditions = Conditions()

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hexadecimal) of machine, image, inputs, conditions, format versions and our own code."""
        found = hashlib.sha256(self.machine.digest.encode())
        image, asked = self.program.image, self.conditions
        for name, segment in sorted(image.segments.items()):
            found.update(f"|{name} {segment.bits}".encode())
            words = [word for row in segment.words() for word in row]
            found.update(",".join(map(str, words)).encode())
        rest = (
            image.entry, sorted(self.program.inputs.items()), asked.seed, asked.power_up,
            sorted(asked.names), asked.longest, asked.watched, asked.spare,
            PLAN_FORMAT, DRAW_FORMAT, RECORD_FORMAT, workings_digest(),
        )  # fmt: skip
        found.update(repr(rest).encode())
        return found.hexdigest()

    def healthy_request(self) -> RunRequest:
        """Return the request of the healthy run."""
        asked = self.conditions
        return RunRequest(
            self.machine, self.program.image, inputs=self.program.inputs, conditions=asked.names,
            seed=asked.seed, max_steps=asked.longest, power_up=asked.power_up,
        )  # fmt: skip


@frozen(eq=False)
class Chunk:
    """Groups that are run together: faults of single cells, or plans.

    ``cells``: int64[n, 6], as for ``emu.engine.batch``, or None. ``places`` (int64[n]): where they stand
    among all such rows, or where the plans stand among all others. ``digest``: SHA-256 of what they do.
    """

    places: Ints
    cells: Ints | None
    plans: tuple[MemoryPlan, ...]
    digest: str

    def __len__(self) -> int:
        return len(self.places)


def _cell_chunk(places: Ints, rows: Ints) -> Chunk:
    rows = np.ascontiguousarray(rows)
    return Chunk(places, rows, (), hashlib.sha256(b"cells" + rows.tobytes()).hexdigest())


def _plan_chunk(places: Ints, plans: Sequence[MemoryPlan]) -> Chunk:
    text = "plans" + " ".join(plan.digest for plan in plans)
    return Chunk(places, None, tuple(plans), hashlib.sha256(text.encode()).hexdigest())


def is_stuck_cells(block: CellBlock) -> bool:
    """Return whether a block is one of single cells that are stuck."""
    if block.kind != "stuck" or not block.family.prefix.endswith("/cell"):
        return False
    return all(variant in _LEVELS for variant in block.variants)


def cell_rows(board: Board, block: CellBlock) -> Ints | None:
    """Return the rows (int64[n, 6]) of a block of stuck cells in its own order, or None for other blocks."""
    if not is_stuck_cells(block):
        return None
    store = block.family.store
    full = (1 << board.shapes[store].bits) - 1
    cells = np.repeat(np.asarray(block.rows, np.int64), block.per_row * len(block.variants))
    bits = np.int64(1) << np.tile(np.repeat(np.arange(block.per_row), len(block.variants)), len(block.rows))
    high = np.tile(np.array([_LEVELS[v] for v in block.variants]), len(block.rows) * block.per_row) == 1
    ands, ors = np.where(high, full, full & ~bits), np.where(high, bits, 0)
    return np.column_stack([np.full(len(cells), store), cells, ands, ors, ands, ors])


@define(eq=False)
class Grouping:
    """The faults of a universe in groups of equal plans.

    Single cells by the thousand are never spelled out: ``cells`` are their rows (int64[n, 6]), known at once.
    :meth:`other_chunks` goes through the other faults and makes their plans. After it, or after
    :meth:`complete`, every group has its number: ``of_fault`` (int32[faults]), and ``first`` (int64[groups])
    is the number of a group's first member. Groups of single cells come last.
    """

    universe: Universe
    cells: Ints = field(init=False)
    of_fault: npt.NDArray[np.int32] = field(init=False)
    first: Ints = field(init=False)
    _cell_faults: Ints = field(init=False)
    _cell_groups: Ints = field(init=False)
    _other_groups: Ints = field(init=False)
    _index: "_Index" = field(init=False)
    _complete: bool = False

    def __attrs_post_init__(self) -> None:
        rows, faults, number = [np.zeros((0, 6), np.int64)], [np.zeros(0, np.int64)], 0
        for block in self.universe.faults.blocks:
            found = cell_rows(self.universe.board, block) if isinstance(block, CellBlock) else None
            if found is not None:
                rows.append(found)
                faults.append(np.arange(number, number + len(found)))
            number += len(block)
        self.cells, self._cell_faults = np.concatenate(rows), np.concatenate(faults)
        self._index = _Index(self.cells)

    def __len__(self) -> int:
        assert self._complete, "not every group has its number yet"
        return len(self.first)

    @property
    def at_most(self) -> int:
        """How many groups there can be; how many there are, once that is known."""
        return len(self.first) if self._complete else len(self.universe)

    def complete(self) -> None:
        """Give every group its number."""
        if not self._complete:
            for _ in self.other_chunks():
                pass

    def groups_of(self, chunk: Chunk) -> Ints:
        """Return the numbers of the groups in a chunk (int64[n])."""
        numbers = self._other_groups if chunk.cells is None else self._cell_groups
        found: Ints = numbers[chunk.places]
        return found

    def cell_chunks(self, only: npt.NDArray[np.bool_] | None = None) -> Iterator[Chunk]:
        """Yield the single cells in chunks; ``only`` (bool[groups]): those of these groups."""
        places = np.arange(len(self.cells))
        if only is not None:
            places = places[only[self._cell_groups]]
        for at in range(0, len(places), CELLS_PER_CHUNK):
            part = places[at : at + CELLS_PER_CHUNK]
            yield _cell_chunk(part, self.cells[part])

    def other_chunks(self, only: npt.NDArray[np.bool_] | None = None) -> Iterator[Chunk]:
        """Yield the other groups in chunks, with their plans, of which none is kept."""
        keys: dict[object, int] = {}
        places: dict[object, int] = {}
        members: list[tuple[int, int]] = []  # fault, number of its key
        waiting: list[tuple[int, MemoryPlan]] = []
        for fault_number, fault in self._others():
            plan = plan_of(self.universe.board, fault)
            key = plan_key(plan)
            if key not in keys:
                keys[key] = len(keys)
                if self._index.place(key) < 0:
                    places[key] = len(places)
                    if only is None or only[keys[key]]:
                        waiting.append((places[key], plan))
            members.append((fault_number, keys[key]))
            if len(waiting) == PLANS_PER_CHUNK:
                yield _gathered(waiting)
                waiting = []
        if waiting:
            yield _gathered(waiting)
        if not self._complete:
            self._number(keys, members, [keys[key] for key in places])

    def _others(self) -> Iterator[tuple[int, Fault]]:
        number = 0
        for block in self.universe.faults.blocks:
            if not (isinstance(block, CellBlock) and is_stuck_cells(block)):
                yield from enumerate(block.all(), number)
            number += len(block)

    def _number(
        self, keys: Mapping[object, int], members: Sequence[tuple[int, int]], others: Sequence[int]
    ) -> None:
        known = {self._index.place(key): number for key, number in keys.items()}
        known.pop(-1, None)
        groups = np.full(len(self.cells), -1, np.int64)
        groups[list(known)] = list(known.values())
        fresh = np.flatnonzero(groups < 0)
        groups[fresh] = len(keys) + np.arange(len(fresh))
        self.of_fault = np.zeros(len(self.universe), np.int32)
        self.of_fault[self._cell_faults] = groups
        faults = np.array(members, np.int64).reshape(-1, 2)
        self.of_fault[faults[:, 0]] = faults[:, 1]
        firsts = dict[int, int]()
        for fault, key in members:
            firsts.setdefault(key, fault)
        first = np.array(list(firsts.values()), np.int64)
        self.first = np.concatenate([first, self._cell_faults[fresh]])
        self._cell_groups, self._other_groups = groups, np.array(others, np.int64)
        self._complete = True


def _gathered(waiting: Sequence[tuple[int, MemoryPlan]]) -> Chunk:
    return _plan_chunk(np.array([place for place, _ in waiting]), [plan for _, plan in waiting])


@define(eq=False)
class _Index:
    """Finds rows of single cells."""

    rows: Ints
    _codes: Ints = field(init=False)
    _order: Ints = field(init=False)

    def __attrs_post_init__(self) -> None:
        codes = _codes(self.rows)
        self._order = np.argsort(codes, kind="stable")
        self._codes = codes[self._order]

    def place(self, key: object) -> int:
        """Return where the row that is a group's key stands, or -1."""
        if not isinstance(key, tuple) or not len(self.rows):
            return -1
        row = np.array([key], np.int64)
        at = int(np.searchsorted(self._codes, _codes(row)[0]))
        if at == len(self._codes):
            return -1
        place = int(self._order[at])
        return place if (self.rows[place] == row[0]).all() else -1


def _codes(rows: Ints) -> Ints:
    """Return a number for each row, equal for equal rows (and, but for chance, for no others)."""
    odd = np.array([0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB], np.uint64)
    parts = rows[:, :3].astype(np.uint64) + (rows[:, 3:].astype(np.uint64) << np.uint64(1))
    mixed = (parts * odd).sum(axis=1, dtype=np.uint64)
    codes: Ints = (mixed >> np.uint64(1)).astype(np.int64)
    return codes
