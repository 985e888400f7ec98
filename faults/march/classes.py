"""The classic fault classes: what each means, and every instance on a memory of N cells."""

from collections.abc import Callable, Iterator
from itertools import combinations, permutations

from attrs import field, frozen

from emu.errors import declare, fail, nearest
from emu.where import Place
from faults.march import classes_address as address
from faults.march import classes_cell as cell
from faults.march import classes_linked as linked
from faults.march.decoders import AddressPattern
from faults.march.notation import FILE
from faults.march.primitives import CellPattern

UNKNOWN_CLASS = declare(
    "march-unknown-class",
    "A fault class is one of the listed ones.",
    "Take a name from the list of classes in docs/reference/march-coverage.md.",
)

Pattern = CellPattern | AddressPattern
_CELLS: dict[int, tuple[str, ...]] = {
    1: ("cell",),
    2: ("aggressor", "victim"),
    3: ("first aggressor", "second", "victim"),
}
_ADDRESSES: dict[int, tuple[str, ...]] = {1: ("address",), 2: ("first", "second")}


@frozen
class CellFault:
    """One instance: a pattern placed on cells. ``cells[s]`` is the cell (or address) of slot s."""

    cells: tuple[int, ...]
    pattern: Pattern

    @property
    def kind(self) -> str:
        """The class of the fault, ``CFid`` for instance."""
        return self.pattern.kind

    def __str__(self) -> str:
        return f"{self.kind} {self._where()}: {self.pattern.words}"

    def _where(self) -> str:
        if self.kind.startswith("ABIT"):
            return "all addresses"
        table = _ADDRESSES if isinstance(self.pattern, AddressPattern) else _CELLS
        names = table[len(self.cells)]
        return ", ".join(f"{name} {cell}" for name, cell in zip(names, self.cells, strict=True))


@frozen
class FaultClass:
    """A fault class. ``meaning`` is one sentence, ``formula`` the number of instances on N = 2^k cells."""

    name: str
    meaning: str
    formula: str
    _instances: Callable[[int], Iterator[CellFault]] = field(eq=False)

    def instances(self, cells: int) -> tuple[CellFault, ...]:
        """Return every instance on ``cells`` cells; none where the class needs more or other cells."""
        return tuple(self._instances(cells))


def _on_cells(*families: tuple[Pattern, ...]) -> Callable[[int], Iterator[CellFault]]:
    """Place patterns on every cell, or on every ordered pair of cells."""
    patterns = [pattern for family in families for pattern in family]

    def instances(cells: int) -> Iterator[CellFault]:
        for pattern in patterns:
            for place in permutations(range(cells), pattern.slots):
                yield CellFault(place, pattern)

    return instances


def _on_triples(patterns: tuple[CellPattern, ...]) -> Callable[[int], Iterator[CellFault]]:
    """Place patterns of two aggressors and a victim; the aggressors are an unordered pair."""

    def instances(cells: int) -> Iterator[CellFault]:
        for pattern in patterns:
            for first, second in combinations(range(cells), 2):
                for victim in set(range(cells)) - {first, second}:
                    yield CellFault((first, second, victim), pattern)

    return instances


def _on_lines(make: Callable[[int], tuple[AddressPattern, ...]]) -> Callable[[int], Iterator[CellFault]]:
    def instances(cells: int) -> Iterator[CellFault]:
        return (CellFault(tuple(range(cells)), pattern) for pattern in make(cells))

    return instances


_OWN = [cell.own_operation(name) for name in ("TF", "WDF", "RDF", "DRDF", "IRF")]
_GUARDED = [cell.guarded_operation(kind) for kind in ("CFtr", "CFwd", "CFrd", "CFdr", "CFir")]
_TWO_CELLS = [cell.state(), cell.disturb(), *_GUARDED]
_ONLY_WHILE = "only while the aggressor holds z: on the victim, "

CLASSES: tuple[FaultClass, ...] = (
    FaultClass("SAF", "cell holds v from power-up, writes are lost", "2N", _on_cells(cell.stuck_at())),
    FaultClass("TF", "a write that should change the cell leaves it", "2N", _on_cells(_OWN[0])),
    FaultClass("AF-A", "address opens no cell, reads a fixed value", "2N", _on_cells(address.no_cell())),
    FaultClass("AF-A hold", "as AF-A, reads the value last read", "N", _on_cells(address.no_cell_hold())),
    FaultClass(
        "AF-B",
        "address x opens no cell, address y opens its own and x's",
        "4N(N-1)",
        _on_cells(address.cell_under_other_address()),
    ),
    FaultClass("AF-C", "address x opens the cell of y", "N(N-1)", _on_cells(address.wrong_cell())),
    FaultClass("AF-D", "address x opens its own cell and y's", "2N(N-1)", _on_cells(address.two_cells())),
    FaultClass("ABIT stuck", "a whole address line is stuck", "2k", _on_lines(address.stuck_line)),
    FaultClass("ABIT bridge", "two address lines are bridged", "k(k-1)", _on_lines(address.bridged_lines)),
    FaultClass(
        "ABIT swap", "two address lines are exchanged", "k(k-1)/2", _on_lines(address.exchanged_lines)
    ),
    FaultClass("SOF", "writes lost, a read returns the sense latch", "N", _on_cells(address.stuck_open())),
    FaultClass(
        "CFin", "a transition of the aggressor inverts the victim", "2N(N-1)", _on_cells(cell.inversion())
    ),
    FaultClass(
        "CFid", "a transition of the aggressor forces the victim", "4N(N-1)", _on_cells(cell.idempotent())
    ),
    FaultClass("CFst", "while the aggressor holds x the victim is y", "4N(N-1)", _on_cells(cell.state())),
    FaultClass("WDF", "a write that should not change the cell flips it", "2N", _on_cells(_OWN[1])),
    FaultClass("RDF", "a read flips the cell and returns wrong", "2N", _on_cells(_OWN[2])),
    FaultClass("DRDF", "a read flips the cell but returns right", "2N", _on_cells(_OWN[3])),
    FaultClass("IRF", "a read keeps the cell but returns wrong", "2N", _on_cells(_OWN[4])),
    FaultClass(
        "CFds", "an operation on the aggressor forces the victim", "12N(N-1)", _on_cells(cell.disturb())
    ),
    FaultClass("CFtr", _ONLY_WHILE + "TF", "4N(N-1)", _on_cells(_GUARDED[0])),
    FaultClass("CFwd", _ONLY_WHILE + "WDF", "4N(N-1)", _on_cells(_GUARDED[1])),
    FaultClass("CFrd", _ONLY_WHILE + "RDF", "4N(N-1)", _on_cells(_GUARDED[2])),
    FaultClass("CFdr", _ONLY_WHILE + "DRDF", "4N(N-1)", _on_cells(_GUARDED[3])),
    FaultClass("CFir", _ONLY_WHILE + "IRF", "4N(N-1)", _on_cells(_GUARDED[4])),
    FaultClass("static 1c", "all static primitives of one cell", "12N", _on_cells(cell.stuck_at(), *_OWN)),
    FaultClass("static 2c", "all static primitives of two cells", "36N(N-1)", _on_cells(*_TWO_CELLS)),
    FaultClass(
        "LCFid 2c",
        "one aggressor, opposite effects of its two transitions",
        "2N(N-1)",
        _on_cells(linked.one_aggressor()),
    ),
    FaultClass(
        "LCFid 3c", "two aggressors, opposite effects", "4N(N-1)(N-2)", _on_triples(linked.two_idempotent())
    ),
    FaultClass(
        "LCFin 3c", "two aggressors, each inverts", "2N(N-1)(N-2)", _on_triples(linked.two_inversions())
    ),
    FaultClass(
        "TF+CFin", "TF on the victim of a CFin", "4N(N-1)", _on_cells(linked.transition_and_inversion())
    ),
    FaultClass(
        "TF+CFid", "TF on the victim of a CFid", "8N(N-1)", _on_cells(linked.transition_and_idempotent())
    ),
    FaultClass("dyn 1c", "write then at once read, one cell", "12N", _on_cells(cell.dynamic_one_cell())),
    FaultClass(
        "dyn 2c", "write then at once read, two cells", "32N(N-1)", _on_cells(cell.dynamic_two_cells())
    ),
)
_BY_NAME = {c.name: c for c in CLASSES}


def fault_class(name: str) -> FaultClass:
    """Return a class by its name. Raises :class:`emu.errors.InputError`, with the nearest name."""
    if name not in _BY_NAME:
        place, hint = Place(FILE), nearest(name, _BY_NAME) or f"the classes are {', '.join(_BY_NAME)}"
        fail(UNKNOWN_CLASS, f"no fault class is called {name!r}", place, hint=hint)
    return _BY_NAME[name]


def intra_word(words: int, bits: int) -> tuple[FaultClass, ...]:
    """Return CFst, CFid and CFin between the bits of one word; cell number = word x ``bits`` + bit."""

    def pairs(patterns: tuple[CellPattern, ...]) -> Callable[[int], Iterator[CellFault]]:
        def instances(cells: int) -> Iterator[CellFault]:
            for pattern in patterns:
                for first in range(0, cells, bits):
                    for pair in permutations(range(first, first + bits), 2):
                        yield CellFault(pair, pattern)

        return instances

    number = f"{words}·{bits}·{bits - 1}"
    return (
        FaultClass("CFst", "within one word, CFst", f"4·{number}", pairs(cell.state())),
        FaultClass("CFid", "within one word, CFid", f"4·{number}", pairs(cell.idempotent())),
        FaultClass("CFin", "within one word, CFin", f"2·{number}", pairs(cell.inversion())),
    )
