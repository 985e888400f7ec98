"""The picture of a store under a plan: which words read right, as copies, merged, dead or with wrong bits.

Every word is taken to hold something different, so that each place can be told from every other; a second
count says what the contents at hand would show.
"""

from functools import cache, partial

import numpy as np
from attrs import frozen

from emu.memory import MemoryPlan, Words
from emu.spec import MachineSpec
from faults.counts import counted
from faults.dump import Readout, read_out, scattered
from faults.pattern import analyse
from faults.report.model import MemoryMap, WordClass, runs_of
from faults.telling import Teller

COLUMNS = 64


@frozen(eq=False)
class Picture:
    """What a reader of one store would find.

    ``findings``: the structure in sentences, from ``faults.pattern``. ``wrong``: words that read wrong when
    all words differ. ``shown``: words that read wrong with the contents at hand, of which ``silent`` pass the
    store's check; None where no contents were given, or there is no check. ``destroyed``: words that one
    reading changes. ``second``: words that read differently the second time. ``gated``: the fault comes and
    goes, and this is the picture while it is there.
    """

    store: str
    memory: MemoryMap
    findings: tuple[str, ...]
    limits: tuple[str, ...]
    wrong: int
    destroyed: int
    second: int
    writable: bool = False
    gated: bool = False
    shown: int | None = None
    silent: int | None = None

    def told(self, most: int) -> tuple[str, ...]:
        """Return the most telling findings, none where every reading is right."""
        return self.findings[:most] if self.wrong or self.second else ()

    def sentences(self) -> tuple[str, ...]:
        """Return what a reader would find, in words."""
        words = counted(self.memory.words, "word")
        where = f"{'While the fault is there, of' if self.gated else 'Of'} the {words} of the {self.store}"
        before = " and were written before it came" if self.writable else ""
        said = [f"{where} {self.wrong:,} read wrong when all words differ{before}."]
        if not self.wrong:
            said = [
                f"Where all words differ, a first reading of the {self.store} is right in all its {words}."
            ]
        if self.shown:
            notice = "and nothing tells, for it has no check bits"
            if self.silent is not None:
                passes = "passes" if self.silent == 1 else "pass"
                notice = f"of which {self.silent:,} {passes} the check of the store"
            said.append(f"With the contents of this program {self.shown:,} read wrong, {notice}.")
        if self.destroyed:
            said.append(
                f"CAUTION: reading changes {counted(self.destroyed, 'word')} in the store itself; the first "
                "reading may be the only one."
            )
        if self.second:
            said.append(f"A second reading differs from the first in {counted(self.second, 'word')}.")
        return tuple(said)


def affected_stores(plan: MemoryPlan) -> tuple[int, ...]:
    """Return the stores that a plan alters."""
    return tuple(
        number
        for number in range(len(plan.shapes))
        if any(not m.tables[number].healthy or any(r.store == number for r in m.rules) for m in plan.modes)
    )


def draw_picture(
    machine: MachineSpec,
    store: int,
    plan: MemoryPlan,
    contents: Words | None = None,
    *,
    conditions: frozenset[str] = frozenset(),
    seed: int = 0,
    gated: bool = False,
) -> Picture:
    """Return the picture of a store. ``contents`` (int64[words]): stored words to count as well.

    ``gated``: the plan is that of a fault that comes and goes, while it is there.
    """
    read = read_out(
        machine, store, plan, scattered(machine, store), twice=True, conditions=conditions, seed=seed
    )
    report = analyse(read.evidence())
    shown = None
    if contents is not None:
        shown = read_out(machine, store, plan, contents, conditions=conditions, seed=seed)
    assert read.second is not None, "the store was read twice"
    return Picture(
        machine.stores[store].name,
        memory_map(read, plan.under(conditions)),
        tuple(f.sentence for f in report.findings),
        report.limits,
        read.wrong,
        read.destroyed,
        int(np.count_nonzero(read.second != read.first)),
        machine.stores[store].writable,
        gated,
        None if shown is None else shown.wrong,
        None if shown is None or machine.stores[store].protection == "none" else shown.silent,
    )


def memory_map(read: Readout, plan: MemoryPlan, note: str = "") -> MemoryMap:
    """Return the first reading as classes of words. ``plan``: under which it was read, conditions settled."""
    words = len(read.first)
    kinds: list[WordClass] = ["same"] * words
    sources: list[int | None] = [None] * words
    bits = [""] * words
    opened = _opened(plan, read.store)
    name_bits = cache(partial(Teller(read.machine).bits, read.store))
    differs = read.first ^ read.contents
    for address in np.flatnonzero(differs).tolist():
        cells = opened.get(address, (address,))
        got, wrong = int(read.first[address]), int(differs[address])
        kinds[address], sources[address] = _class_of(read, cells, got)
        if kinds[address] == "bits":
            bits[address] = name_bits(wrong)
    return MemoryMap(
        read.spec.name,
        words,
        min(COLUMNS, words),
        runs_of(kinds, sources, bits),
        read.machine.word.base,
        note,
    )


def _class_of(read: Readout, cells: tuple[int, ...], got: int) -> tuple[WordClass, int | None]:
    words = len(read.contents)
    if len(cells) > 1 and all(cell < words for cell in cells):
        return "merged", None
    if cells[0] < words and got == int(read.contents[cells[0]]):
        return "copy", cells[0]
    if not got:
        return "zero", None
    return "bits", None


def _opened(plan: MemoryPlan, store: int) -> dict[int, tuple[int, ...]]:
    """Return the cells that answer moved addresses, while everything that comes and goes is there."""
    table = plan.modes[-1].tables[store]
    rows = table.read_to.tolist()
    return {a: tuple(dict.fromkeys(row)) for a, row in zip(table.moved.tolist(), rows, strict=True)}
