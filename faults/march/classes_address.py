"""Fault patterns of address decoders, address lines and unconnected cells."""

from collections.abc import Callable
from functools import partial
from itertools import combinations, product

from faults.march.classes_cell import BITS
from faults.march.decoders import AddressPattern, Wired

WIRED: tuple[Wired, Wired] = ("and", "or")


def no_cell() -> tuple[AddressPattern, ...]:
    """Return AF-A: the address opens no cell, a read gives a fixed 0 or 1."""
    return tuple(AddressPattern("AF-A", f"opens no cell, reads {v}", (v,), ((),), floating=v) for v in BITS)


def _latched(kind: str, words: str) -> tuple[AddressPattern, ...]:
    return (AddressPattern(kind, words, (), ((),), floating="hold"),)


def no_cell_hold() -> tuple[AddressPattern, ...]:
    """Return AF-A hold: the address opens no cell, a read repeats the value last read anywhere."""
    return _latched("AF-A hold", "opens no cell, reads the value last read")


def stuck_open() -> tuple[AddressPattern, ...]:
    """Return SOF: writes are lost, a read returns the sense latch. At this level it equals AF-A hold."""
    return _latched("SOF", "not connected, reads the value last read")


def cell_under_other_address() -> tuple[AddressPattern, ...]:
    """Return AF-B: the first address opens no cell, the second opens its own and the first's."""
    return tuple(
        AddressPattern(
            "AF-B",
            f"first opens no cell and reads {v}; second opens both, wired {w}",
            (v, w),
            ((), (1, 0)),
            w,
            v,
        )
        for v, w in product(BITS, WIRED)
    )


def wrong_cell() -> tuple[AddressPattern, ...]:
    """Return AF-C: the first address opens the second's cell, its own is never opened."""
    return (AddressPattern("AF-C", "first opens the cell of the second", (), ((1,), (1,))),)


def two_cells() -> tuple[AddressPattern, ...]:
    """Return AF-D: the first address opens both cells, the second its own only."""
    return tuple(
        AddressPattern("AF-D", f"first opens both cells, wired {w}", (w,), ((0, 1), (1,)), w) for w in WIRED
    )


def _lines(cells: int) -> range:
    """Return the address lines; a memory whose size is no power of two has no clear ones."""
    return range(cells.bit_length() - 1) if cells.bit_count() == 1 else range(0)


def _renumbered(
    kind: str, words: str, parameters: tuple[int | str, ...], cells: int, opened: Callable[[int], int]
) -> AddressPattern:
    opens = tuple((opened(address),) for address in range(cells))
    return AddressPattern(kind, words, parameters, opens)


def _stuck(address: int, n: int, v: int) -> int:
    return address & ~(1 << n) | v << n


def stuck_line(cells: int) -> tuple[AddressPattern, ...]:
    """Return ABIT stuck: a whole address line stuck at 0 or 1."""
    return tuple(
        _renumbered(
            "ABIT stuck",
            f"address line {n} stuck at {v}",
            (n, v),
            cells,
            partial(_stuck, n=n, v=v),
        )
        for n, v in product(_lines(cells), BITS)
    )


def _bridge(address: int, n: int, m: int, wired: Wired) -> int:
    lines = address >> n & 1, address >> m & 1
    both = lines[0] & lines[1] if wired == "and" else lines[0] | lines[1]
    return address & ~(1 << n | 1 << m) | both << n | both << m


def bridged_lines(cells: int) -> tuple[AddressPattern, ...]:
    """Return ABIT bridge: two address lines wired together, as AND or OR."""
    return tuple(
        _renumbered(
            "ABIT bridge",
            f"address lines {n} and {m} bridged, wired {w}",
            (n, m, w),
            cells,
            partial(_bridge, n=n, m=m, wired=w),
        )
        for (n, m), w in product(combinations(_lines(cells), 2), WIRED)
    )


def _exchange(address: int, n: int, m: int) -> int:
    differ = (address >> n ^ address >> m) & 1
    return address ^ (differ << n | differ << m)


def exchanged_lines(cells: int) -> tuple[AddressPattern, ...]:
    """Return ABIT swap: two address lines exchanged."""
    return tuple(
        _renumbered(
            "ABIT swap",
            f"address lines {n} and {m} exchanged",
            (n, m),
            cells,
            partial(_exchange, n=n, m=m),
        )
        for n, m in combinations(_lines(cells), 2)
    )
