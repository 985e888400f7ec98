"""What a plan makes of stores whose cells never change: each word that is read becomes one other word.

Masks, moved addresses and rules that look at nothing but the word do the same at every reading. Where a store
cannot be written and reading leaves it as it is, a run under such a plan is the healthy run of another
content, but for what the cells hold in the end.
"""

from functools import lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt

from emu.memory import MemoryPlan, StoreTable
from emu.rules import Rule

Ints = npt.NDArray[np.int64]
_OF_THE_WORD: Final = {"set", "clear", "flip", "tie-or", "tie-and", "swap"}


@lru_cache(maxsize=512)
def region(words: int, mask: int, value: int) -> Ints:
    """Return the addresses (int64, ascending) whose bits under a mask have a value."""
    addresses = np.arange(words, dtype=np.int64)
    found: Ints = addresses[(addresses & mask) == value]
    found.setflags(write=False)
    return found


@lru_cache(maxsize=64)  # a plan is asked about once for every program
def altered_stores(plan: MemoryPlan) -> tuple[int, ...]:
    """Return the stores that a plan alters, if all that it does is to change words that last; else none."""
    mode = plan.modes[0]
    if plan.gates or len(mode.bus_moved):
        return ()
    if any(rule.action not in _OF_THE_WORD or rule.last_mask for rule in mode.rules):
        return ()
    tables = {number for number, table in enumerate(mode.tables) if not table.healthy}
    stores = tables | {rule.store for rule in mode.rules}
    lasting = not any(plan.shapes[s].writable or plan.shapes[s].destructive for s in stores)
    return tuple(sorted(stores)) if lasting else ()


@lru_cache(maxsize=64)
def concerned(plan: MemoryPlan, store: int) -> Ints:
    """Return the addresses (int64, not in order, some twice) at which such a plan can change a word."""
    mode, words = plan.modes[0], plan.shapes[store].words
    table = mode.tables[store]
    rules = (r for r in mode.rules if r.store == store)
    parts = [region(words, r.address_mask, r.address_value) for r in rules]
    found = np.concatenate([table.moved, table.masked[table.masked < words], *parts]).astype(np.int64)
    found.setflags(write=False)
    return found


def given(plan: MemoryPlan, store: int, cells: Ints, addresses: Ints) -> Ints:
    """Return the words that reading addresses gives; ``cells`` of the store, its extra cells included."""
    mode = plan.modes[0]
    word = _sensed(mode.tables[store], cells, addresses)
    for side in ("sense", "bus"):
        for rule in mode.rules:
            if rule.store == store and rule.side == side and rule.on != "write":
                acts = (addresses & rule.address_mask) == rule.address_value
                acts &= (word & rule.word_mask) == rule.word_value
                word = np.where(acts, _altered(rule, word), word)
    return word


def _sensed(table: StoreTable, cells: Ints, addresses: Ints) -> Ints:
    word = _leaving(table, cells, addresses)
    if not len(table.moved):
        return word
    at, hit = _found(table.moved, addresses)
    rows = table.read_to[at[hit]]
    total = _leaving(table, cells, rows[:, 0])
    for column in range(1, rows.shape[1]):  # a row is filled up with its last cell, which changes nothing
        more = _leaving(table, cells, rows[:, column])
        total = total | more if table.wired == "or" else total & more
    word[hit] = total
    return word


def _leaving(table: StoreTable, cells: Ints, at: npt.NDArray[np.integer]) -> Ints:
    word: Ints = cells[at]
    if len(table.masked):
        place, hit = _found(table.masked, at)
        word = np.where(hit, (word & table.out_and[place]) | table.out_or[place], word)
    return word


def _found(
    ascending: npt.NDArray[np.int32], wanted: npt.NDArray[np.integer]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Return for each wanted number a place among the ascending ones, and whether it stands there."""
    place = np.minimum(np.searchsorted(ascending, wanted.astype(np.int32)), len(ascending) - 1)
    return place, ascending[place] == wanted


def _altered(rule: Rule, word: Ints) -> Ints:
    bits = rule.bits
    present = word & bits
    match rule.action:
        case "set":
            return word | bits
        case "clear":
            return word & ~bits
        case "flip":
            return word ^ bits
        case "tie-or":
            return np.where(present != 0, word | bits, word)
        case "tie-and":
            return np.where(present == bits, word, word & ~bits)
        case _:
            return np.where((present == 0) | (present == bits), word, word ^ bits)
