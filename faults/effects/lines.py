"""Address lines: forced to a level, tied together, exchanged."""

from collections.abc import Callable, Iterator
from typing import Literal

import numpy as np
import numpy.typing as npt

from emu.compose import NO_CELL, Alteration, Altered, BusAddresses, Selection, StoreAddresses, position
from emu.memory import ONES
from emu.rules import Rule
from faults.boards.board import Board
from faults.sites import AddressLine, BusAddressLine, ChipLeg, IntArray, Site

Tie = Literal["or", "and"]
Change = Callable[[IntArray], IntArray]
Flags = npt.NDArray[np.bool_]


def forced_line(board: Board, site: Site, level: int) -> tuple[Alteration, ...]:
    """Return an address line, or the address leg of a chip, that always has a level."""
    role = site.role
    if isinstance(role, ChipLeg):
        return (forced_leg(board, site, role, level),)
    assert isinstance(role, AddressLine | BusAddressLine), "an address line"
    bit = 1 << role.bit
    return arriving(board, site, lambda a: a | bit if level else a & ~bit)


def tied_lines(board: Board, sites: tuple[Site, ...], tie: Tie) -> tuple[Alteration, ...]:
    """Return two address lines that both carry the OR or the AND of what they should."""
    low, high = (_bit(s) for s in sites)

    def change(a: IntArray) -> IntArray:
        one, other = a >> low & 1, a >> high & 1
        both = one | other if tie == "or" else one & other
        return (a & ~(1 << low | 1 << high)) | both << low | both << high

    return arriving(board, sites[0], change)


def swapped_lines(board: Board, sites: tuple[Site, ...]) -> tuple[Alteration, ...]:
    """Return two address lines that are exchanged."""
    low, high = (_bit(s) for s in sites)

    def change(a: IntArray) -> IntArray:
        one, other = a >> low & 1, a >> high & 1
        return (a & ~(1 << low | 1 << high)) | other << low | one << high

    return arriving(board, sites[0], change)


def arriving(board: Board, site: Site, change: Change) -> tuple[Alteration, ...]:
    """Return the alteration of a whole address, on the bus or at a store; beyond a store nothing answers."""
    where = position(site.stage, site.path)
    if isinstance(site.role, BusAddressLine):
        return (BusAddresses(where, change(np.arange(1 << board.machine.address_bits, dtype=np.int64))),)
    assert isinstance(site.role, AddressLine), "an address line"
    words = board.shapes[site.role.store].words
    arrives = change(np.arange(carried(words), dtype=np.int64))
    moved = StoreAddresses(where, site.role.store, arrives)
    if words == len(arrives):
        return (moved,)
    return (moved, *unanswered(board, site, site.role, arrives[:words] >= words))


def carried(words: int) -> int:
    """Return how many addresses the lines of a store of so many words can carry: as many, or more."""
    return 1 << max(1, (words - 1).bit_length())


def unanswered(board: Board, site: Site, role: AddressLine, beyond: Flags) -> tuple[Alteration, ...]:
    """Return what is read at the addresses for which no cell of the store answers."""
    shape, where = board.shapes[role.store], position(site.stage, site.path)
    if role.undriven == "ones":
        ones = shape.words + ONES
        return (Selection(where, role.store, lambda c: np.where(c == NO_CELL, ones, c), "read"),)
    if role.undriven == "zeros":
        return ()
    full = (1 << shape.bits) - 1
    rules = (
        Rule("bus", role.store, "hold", full, on="read", address_mask=mask, address_value=value)
        for mask, value in parts_of(beyond)
    )
    return tuple(Altered(where, rule) for rule in rules)


def parts_of(chosen: Flags) -> Iterator[tuple[int, int]]:
    """Yield parts (mask, value) of the addresses that together are those chosen."""
    every = np.arange(len(chosen), dtype=np.int64)
    open_parts = [(0, 0, max(0, len(chosen) - 1).bit_length())]
    while open_parts:
        mask, value, bit = open_parts.pop()
        inside = chosen[every & mask == value]
        if inside.all():
            yield from [(mask, value)] if inside.size else []
        elif inside.any():
            lower = 1 << bit - 1
            open_parts += [(mask | lower, value | level, bit - 1) for level in (lower, 0)]


def forced_leg(board: Board, site: Site, role: ChipLeg, level: int) -> Alteration:
    """Return one chip that sees a level where it should see address bits."""
    return redirected(board, site, role, role.mask, role.mask if level else 0)


def redirected(board: Board, site: Site, role: ChipLeg, lost: int, level: int) -> Alteration:
    """Return the bit of one chip at the address in which the bits ``lost`` have the ``level``."""
    every = (1 << max(1, (board.shapes[role.store].words - 1).bit_length())) - 1
    rule = Rule(
        "cell", role.store, "redirect", role.bit,
        address_mask=role.region.mask, address_value=role.region.value,
        keep_mask=every & ~lost, flip_mask=level,
    )  # fmt: skip
    return Altered(position(site.stage, site.path), rule)


def _bit(site: Site) -> int:
    assert isinstance(site.role, AddressLine | BusAddressLine), "an address line"
    return site.role.bit
