"""Which faults of each class a test detects, at cell level: one pass over all first contents at once."""

from collections.abc import Iterable, Sequence

from attrs import define, field, frozen

from emu.errors import declare, fail
from emu.where import Place
from faults.march.backgrounds import backgrounds
from faults.march.classes import CLASSES, CellFault, FaultClass, Pattern, fault_class, intra_word
from faults.march.named import KnownTest
from faults.march.notation import FILE, MarchTest
from faults.march.operations import Either, Streams, Test, expand, streams, with_backgrounds

MAX_CELLS = 16
MAX_EITHER = 10
SCHEMA = "march/1"

CELLS = declare(
    "march-cells",
    f"Coverage is computed on 2 to {MAX_CELLS} cells.",
    "Take 8: for march tests the percentages of most classes do not depend on the number.",
)
TOO_MANY_EITHER = declare(
    "march-either",
    f"The worst case over address orders is computed for at most {MAX_EITHER} either-way elements.",
    "Fix the order of some elements with ^ or v, or ask for 'up' or 'down'.",
)


@frozen
class Detection:
    """How the detection of one fault depends on the first content of the memory.

    ``mask`` has one bit per lane: bit j of the lane number is the first content of the fault's slot j,
    and where the sense latch matters the highest bit is its first value.
    """

    mask: int
    variables: int

    @property
    def always(self) -> bool:
        """D: seen from every first content (and every first latch value)."""
        return self.mask == (1 << (1 << self.variables)) - 1

    @property
    def sometimes(self) -> bool:
        """P: seen from at least one first content."""
        return self.mask != 0

    @property
    def from_zero(self) -> bool:
        """Z: seen when all cells (and the latch) start at 0."""
        return bool(self.mask & 1)

    def seen_from(self, first: Sequence[int], latch: int = 0) -> bool:
        """Tell whether the fault is seen when its slots start with ``first`` and the latch with ``latch``."""
        bits = [*first, latch][: self.variables]
        return bool(self.mask >> sum(bit << j for j, bit in enumerate(bits)) & 1)


@frozen
class ClassCoverage:
    """One row: how many instances of a class are detected. D, P and Z as in :class:`Detection`."""

    name: str
    meaning: str
    instances: int
    always: int
    sometimes: int
    from_zero: int

    def percent(self) -> float | None:
        """Return D in percent of the instances, or None where there is none."""
        return 100.0 * self.always / self.instances if self.instances else None

    def to_json(self) -> dict[str, object]:
        """Return the row as plain values."""
        return {
            "class": self.name,
            "meaning": self.meaning,
            "instances": self.instances,
            "always": self.always,
            "sometimes": self.sometimes,
            "from_zero": self.from_zero,
        }


@frozen
class MarchReport:
    """What a test is and what it detects; ready to be printed.

    ``length`` is operations per cell, None for a test that is not a march. ``operations`` counts them on
    the ``cells`` (words, where ``bits`` > 1) of the report.
    """

    name: str
    notation: str
    reference: str
    note: str
    length: int | None
    delays: int
    operations: int
    cells: int
    bits: int
    either: Either
    backgrounds: tuple[int, ...]
    rows: tuple[ClassCoverage, ...]

    def row(self, name: str) -> ClassCoverage:
        """Return the row of a class; ``KeyError`` if the report has none."""
        return {row.name: row for row in self.rows}[name]

    def to_json(self) -> dict[str, object]:
        """Return the report as one object of plain values, schema ``march/1``."""
        return {
            "schema": SCHEMA,
            "name": self.name,
            "notation": self.notation,
            "reference": self.reference,
            "note": self.note,
            "operations_per_cell": self.length,
            "delays": self.delays,
            "operations": self.operations,
            "cells": self.cells,
            "bits": self.bits,
            "either": self.either,
            "backgrounds": list(self.backgrounds),
            "classes": [row.to_json() for row in self.rows],
        }


@define
class Bench:
    """A test on a memory of a given size, ready to be asked about faults. Remembers equal cases."""

    lists: Streams
    _known: dict[tuple[Pattern, tuple[int, ...]], int] = field(factory=dict)

    def detection(self, fault: CellFault) -> Detection:
        """Return from which first contents ``fault`` is seen, in every address order that was asked."""
        pattern = fault.pattern
        key = (pattern, self.lists.numbers(fault.cells, pattern.history))
        if key not in self._known:
            self._known[key] = self._mask(*key)
        return Detection(self._known[key], pattern.variables)

    def _mask(self, pattern: Pattern, numbers: tuple[int, ...]) -> int:
        mask = (1 << (1 << pattern.variables)) - 1
        for number in numbers:
            mask &= pattern.simulate(self.lists.steps[number])
            if not mask:
                break
        return mask

    def row(self, name: str, meaning: str, faults: Iterable[CellFault]) -> ClassCoverage:
        """Return how many of ``faults`` are detected."""
        found = [self.detection(fault) for fault in faults]
        always = sum(d.always for d in found)
        sometimes = sum(d.sometimes for d in found)
        return ClassCoverage(name, meaning, len(found), always, sometimes, sum(d.from_zero for d in found))


def bench(test: Test, cells: int = 8, either: Either = "up") -> Bench:
    """Return a :class:`Bench` for one-bit cells. Raises :class:`emu.errors.InputError` beyond the limits."""
    _check_limits(test, cells, either)
    return Bench(Streams(streams(test, cells, either), march=isinstance(test, MarchTest)))


def _check_limits(test: Test, cells: int, either: Either) -> None:
    if not 2 <= cells <= MAX_CELLS:
        fail(CELLS, f"{cells} cells were given", Place(FILE), hint="take 8")
    if either == "worst" and isinstance(test, MarchTest) and test.either_count > MAX_EITHER:
        fail(TOO_MANY_EITHER, f"{test.either_count} elements leave their order open", Place(FILE))


def coverage(
    known: KnownTest, cells: int = 8, *, either: Either = "up", classes: Sequence[str] = ()
) -> MarchReport:
    """Return what a test detects on ``cells`` one-bit cells, for all classes or the named ones.

    ``either``: the order taken by either-way elements; "worst" counts a fault only if it is seen for
    every choice. Raises :class:`emu.errors.InputError` beyond the limits or for an unknown class.
    """
    wanted = [fault_class(name) for name in classes] or CLASSES
    table = bench(known.test, cells, either)
    return _report(known, table, wanted, cells=cells, bits=1, either=either, chosen=(0,))


def word_coverage(
    known: KnownTest,
    words: int = 2,
    bits: int = 4,
    *,
    patterns: Sequence[int] | None = None,
    either: Either = "up",
) -> MarchReport:
    """Return what a test detects between the bits of one word, run once for each data background.

    ``patterns`` are the backgrounds, by default those of :func:`backgrounds`. Limits as for
    :func:`coverage`; here ``words`` x ``bits`` cells.
    """
    _check_limits(known.test, words * bits if min(words, bits) > 0 else 0, either)
    chosen = tuple(backgrounds(bits) if patterns is None else patterns)
    repeated = tuple(with_backgrounds(s, chosen, bits) for s in streams(known.test, words, either))
    table = Bench(Streams(repeated, bits))
    classes = intra_word(words, bits)
    return _report(known, table, classes, cells=words, bits=bits, either=either, chosen=chosen)


def _report(
    known: KnownTest,
    table: Bench,
    classes: Sequence[FaultClass],
    *,
    cells: int,
    bits: int,
    either: Either,
    chosen: tuple[int, ...],
) -> MarchReport:
    test = known.test
    march = test if isinstance(test, MarchTest) else None
    operations = sum(op is not None for op in expand(test, cells)) * len(chosen)
    return MarchReport(
        known.name,
        str(march) if march else "",
        known.reference,
        known.note,
        march.length if march else None,
        march.delays if march else 0,
        operations,
        cells,
        bits,
        either,
        chosen,
        tuple(table.row(c.name, c.meaning, c.instances(cells * bits)) for c in classes),
    )


def escapes(known: KnownTest, name: str, cells: int = 8, *, either: Either = "up") -> tuple[CellFault, ...]:
    """Return the instances of a class that the test misses from some first content."""
    table = bench(known.test, cells, either)
    return tuple(f for f in fault_class(name).instances(cells) if not table.detection(f).always)
