"""What a reader gets from a store under a plan, whole arrays at a time wherever that is exact.

Written through first where the store is written: each word once, from the first to the last. Plans whose
readings depend on one another (several cores opened by a destructive read, cells that disturb each other) are
read word by word, by the definition of a plan. A reader begins with a quiet bus: nothing is left on it.
"""

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from emu.memory import EXTRA_CELLS, MemoryPlan, Mode, PlannedMemory, StoreShape, StoreTable
from emu.rules import Rule

Words = npt.NDArray[np.int64]
_CELL_ACTIONS: Final = frozenset({"keep", "couple", "force", "read-disturb"})


def touches(plan: MemoryPlan, store: int) -> bool:
    """Whether a plan alters anything of a store."""
    return any(
        not mode.tables[store].healthy or any(rule.store == store for rule in mode.rules)
        for mode in plan.modes
    )


def readings(plan: MemoryPlan, store: int, contents: Words, times: int = 1, *, written: bool = True) -> Words:
    """Return what the last of ``times`` readings of a whole store gives (int64[words], stored words).

    ``contents``: what was put in; ``written``: through the plan itself, where the store can be written, not
    before the fault came. Only plans without gates.
    """
    shape, mode = plan.shapes[store], plan.modes[0]
    if not touches(plan, store):
        return contents
    if _independent(shape, mode, store, times):
        return _at_once(shape, mode, store, contents, times, written and shape.writable)
    return _word_by_word(plan, store, contents, times, written and shape.writable)


def _independent(shape: StoreShape, mode: Mode, store: int, times: int) -> bool:
    rules = [rule for rule in mode.rules if rule.store == store]
    if any(rule.action in _CELL_ACTIONS for rule in rules):
        return False
    if not shape.destructive:
        return True
    table = mode.tables[store]
    if times > 1 and (len(table.moved) or rules):
        return False
    if not len(table.moved):
        return True
    single = np.all(table.read_to == table.read_to[:, :1]) and np.all(table.read_to == table.write_to)
    return bool(single)


def _at_once(shape: StoreShape, mode: Mode, store: int, contents: Words, times: int, written: bool) -> Words:
    table = mode.tables[store]
    rules = [rule for rule in mode.rules if rule.store == store]
    cells = _filled(shape, table, rules, contents) if written else contents
    read = _read(shape, table, rules, cells)
    for _ in range(times - 1 if shape.destructive else 0):
        cells = _masked(table, read, table.in_and, table.in_or)
        read = _read(shape, table, rules, cells)
    return read


def _filled(shape: StoreShape, table: StoreTable, rules: list[Rule], contents: Words) -> Words:
    nothing = np.zeros(len(contents), np.int64)
    words = _through(rules, "bus", "write", contents, nothing)
    words = _through(rules, "sense", "write", words, nothing)
    cells = words.copy()
    if len(table.moved):
        own = np.ones(shape.words, np.bool_)
        own[table.moved] = False
        alone = np.flatnonzero(own)
        width = table.write_to.shape[1]
        address = np.concatenate([alone, np.repeat(table.moved.astype(np.int64), width)])
        cell = np.concatenate([alone, table.write_to.astype(np.int64).reshape(-1)])
        order = np.argsort(address, kind="stable")
        big = np.zeros(shape.words + EXTRA_CELLS, np.int64)
        big[cell[order]] = words[address[order]]  # the last word written to a cell stays
        cells = big[: shape.words]
    for rule in rules:
        if rule.action == "redirect":
            cells = _redirect_written(rule, cells, words)
    return _masked(table, cells, table.in_and, table.in_or)


def _redirect_written(rule: Rule, cells: Words, words: Words) -> Words:
    addresses = _concerned(rule, len(words))
    targets = (addresses & rule.keep_mask) ^ rule.flip_mask
    made = cells.copy()
    made[addresses] &= ~rule.bits
    inside = targets < len(words)
    bits = np.zeros(len(words), np.int64)
    bits[targets[inside]] = words[addresses[inside]] & rule.bits
    changed = np.unique(targets[inside])
    made[changed] = (made[changed] & ~rule.bits) | bits[changed]
    return made


def _masked(table: StoreTable, words: Words, ands: Words, ors: Words) -> Words:
    mine = table.masked < len(words)
    if not bool(mine.any()):
        return words
    made = words.copy()
    cells = table.masked[mine]
    made[cells] = (made[cells] & ands[mine]) | ors[mine]
    return made


def _read(shape: StoreShape, table: StoreTable, rules: list[Rule], cells: Words) -> Words:
    sensed = np.concatenate([cells, np.array([0, (1 << shape.bits) - 1, 0], np.int64)])
    if len(table.masked):
        sensed[table.masked] = (sensed[table.masked] & table.out_and) | table.out_or
    read = sensed[: shape.words].copy()
    if len(table.moved):
        combine = np.bitwise_or if table.wired == "or" else np.bitwise_and
        read[table.moved] = combine.reduce(sensed[table.read_to], axis=1)
    base = read.copy()
    for rule in rules:
        if rule.action == "redirect":
            addresses = _concerned(rule, shape.words)
            other = base[(addresses & rule.keep_mask) ^ rule.flip_mask]
            read[addresses] = (read[addresses] & ~rule.bits) | (other & rule.bits)
    sensed_word = _through(rules, "sense", "read", read, read)
    return _through(rules, "bus", "read", sensed_word, read)


def _concerned(rule: Rule, words: int) -> Words:
    addresses = np.arange(words, dtype=np.int64)
    chosen: Words = addresses[(addresses & rule.address_mask) == rule.address_value]
    return chosen


def _through(rules: list[Rule], side: str, on: str, words: Words, given: Words) -> Words:
    """Return the words after the rules of a side. ``given``: what the cells gave at each reading."""
    mine = [r for r in rules if r.side == side and r.on in (on, "both") and r.action != "redirect"]
    if not mine:
        return words
    words = words.copy()
    if any(r.last_mask or r.action in ("hold", "late") for r in mine):
        return _in_sequence(mine, side, words, given)
    return altered(mine, np.arange(len(words), dtype=np.int64), words)


def altered(rules: Sequence[Rule], addresses: Words, words: Words) -> Words:
    """Return the words (int64[n], those of the addresses) after rules that do not look back."""
    made = words.copy()
    for rule in rules:
        mine = (addresses & rule.address_mask) == rule.address_value
        mine &= (made & rule.word_mask) == rule.word_value
        made[mine] = _altered(rule, made[mine])
    return made


def _altered(rule: Rule, words: Words) -> Any:
    bits = rule.bits
    match rule.action:
        case "set":
            return words | bits
        case "clear":
            return words & ~bits
        case "flip":
            return words ^ bits
        case "tie-or":
            return np.where(words & bits != 0, words | bits, words)
        case "tie-and":
            return np.where(words & bits == bits, words, words & ~bits)
        case "swap":
            return np.where((words & bits == 0) | (words & bits == bits), words, words ^ bits)
        case _:
            raise AssertionError(f"{rule.action} looks back")


def _in_sequence(rules: list[Rule], side: str, words: Words, given: Words) -> Words:
    """Apply rules that look back: only the addresses they concern are walked over.

    At the sense side they look at what the cells gave at the reading before, at the bus side at the word
    that was last on the bus.
    """
    chosen = np.zeros(len(words), np.bool_)
    for rule in rules:
        chosen[_concerned(rule, len(words))] = True
    plain = words.tolist()
    for address in np.flatnonzero(chosen).tolist():
        gave = int(given[address - 1]) if address else 0
        last = plain[address - 1] if address else 0
        before = gave if side == "sense" else last
        word = plain[address]
        for rule in rules:
            if address & rule.address_mask != rule.address_value or word & rule.word_mask != rule.word_value:
                continue
            if before & rule.last_mask != rule.last_value:
                continue
            word = _one(rule, word, gave if rule.action == "late" else last)
        plain[address] = word
    return np.array(plain, np.int64)


def _one(rule: Rule, word: int, last: int) -> int:
    if rule.action in ("hold", "late"):
        return (word & ~rule.bits) | (last & rule.bits)
    return (
        int(_altered(rule, np.array([word], np.int64))[0])
        if rule.action not in ("set", "clear")
        else (word | rule.bits if rule.action == "set" else word & ~rule.bits)
    )


def _word_by_word(plan: MemoryPlan, store: int, contents: Words, times: int, written: bool) -> Words:
    cells = [[0] * (shape.words + EXTRA_CELLS) for shape in plan.shapes]
    memory = PlannedMemory(plan, cells)
    if written:
        for address, word in enumerate(contents.tolist()):
            memory.write(store, address, word)
        memory.last_word, memory.last_address = 0, 0
    else:
        cells[store][: len(contents)] = contents.tolist()
    read: list[int] = []
    for _ in range(times):
        read = [memory.read(store, address) for address in range(len(contents))]
    return np.array(read, np.int64)
