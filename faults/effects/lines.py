"""Address lines: forced to a level, tied together, exchanged."""

from collections.abc import Callable
from typing import Literal

import numpy as np

from emu.compose import NO_CELL, Alteration, BusAddresses, StoreAddresses, position
from emu.rules import Rule
from faults.boards.board import Board
from faults.sites import AddressLine, BusAddressLine, ChipLeg, IntArray, Site

Tie = Literal["or", "and"]
Change = Callable[[IntArray], IntArray]


def forced_line(board: Board, site: Site, level: int) -> tuple[Alteration, ...]:
    """Return an address line, or the address leg of a chip, that always has a level."""
    role = site.role
    if isinstance(role, ChipLeg):
        return (forced_leg(board, site, role, level),)
    assert isinstance(role, AddressLine | BusAddressLine), "an address line"
    bit = 1 << role.bit
    return (arriving(board, site, lambda a: a | bit if level else a & ~bit),)


def tied_lines(board: Board, sites: tuple[Site, ...], tie: Tie) -> tuple[Alteration, ...]:
    """Return two address lines that both carry the OR or the AND of what they should."""
    low, high = (_bit(s) for s in sites)

    def change(a: IntArray) -> IntArray:
        one, other = a >> low & 1, a >> high & 1
        both = one | other if tie == "or" else one & other
        return (a & ~(1 << low | 1 << high)) | both << low | both << high

    return (arriving(board, sites[0], change),)


def swapped_lines(board: Board, sites: tuple[Site, ...]) -> tuple[Alteration, ...]:
    """Return two address lines that are exchanged."""
    low, high = (_bit(s) for s in sites)

    def change(a: IntArray) -> IntArray:
        one, other = a >> low & 1, a >> high & 1
        return (a & ~(1 << low | 1 << high)) | other << low | one << high

    return (arriving(board, sites[0], change),)


def arriving(board: Board, site: Site, change: Change) -> Alteration:
    """Return the alteration of a whole address, on the bus or at a store; beyond a store there is nothing."""
    where = position(site.stage, site.path)
    if isinstance(site.role, BusAddressLine):
        return BusAddresses(where, change(np.arange(1 << board.machine.address_bits, dtype=np.int64)))
    assert isinstance(site.role, AddressLine), "an address line"
    words = board.shapes[site.role.store].words
    arrives = change(np.arange(words, dtype=np.int64))
    return StoreAddresses(where, site.role.store, np.where(arrives < words, arrives, NO_CELL))


def forced_leg(board: Board, site: Site, role: ChipLeg, level: int) -> Alteration:
    """Return one chip that sees a level where it should see address bits."""
    return redirected(board, site, role, role.mask, role.mask if level else 0)


def redirected(board: Board, site: Site, role: ChipLeg, lost: int, level: int) -> Alteration:
    """Return the bit of one chip at the address in which the bits ``lost`` have the ``level``."""
    from emu.compose import Altered  # noqa: PLC0415

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
