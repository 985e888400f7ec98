"""What the evidence points at by itself: addresses that were printed, latched, lamped or read wrong."""

import re
from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np
from attrs import field, frozen

from emu.spec import MachineSpec
from emu.words import WordFormat
from faults.case.forms import parse_addresses, parse_lamps
from faults.case.load import Case
from faults.case.model import Addresses, Alarm, Dump, Entry, Failed, Passed, Printed, Stop
from faults.hypotheses import IntArray
from faults.predictions.evidence import Observed

MOST_WRONG: Final = 40
"""More wrong words than this in a dump are no work of single cells."""

_NUMBER: Final = re.compile(r"[0-9A-Fa-f]{2,16}")
_MOST_NUMBERS: Final = 60


@frozen
class Clues:
    """``addresses``: store number -> addresses that something points at. ``damage``: store number ->
    addresses read wrong (int64[n]) where they are too many to be the work of single cells. ``touched``: store
    number -> for each program of the case the addresses that it reads or writes (int64[n]).
    ``comes_and_goes``: some of what was seen was there only at times.
    """  # noqa: D205

    addresses: Mapping[int, frozenset[int]] = field(factory=dict)
    damage: Mapping[int, IntArray] = field(factory=dict)
    touched: Mapping[int, tuple[IntArray, ...]] = field(factory=dict)
    comes_and_goes: bool = False


def clues_of(case: Case, machine: MachineSpec, dumps: Iterable[Observed]) -> Clues:
    """Return the clues of a case. ``dumps``: those that were read, against what they should hold."""
    numbers: set[int] = set()
    for entry in case.entries:
        numbers |= set(_numbers(entry, machine))
    found = {index: _in_store(machine, index, numbers) for index in range(len(machine.stores))}
    damage: dict[int, IntArray] = {}
    for dump in dumps:
        wrong = np.flatnonzero(dump.wrong)
        if len(wrong) <= MOST_WRONG:
            found[dump.store] |= set(wrong.tolist())
        else:
            damage[dump.store] = wrong
    named = {s: frozenset(a) for s, a in found.items() if a}
    return Clues(named, damage, comes_and_goes=_comes_and_goes(case))


def _numbers(entry: Entry, machine: MachineSpec) -> Iterable[int]:
    text = ""
    match entry:
        case Printed() | Failed():
            text = entry.text
        case Alarm():
            text = entry.first
        case Stop():
            text = " ".join([entry.address, *(lamp.digits for lamp in parse_lamps(entry.lamps))])
        case Addresses() if entry.failing:
            whole = WordFormat(24, base=machine.word.base)
            ranges = parse_addresses(entry.failing, whole)
            return [
                a for first, last in ranges[:_MOST_NUMBERS] for a in range(first, min(last, first + 8) + 1)
            ]
        case _:
            return ()
    found = _NUMBER.findall(text)[:_MOST_NUMBERS]
    base = machine.word.base
    values = []
    for digits in found:
        try:
            values.append(int(digits, base))
        except ValueError:
            continue
    return values


def _in_store(machine: MachineSpec, index: int, numbers: Iterable[int]) -> set[int]:
    """Return the numbers as addresses of a store: its own, and those of the machine that reach it."""
    spec = machine.stores[index]
    found = {n for n in numbers if n < spec.words}
    for window in machine.windows:
        if window.store == spec.name:
            inside = {(n - window.first) // window.unit for n in numbers if window.first <= n <= window.last}
            if window.bank:  # the bank is not known; programs also count words from the beginning of one
                inside |= {n for n in numbers if n < window.size}
                banks = range(-(-(spec.words - window.offset) // window.size))
                found |= {window.offset + bank * window.size + n for n in inside for bank in banks}
            else:
                found |= {window.offset + n for n in inside}
    return {n for n in found if n < spec.words}


def _comes_and_goes(case: Case) -> bool:
    told: dict[tuple[str, int], set[bool]] = {}
    for entry, epoch in zip(case.entries, case.epochs, strict=True):
        if isinstance(entry, Failed) and entry.failures not in (None, entry.runs):
            return True
        if isinstance(entry, Passed | Failed):
            told.setdefault((entry.program, epoch), set()).add(isinstance(entry, Passed))
    repeats = [e for e in case.entries if isinstance(e, Dump) and e.repeat > 1]
    return any(len(kinds) > 1 for kinds in told.values()) or bool(repeats and _differ(repeats, case))


def _differ(repeats: list[Dump], case: Case) -> bool:
    """Whether a later reading of a store that keeps its words when read is not like an earlier one."""
    files = {(e.store, e.file): e.sha256 for e in case.entries if isinstance(e, Dump)}
    hashes: dict[str, set[str]] = {}
    for (store, _), digest in files.items():
        hashes.setdefault(store, set()).add(digest)
    return any(len(hashes[e.store]) > 1 for e in repeats)
