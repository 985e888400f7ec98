"""What a reader at the connector of a store would read under a plan, and what reading destroys.

The reader stands where the processor would, after the processor's own address bus: faults of that bus are no
part of what it sees.
"""

from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import evolve, frozen

from emu.codes import sec_ded_row_masks, sec_ded_syndrome_fix
from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.gates import draw
from emu.image import MemoryImage, ProgramImage
from emu.memory import EXTRA_CELLS, MemoryPlan, PlannedMemory, StoreShape, StoreTable, Words
from emu.spec import MachineSpec, StoreSpec
from emu.storedword import StoredFormat
from emu.words import mask
from faults.pattern import Evidence, Parity, dump_evidence
from faults.pattern.evidence import ParityKind

Statuses = npt.NDArray[np.uint8]
OK, CORRECTED, ERROR = 0, 1, 2
_PARITIES: Final[tuple[ParityKind, ...]] = ("odd", "even")
FILL_STREAM: Final = 1 << 21


@frozen(eq=False)
class Readout:
    """One or two readings of a whole store (int64[words] each, stored words).

    ``contents``: what it should hold. ``second`` is None unless the store was read twice. ``after``: what
    the cells hold after the first reading. ``status``: what the check says of every word first read.
    ``held``: what the cells held before, where that is not what they should hold.
    """

    machine: MachineSpec
    store: int
    contents: Words
    first: Words
    second: Words | None
    after: Words
    status: Statuses
    held: Words | None = None

    @property
    def spec(self) -> StoreSpec:
        """The store."""
        return self.machine.stores[self.store]

    @property
    def wrong(self) -> int:
        """How many words differ from what the store should hold."""
        return int(np.count_nonzero(self.first != self.contents))

    @property
    def destroyed(self) -> int:
        """How many words the first reading has changed in the store."""
        return int(np.count_nonzero(self.after != (self.contents if self.held is None else self.held)))

    @property
    def failing(self) -> int:
        """How many words fail the check of the store."""
        return int(np.count_nonzero(self.status == ERROR))

    @property
    def silent(self) -> int:
        """How many wrong words pass the check of the store, or are mended to wrong data."""
        return int(np.count_nonzero((self.first != self.contents) & (self.status != ERROR)))

    def image(self, *, again: bool = False) -> MemoryImage:
        """Return a reading as an image of stored words."""
        words = self.second if again and self.second is not None else self.first
        return MemoryImage.of_words(self.spec.bits, words.tolist())

    def evidence(self) -> Evidence:
        """Return the difference for ``faults.pattern``.

        Data bits are numbered as the machine does, address bits by weight, as boards number address lines.
        """
        word = self.machine.word
        lines = max(1, (len(self.first) - 1).bit_length())
        parity = next((Parity(kind) for kind in _PARITIES if kind == self.spec.protection), None)
        found = dump_evidence(
            np.arange(len(self.first)), self.contents, self.first, bits=self.spec.bits, again=self.second,
            parity=parity, base=word.base, numbering=word.numbering, address_bits=lines,
        )  # fmt: skip
        stored = StoredFormat(
            self.spec.bits, base=word.base, numbering=word.numbering, data_bits=self.spec.data_bits
        )
        return evolve(found, word=stored)


def read_out(
    machine: MachineSpec,
    store: int,
    plan: MemoryPlan,
    contents: Words,
    *,
    twice: bool = False,
    conditions: frozenset[str] = frozenset(),
    seed: int = 0,
    held: Words | None = None,
) -> Readout:
    """Read a store from its first word to its last, once or twice.

    ``contents``: int64[words], the stored words that the cells should hold; ``held``: what they do hold,
    where a run has left something else. Chance and contacts draw from ``seed``.
    """
    plan = plan.under(conditions)
    cells = contents if held is None else held
    shape, table = plan.shapes[store], plan.modes[0].tables[store]
    if _is_plain(plan, store):
        first, after = _at_once(shape, table, cells)
        second = _at_once(shape, table, after)[0] if twice else None
    else:
        first, after, second = _word_by_word(machine, store, plan, cells, seed, twice=twice)
    status = check_words(machine.stores[store], first)
    return Readout(machine, store, contents, first, second, after, status, held)


def contents_of(machine: MachineSpec, store: int, image: ProgramImage) -> Words:
    """Return the stored words of a store with an image in it (int64[words]). Raises InputError."""
    return power_up(RunRequest(machine, image))[store][:-EXTRA_CELLS]


def own_addresses(machine: MachineSpec, store: int) -> Words:
    """Return contents in which every word holds its own address, with right check bits (int64[words]).

    Where words are too narrow for that, their upper addresses are mixed in, so that words still differ.
    """
    spec = machine.stores[store]
    narrow = spec.words - 1 > mask(spec.data_bits)

    def data(address: int) -> int:
        folded = draw(0, FILL_STREAM, address >> spec.data_bits) if narrow else 0
        return (address ^ folded) & mask(spec.data_bits)

    return encoded(spec, np.array([data(a) for a in range(spec.words)], np.int64))


def scattered(machine: MachineSpec, store: int) -> Words:
    """Return contents in which no two words are alike (as far as they can differ) and no bit stands still.

    Unlike own addresses they let an address that goes wrong be told from data that do. int64[words].
    """
    spec = machine.stores[store]
    bits, full = spec.data_bits, mask(spec.data_bits)
    mixed = np.arange(spec.words, dtype=np.int64)
    for odd in (0x2545F491, 0x1B873593, 0x05EBCA6B):  # odd factors and shifts are one-to-one on the words
        mixed = (mixed & full) * (odd & full | 1) & full
        mixed ^= mixed >> (bits // 2 + 1)
    if spec.words - 1 > full:
        above = [draw(0, FILL_STREAM, a >> bits) & full for a in range(spec.words)]
        mixed ^= np.array(above, np.int64)
    return encoded(spec, mixed)


def encoded(spec: StoreSpec, data: Words) -> Words:
    """Return data words with the check bits of a store."""
    if spec.protection == "none":
        return data
    if spec.protection != "sec-ded":
        return data | ((ones(data) & 1) ^ int(spec.protection == "odd")) << spec.data_bits
    rows = enumerate(sec_ded_row_masks(spec.data_bits), spec.data_bits)
    stored = data
    for bit, row in rows:
        stored = stored | (ones(data & row) & 1) << bit
    return stored


def check_words(spec: StoreSpec, words: Words) -> Statuses:
    """Return what the store's check says of stored words: OK, CORRECTED or ERROR."""
    if spec.protection == "none":
        return np.zeros(len(words), np.uint8)
    if spec.protection != "sec-ded":
        good = ones(words) & 1 == (spec.protection == "odd")
        return np.where(good, OK, ERROR).astype(np.uint8)
    rows = sec_ded_row_masks(spec.data_bits)
    syndromes = sum((ones(words & row) & 1) << j for j, row in enumerate(rows))
    mends: npt.NDArray[Any] = np.array(sec_ded_syndrome_fix(spec.data_bits)) >= 0
    known = np.where(mends, CORRECTED, ERROR)
    known[0] = OK
    found: Statuses = known[syndromes].astype(np.uint8)
    return found


def ones(words: Words) -> Words:
    """Return the number of ones in each word."""
    octets = np.ascontiguousarray(words).view(np.uint8).reshape(-1, 8)
    counts: Words = np.unpackbits(octets, axis=1).sum(axis=1, dtype=np.int64)
    return counts


def _is_plain(plan: MemoryPlan, store: int) -> bool:
    """Whether no reading depends on another: fixed tables, and cells that only their own address opens."""
    mode = plan.modes[0]
    if plan.gates or any(rule.store == store for rule in mode.rules):
        return False
    return not plan.shapes[store].destructive or not len(mode.tables[store].moved)


def _at_once(shape: StoreShape, table: StoreTable, contents: Words) -> tuple[Words, Words]:
    """Return what is read, and what the cells hold afterwards."""
    sensed = np.concatenate([contents, np.array([0, mask(shape.bits), 0], np.int64)])
    sensed[table.masked] = (sensed[table.masked] & table.out_and) | table.out_or
    read = sensed[: shape.words].copy()
    if len(table.moved):
        combine = np.bitwise_or if table.wired == "or" else np.bitwise_and
        read[table.moved] = combine.reduce(sensed[table.read_to], axis=1)
    if not shape.destructive:
        return read, contents
    after = read.copy()
    mine = table.masked < shape.words
    cells = table.masked[mine]
    after[cells] = (read[cells] & table.in_and[mine]) | table.in_or[mine]
    return read, after


def _word_by_word(
    machine: MachineSpec, store: int, plan: MemoryPlan, contents: Words, seed: int, *, twice: bool
) -> tuple[Words, Words, Words | None]:
    cells = [[0] * (s.words + EXTRA_CELLS) for s in machine.stores]
    cells[store][: len(contents)] = contents.tolist()
    memory = PlannedMemory(plan, cells, seed)
    cycle, words = machine.stores[store].cycle_ns, len(contents)

    def pass_over() -> Words:
        read = []
        for address in range(words):
            memory.begin(memory.access * cycle)
            read.append(memory.read(store, address))
        return np.array(read, np.int64)

    first = pass_over()
    after = np.array(cells[store][:words], np.int64)
    return first, after, pass_over() if twice else None
