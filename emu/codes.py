"""Check bits of stored words: none, one parity bit, or single-error-correcting, double-error-detecting.

A *stored word* has the data in bits 0 .. d-1 and the check bits above, from bit d.

``odd``, ``even``
    one check bit; the number of ones in the whole stored word is odd (even). A cell that reads all zeros
    breaks odd parity and passes even parity.
``sec-ded``
    an odd-weight-column code (M. Y. Hsiao, IBM J. Res. Dev. 14(4), 1970): every column of the check matrix
    has an odd number of ones, so that one wrong bit gives an odd syndrome, two an even one. The code is
    linear, so a stored word of all zeros is *valid*: a word that no cell answered goes unnoticed.
"""

from functools import cache
from itertools import combinations
from typing import Final, Literal, get_args

from attrs import frozen

from emu.words import mask, parity

Protection = Literal["none", "odd", "even", "sec-ded"]
PROTECTIONS: Final[tuple[Protection, ...]] = get_args(Protection)
Status = Literal["ok", "corrected", "error"]


@frozen
class Verdict:
    """What a check says of a stored word: its status, and the data as the machine would take them.

    ``corrected`` data have the one wrong bit mended; ``error`` data are as read.
    """

    status: Status
    data: int


@cache
def check_bits(kind: Protection, data_bits: int) -> int:
    """Return how many check bits ``data_bits`` data bits need.

    For ``sec-ded`` the fewest r with enough odd columns of r bits: 2**(r-1) >= r + data_bits.
    """
    if kind == "none":
        return 0
    if kind in {"odd", "even"}:
        return 1
    rows = 2
    while 1 << (rows - 1) < rows + data_bits:
        rows += 1
    return rows


def stored_bits(kind: Protection, data_bits: int) -> int:
    """Return how many bits a stored word has, check bits included."""
    return data_bits + check_bits(kind, data_bits)


def encode(kind: Protection, data_bits: int, data: int) -> int:
    """Return the stored word of ``data`` (0 .. 2**data_bits - 1)."""
    if kind == "none":
        return data
    if kind == "sec-ded":
        return data | sec_ded_syndrome(data_bits, data) << data_bits
    return data | (parity(data) ^ (kind == "odd")) << data_bits


def verify(kind: Protection, data_bits: int, stored: int) -> Verdict:
    """Check a stored word and return what the machine makes of it."""
    data = stored & mask(data_bits)
    if kind == "none":
        return Verdict("ok", data)
    if kind != "sec-ded":
        return Verdict("ok" if parity(stored) == (kind == "odd") else "error", data)
    syndrome = sec_ded_syndrome(data_bits, stored)
    if not syndrome:
        return Verdict("ok", data)
    bit = sec_ded_syndrome_fix(data_bits)[syndrome]
    if bit < 0:
        return Verdict("error", data)
    return Verdict("corrected", (stored ^ 1 << bit) & mask(data_bits))


def _columns_of_weight(rows: int, weight: int) -> list[int]:
    return [sum(1 << row for row in chosen) for chosen in combinations(range(rows), weight)]


def _least_loaded(candidates: list[int], loads: list[int]) -> int:
    """Return the column that keeps the heaviest rows lightest; the lowest number breaks a tie."""

    def burden(column: int) -> tuple[list[int], int]:
        after = (load + (column >> row & 1) for row, load in enumerate(loads))
        return sorted(after, reverse=True), column

    return min(candidates, key=burden)


@cache
def sec_ded_columns(data_bits: int) -> tuple[int, ...]:
    """Return the column of the check matrix for every stored bit, data bits first.

    A column is an int whose bit j says that check row j covers that stored bit. Check bit j has the column
    ``1 << j``. Data bits take the lowest odd weights first (3, then 5, ...); among equals, each next one is
    that which keeps the rows most evenly loaded, as Hsiao asks. All columns differ.

    The numbers of weight-4 code words, which fix how many triple errors are miscorrected, are
    measured in tests/emu/test_codes.py.
    """
    rows = check_bits("sec-ded", data_bits)
    loads = [0] * rows
    chosen: list[int] = []
    weight = 3
    candidates: list[int] = []
    while len(chosen) < data_bits:
        if not candidates:
            candidates, weight = _columns_of_weight(rows, weight), weight + 2
        column = _least_loaded(candidates, loads)
        candidates.remove(column)
        chosen.append(column)
        loads = [load + (column >> row & 1) for row, load in enumerate(loads)]
    return (*chosen, *(1 << row for row in range(rows)))


@cache
def sec_ded_row_masks(data_bits: int) -> tuple[int, ...]:
    """Return one mask over the stored word per check row.

    Bit j of the syndrome is the parity of ``stored & masks[j]``.
    """
    columns = sec_ded_columns(data_bits)
    rows = check_bits("sec-ded", data_bits)
    return tuple(
        sum(1 << bit for bit, column in enumerate(columns) if column >> row & 1) for row in range(rows)
    )


def sec_ded_syndrome(data_bits: int, stored: int) -> int:
    """Return the syndrome of a stored word: 0 if it is a code word."""
    return sum(parity(stored & row) << j for j, row in enumerate(sec_ded_row_masks(data_bits)))


@cache
def sec_ded_syndrome_fix(data_bits: int) -> tuple[int, ...]:
    """Return, for every syndrome 0 .. 2**rows - 1, the stored bit to invert, or -1 if none mends it.

    Entry 0 is -1 too, though a syndrome of 0 means that nothing is wrong: ask that first.
    """
    fix = [-1] * (1 << check_bits("sec-ded", data_bits))
    for bit, column in enumerate(sec_ded_columns(data_bits)):
        fix[column] = bit
    return tuple(fix)
