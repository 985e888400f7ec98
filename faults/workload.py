"""What a campaign has to do: programs, and faults in groups of equal plans, cut into chunks."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
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
from faults.universe import CellBlock, Universe, group_key

Ints = npt.NDArray[np.int64]
CELLS_PER_CHUNK: Final = 4096
PLANS_PER_CHUNK: Final = 64
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

    ``longest``: most steps of the healthy run; a faulty run is given twice the steps that the healthy one
    took and ``spare`` on top. ``names`` are the conditions that hold ("warm").
    """

    seed: int = 0
    power_up: Literal["zeros", "seeded"] = "zeros"
    names: frozenset[str] = frozenset()
    longest: int = LONGEST
    spare: int = 20_000


@frozen
class Job:
    """One program under one set of conditions; ``digest`` is a strong name of all that can change results."""

    machine: MachineSpec = field(repr=False)
    program: Program
    conditions: Conditions = Conditions()

    @cached_property
    def digest(self) -> str:
        """SHA-256 (hexadecimal) of machine, image, inputs, conditions and format versions."""
        found = hashlib.sha256(self.machine.digest.encode())
        image = self.program.image
        for name, segment in sorted(image.segments.items()):
            found.update(f"|{name} {segment.bits}".encode())
            words = [word for row in segment.words() for word in row]
            found.update(",".join(map(str, words)).encode())
        rest = (
            image.entry, sorted(self.program.inputs.items()), self.conditions.seed, self.conditions.power_up,
            sorted(self.conditions.names), self.conditions.longest, self.conditions.spare,
            PLAN_FORMAT, DRAW_FORMAT, RECORD_FORMAT,
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

    ``cells``: int64[n, 6], as for ``emu.engine.batch``. ``groups``: their numbers (int32[n]). ``digest``:
    SHA-256 of what they do.
    """

    groups: npt.NDArray[np.int32]
    cells: Ints | None
    plans: tuple[MemoryPlan, ...]
    digest: str

    def __len__(self) -> int:
        return len(self.groups)


@define(eq=False)
class Grouping:
    """Which group every fault of a universe is in; groups are numbered in order of their first members.

    ``of_fault`` (int32[faults]), ``first`` (int64[groups]: the number of the first member), complete once
    :meth:`chunks` has been walked through. ``cells``: the rows of the groups of single cells.
    """

    board: Board
    of_fault: npt.NDArray[np.int32]
    first: Ints
    cells: Ints
    cell_groups: npt.NDArray[np.int32]
    others: tuple[tuple[int, int], ...]  # (group, fault) of each other group

    def __len__(self) -> int:
        return len(self.first)


def cell_rows(board: Board, block: CellBlock) -> Ints | None:
    """Return the rows (int64[n, 6]) of a block of stuck cells in its own order, or None for other blocks."""
    levels: dict[tuple[str, ...], int] = {("0",): 0, ("1",): 1}
    if block.kind != "stuck" or not block.family.prefix.endswith("/cell"):
        return None
    if any(variant not in levels for variant in block.variants):
        return None
    store = block.family.store
    full = (1 << board.shapes[store].bits) - 1
    cells = np.repeat(np.asarray(block.rows, np.int64), block.per_row * len(block.variants))
    bits = np.int64(1) << np.tile(np.repeat(np.arange(block.per_row), len(block.variants)), len(block.rows))
    high = np.tile(np.array([levels[v] for v in block.variants]), len(block.rows) * block.per_row) == 1
    ands, ors = np.where(high, full, full & ~bits), np.where(high, bits, 0)
    return np.column_stack([np.full(len(cells), store), cells, ands, ors, ands, ors])


def grouped(universe: Universe) -> Grouping:
    """Return the faults of a universe in groups of equal plans.

    Single cells by the thousand are never spelled out. The plans of other faults are made here to be
    compared, and made again when they are run, for all of them together would fill the memory.
    """
    board, rows = universe.board, [np.zeros((0, 6), np.int64)]
    keys: dict[object, int] = {}
    of_fault = np.zeros(len(universe), np.int32)
    blocks: list[tuple[int, int]] = []
    first: list[int] = []
    others: list[tuple[int, int]] = []
    number = 0
    for block in universe.faults.blocks:
        found = cell_rows(board, block) if isinstance(block, CellBlock) else None
        if found is not None:
            blocks.append((number, len(block)))
            rows.append(found)
            number += len(block)
            continue
        for fault in block.all():
            key = group_key(board, fault)
            if key not in keys:
                keys[key] = len(first)
                others.append((len(first), number))
                first.append(number)
            of_fault[number] = keys[key]
            number += 1
    return _numbered(board, of_fault, first, others, keys, blocks, np.concatenate(rows))


def _numbered(
    board: Board,
    of_fault: npt.NDArray[np.int32],
    first: list[int],
    others: list[tuple[int, int]],
    keys: Mapping[object, int],
    blocks: Sequence[tuple[int, int]],
    rows: Ints,
) -> Grouping:
    """Return the grouping with the blocks of cells numbered behind the other groups; small ones meet."""
    places = [np.arange(at, at + count) for at, count in blocks]
    faults = np.concatenate([np.zeros(0, np.int64), *places])
    groups = len(first) + np.arange(len(rows))
    known = {key: group for key, group in keys.items() if isinstance(key, tuple)}
    if known:
        taken = np.array(sorted(known), np.int64).reshape(-1, 6)
        at = _places_of(rows, taken)
        for key, place in zip(map(tuple, taken.tolist()), at.tolist(), strict=True):
            if place >= 0:
                groups[place] = known[key]
        fresh = groups >= len(first)
        groups[fresh] = len(first) + np.arange(np.count_nonzero(fresh))
        rows, cell_groups, added = rows[fresh], groups[fresh], faults[fresh]
    else:
        cell_groups, added = groups, faults
    of_fault[faults] = groups
    every = np.concatenate([np.array(first, np.int64), added])
    return Grouping(board, of_fault, every, rows, cell_groups.astype(np.int32), tuple(others))


def _places_of(rows: Ints, wanted: Ints) -> Ints:
    """Return where each wanted row stands among the rows, -1 for nowhere."""
    if not len(rows):
        return np.full(len(wanted), -1)
    have, ask = _codes(rows), _codes(wanted)
    order = np.argsort(have, kind="stable")
    place: Ints = order[np.clip(np.searchsorted(have, ask, sorter=order), 0, len(have) - 1)]
    found: Ints = np.where((rows[place] == wanted).all(axis=1), place, -1)
    return found


def _codes(rows: Ints) -> Ints:
    """Return a number for each row, equal for equal rows (and, but for chance, for no others)."""
    odd = np.array([0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB], np.uint64)
    parts = rows[:, :3].astype(np.uint64) + (rows[:, 3:].astype(np.uint64) << np.uint64(1))
    mixed = (parts * odd).sum(axis=1, dtype=np.uint64)
    codes: Ints = (mixed >> np.uint64(1)).astype(np.int64)
    return codes


def chunks(universe: Universe, grouping: Grouping) -> Iterator[Chunk]:
    """Yield the groups in chunks: single cells first, then the others, whose plans are made on the way."""
    for at in range(0, len(grouping.cells), CELLS_PER_CHUNK):
        rows = np.ascontiguousarray(grouping.cells[at : at + CELLS_PER_CHUNK])
        numbers = grouping.cell_groups[at : at + CELLS_PER_CHUNK]
        yield Chunk(numbers, rows, (), hashlib.sha256(b"cells" + rows.tobytes()).hexdigest())
    for at in range(0, len(grouping.others), PLANS_PER_CHUNK):
        part = grouping.others[at : at + PLANS_PER_CHUNK]
        plans = plans_of(grouping.board, (universe.faults[fault] for _, fault in part))
        text = "plans" + " ".join(plan.digest for plan in plans)
        groups = np.array([group for group, _ in part], np.int32)
        yield Chunk(groups, None, plans, hashlib.sha256(text.encode()).hexdigest())


def plans_of(board: Board, faults: Iterable[Fault]) -> tuple[MemoryPlan, ...]:
    """Return the plans of faults, in order."""
    return tuple(plan_of(board, fault) for fault in faults)
