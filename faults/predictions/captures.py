"""Captured transactions against each suspect: words whose value is known, read back.

Two kinds of readings can be foretold. A store that no program can write holds what the program's image says,
so that what was read of it is a dump of a few words. A word that was written and read again, with no other
writing to its store in between, should be what was written. Everything else is left aside and counted. Data
are taken as they come from the memory, before any check mends them.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import evolve, frozen

from emu.codes import encode
from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.files.suspicions import Suspicion, suspect
from emu.image import MemoryImage
from emu.memory import EXTRA_CELLS, ONES, Cells, MemoryPlan, StoreTable
from emu.spec import MachineSpec
from emu.words import mask
from faults.case.model import Capture, Dump
from faults.case.readings import Transaction, read_text, read_transactions
from faults.fault import Fault
from faults.predictions.book import Book
from faults.predictions.dumps import Misfit, dump_misfit
from faults.predictions.evidence import Observed, moved
from faults.predictions.reading import altered
from faults.predictions.scene import Scene
from faults.telling import Teller

Words = npt.NDArray[np.int64]
READS: Final = frozenset({"r", "rd", "read", "f", "fetch"})
WRITES: Final = frozenset({"w", "wr", "write"})
SILENT: Final = -1
"""Number of wrong words where a suspect's words cannot be foretold from a capture."""

_PLAIN: Final = frozenset({"set", "clear", "flip", "tie-or", "tie-and", "swap"})
_SHOWN: Final = 4


@frozen(eq=False)
class ReadBack:
    """Words written to a store and read again at once: int64[n] each; ``known``: bits that were read."""

    store: int
    addresses: Words
    written: Words
    read: Words
    known: Words

    @property
    def differs(self) -> Words:
        """The bits that came back other than they were written."""
        return (self.read ^ self.written) & self.known

    @property
    def total(self) -> int:
        """How many came back other than they were written."""
        return int(np.count_nonzero(self.differs))


@frozen(eq=False)
class Captured:
    """What of a capture can be compared. ``rows``: transactions in the file; ``wavering``: addresses that
    gave different words though nothing wrote them; ``banked``: rows of which the capture lacks the bank.
    """  # noqa: D205

    known: tuple[Observed, ...]
    back: tuple[ReadBack, ...]
    rows: int
    wavering: int = 0
    banked: int = 0

    @property
    def compared(self) -> int:
        """How many words can be compared."""
        whole = sum(int(np.count_nonzero(one.known)) for one in self.known)
        return whole + sum(len(one.addresses) for one in self.back)

    @property
    def differs(self) -> Words:
        """The wrong bits of every word that can be compared (int64[n])."""
        whole = [((o.words ^ o.expected) & o.known & o.sure)[o.known != 0] for o in self.known]
        return np.concatenate([*whole, *(one.differs for one in self.back), np.zeros(0, np.int64)])

    @property
    def suspected(self) -> tuple[Suspicion, ...]:
        """What forbids to take the file for what the machine did."""
        return tuple(s for one in self.known for s in one.misread_file)

    @property
    def remark(self) -> str:
        """What was compared and what not, in words."""
        parts = [f"words compared: {self.compared:,}, of {self.rows:,} transactions"]
        if self.wavering:
            parts.append(f"{self.wavering:,} addresses left aside that gave different words at times")
        if self.banked:
            parts.append(f"{self.banked:,} transactions left aside whose bank the capture does not say")
        return "; ".join(parts)


def read_capture(scene: Scene, number: int, entry: Capture) -> Captured:
    """Read a capture of a case. Raises InputError for a file that cannot be read."""
    machine = scene.machine
    addresses = evolve(machine.word, bits=machine.address_bits)
    source = read_text(scene.case.path_of(entry.file))
    rows = read_transactions(source, entry.columns.split(","), addresses, machine.word)
    placed: dict[int, list[tuple[int, Transaction]]] = {}
    banked = 0
    for row in rows:
        spot = _spot(machine, row.address)
        if spot is not None:
            placed.setdefault(spot[0], []).append((spot[1], row))
        banked += spot is None and _banked(machine, row.address)
    known: list[Observed] = []
    back: list[ReadBack] = []
    wavering = 0
    for store, found in sorted(placed.items()):
        if machine.stores[store].writable:
            back += _read_back(machine, store, found)
        else:
            one, differing = _of_known(scene, number, entry, store, found)
            known += one
            wavering += differing
    return Captured(tuple(known), tuple(back), len(rows), wavering, banked)


def set_aside(captured: Captured, entry: Capture) -> str:
    """Return why a capture says nothing, "" if it does say something."""
    if captured.suspected:
        return f"set aside, for the file may be read wrongly: {captured.suspected[0].sentence}"
    if captured.compared:
        return ""
    kinds = "" if "kind" in entry.columns.split(",") else " `columns` names no kind, read or write."
    return (
        "it says nothing of which the right value is known: what is read of a store that programs write is "
        f"known only if it was written just before.{kinds} {captured.remark}"
    )


def captured_words(
    machine: MachineSpec, misfit: Misfit, where: Callable[[int], list[tuple[int, int]]], number: int
) -> str:
    """Return how many captured words differ from what a suspect would show, and which, in words."""
    wrong = int(misfit.wrong[number])
    if not wrong:
        return "exactly what it would show" if misfit.total else "nothing would be wrong there"
    teller = Teller(machine)
    names = ", ".join(teller.cell(*spot) for spot in where(number))
    more = ", .." if wrong > _SHOWN else ""
    return f"{wrong} of {misfit.of:,} words differ from what it would show: {names}{more}"


def _spot(machine: MachineSpec, address: int) -> tuple[int, int] | None:
    """Return store and index of an address of the processor; None if there is none, or a bank decides."""
    for window in machine.windows:
        if window.first <= address <= window.last and not window.bank:
            store = machine.store_index(window.store)
            return store, (window.offset + (address - window.first) // window.unit) % machine.stores[
                store
            ].words
    return None


def _banked(machine: MachineSpec, address: int) -> bool:
    return any(w.bank and w.first <= address <= w.last for w in machine.windows)


def _of_known(
    scene: Scene, number: int, entry: Capture, store: int, rows: Iterable[tuple[int, Transaction]]
) -> tuple[list[Observed], int]:
    """Return the readings of a store whose contents the image gives, and how many addresses wavered."""
    spec = scene.machine.stores[store]
    image = scene.program(entry.program).image
    if spec.name not in image.segments:
        return [], 0
    expected = power_up(RunRequest(scene.machine, image))[store][:-EXTRA_CELLS].astype(np.int64)
    words, known = np.zeros(spec.words, np.int64), np.zeros(spec.words, np.int64)
    wavering: set[int] = set()
    for index, row in rows:
        if row.kind.lower() in WRITES:
            continue
        mine = row.known & mask(spec.data_bits)
        if (row.data ^ words[index]) & mine & known[index]:
            wavering.add(index)
        words[index] |= row.data & mine & ~int(known[index])
        known[index] |= mine
    known[list(wavering)] = 0
    words &= known
    if not bool(known.any()):
        return [], len(wavering)
    sure = np.full(spec.words, mask(spec.bits), np.int64)
    dump = Dump(store=spec.name, file=entry.file, path=entry.path)
    suspicions = _suspected(
        words, known, expected, spec.data_bits, 16 if scene.machine.word.base == 16 else 8
    )
    return [Observed(number, dump, store, words, known, expected, sure, suspicions)], len(wavering)


def _suspected(words: Words, known: Words, expected: Words, bits: int, base: Any) -> tuple[Suspicion, ...]:
    """Return what may be wrong with the file, judged by the addresses that were captured."""
    seen = np.flatnonzero(known)
    read = MemoryImage(bits, {int(a): (int(words[a]), int(known[a])) for a in seen})
    wanted = MemoryImage(bits, {int(a): (int(expected[a]) & mask(bits), mask(bits)) for a in seen})
    lacks = "the file agrees but lacks"  # a capture never has all words
    found = tuple(s for s in suspect(read, wanted, base) if not s.sentence.startswith(lacks))
    return found or moved(words, known, expected, base)


def _read_back(machine: MachineSpec, store: int, rows: Iterable[tuple[int, Transaction]]) -> list[ReadBack]:
    """Return the words that were written and read again before anything else was written to the store."""
    spec = machine.stores[store]
    full = mask(spec.data_bits)
    found: list[tuple[int, int, int, int]] = []
    last: tuple[int, int] | None = None
    for index, row in rows:
        kind = row.kind.lower()
        if kind in WRITES:
            last = (index, row.data) if row.known & full == full else None
        elif kind not in READS:
            last = None  # it may have been a writing
        elif last is not None and last[0] == index:
            written = encode(spec.protection, spec.data_bits, last[1] & full)
            found.append((index, written, row.data & row.known & full, row.known & full))
            last = None  # a reading may destroy: only the first one is foretold
        elif spec.destructive:
            last = None  # what another reading writes back may go to the same cells
    if not found:
        return []
    return [ReadBack(store, *np.array(found, np.int64).T)]


def capture_misfit(
    captured: Captured,
    faults: Sequence[Fault | None],
    digests: Sequence[str],
    plan_of: Callable[[Fault | None], MemoryPlan | None],
    book_of: Callable[[Observed], Book],
) -> tuple[Misfit, Callable[[int], list[tuple[int, int]]]]:
    """Compare a capture with what it would be under each fault; ``wrong`` is SILENT where none can tell.

    Returns also, for a suspect's number, the first (store, address) that differ.
    """
    parts = [dump_misfit(one, book_of(one), faults, digests) for one in captured.known]
    wrong = sum((p.wrong for p in parts), np.zeros(len(faults), np.int64))
    memo: dict[str, int] = {}
    for i, (fault, digest) in enumerate(zip(faults, digests, strict=True)):
        if digest not in memo:
            memo[digest] = _judged(captured, fault, plan_of(fault))
        wrong[i] = SILENT if memo[digest] == SILENT else wrong[i] + memo[digest]

    def where(number: int) -> list[tuple[int, int]]:
        spots = [
            (one.store, a)
            for one, part in zip(captured.known, parts, strict=True)
            for a in part.where(number)
        ]
        plan = plan_of(faults[number])
        for one in captured.back:
            off = _off(one, plan)
            spots += [(one.store, int(a)) for a in one.addresses[off]] if off is not None else []
        return spots[:_SHOWN]

    of = captured.compared
    total = sum(p.total for p in parts) + sum(one.total for one in captured.back)
    cost = max([p.cost for p in parts] + [0.5 * _bits(one) * math.log(2) for one in captured.back])
    return Misfit(wrong, of, total, cost, lambda n: [a for _, a in where(n)]), where


def _bits(one: ReadBack) -> int:
    return int(one.known.max(initial=1)).bit_count()


def _judged(captured: Captured, fault: Fault | None, plan: MemoryPlan | None) -> int:
    """Return how many words read back are not as the plan makes them; SILENT if it cannot be told."""
    if fault is None:
        return sum(one.total for one in captured.back)
    if plan is None or plan.gates or len(plan.modes[0].bus_moved):
        return SILENT
    concerned = {one.store for one in captured.known} | {one.store for one in captured.back}
    rules = [r for r in plan.modes[0].rules if r.store in concerned]
    if any(r.last_mask or r.action in ("hold", "late") for r in rules):
        return SILENT  # what it gives depends on the reading before, which a capture may lack
    count = 0
    for one in captured.back:
        off = _off(one, plan)
        if off is None:
            return SILENT
        count += int(np.count_nonzero(off))
    return count


def _off(one: ReadBack, plan: MemoryPlan | None) -> npt.NDArray[np.bool_] | None:
    """Return which words read back differ from what the plan gives; None if it cannot be told."""
    made = read_again(plan, one.store, one.addresses, one.written) if plan else one.written
    return None if made is None else ((made ^ one.read) & one.known) != 0


def read_again(plan: MemoryPlan, store: int, addresses: Words, words: Words) -> Words | None:
    """Return what is read of ``words`` written just before to ``addresses`` (int64[n] each) under a plan.

    None where that depends on more than the word: on other cells, on the past, on chance.
    """
    mode = plan.modes[0]
    rules = [r for r in mode.rules if r.store == store]
    if plan.gates or len(mode.bus_moved) or any(r.action not in _PLAIN or r.last_mask for r in rules):
        return None
    for side in ("bus", "sense"):
        words = altered([r for r in rules if r.side == side and r.on in ("write", "both")], addresses, words)
    found = _stored(mode.tables[store], addresses, words, plan.shapes[store].words)
    if found is None:
        return None
    for side in ("sense", "bus"):
        found = altered([r for r in rules if r.side == side and r.on in ("read", "both")], addresses, found)
    return found


def _stored(table: StoreTable, addresses: Words, words: Words, size: int) -> Words | None:
    """Return what the cells give that were just written; None if others answer than were written."""
    made = words.copy()
    for n, (address, word) in enumerate(zip(addresses.tolist(), words.tolist(), strict=True)):
        row = _row(table.moved, address)
        opened = [address] if row is None else sorted(set(table.read_to[row].tolist()))
        reached = [address] if row is None else table.write_to[row].tolist()
        if any(cell < size and cell not in reached for cell in opened):
            return None
        given = [_cell(table, cell, word, size) for cell in opened]
        made[n] = (np.bitwise_or if table.wired == "or" else np.bitwise_and).reduce(given)
    return made


def _row(ascending: Cells, wanted: int) -> int | None:
    place = int(np.searchsorted(ascending, wanted))
    return place if place < len(ascending) and int(ascending[place]) == wanted else None


def _cell(table: StoreTable, cell: int, word: int, size: int) -> int:
    value = word if cell < size else mask(62) if cell == size + ONES else 0
    place = _row(table.masked, cell)
    if place is None:
        return value
    if cell < size:
        value = (value & int(table.in_and[place])) | int(table.in_or[place])
    return (value & int(table.out_and[place])) | int(table.out_or[place])
