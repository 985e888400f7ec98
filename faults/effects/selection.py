"""Selection: lines that never or always open their cells, or open those of a neighbour too."""

from collections.abc import Callable

import numpy as np

from emu.compose import NO_CELL, Alteration, Altered, Masks, Selection, position
from emu.memory import ONES
from emu.rules import Rule
from faults.boards.board import Board
from faults.effects.lines import Tie
from faults.effects.words import masked
from faults.sites import (
    STAGE_CLOSED,
    STAGE_INHIBIT_ON,
    STAGE_INHIBIT_PARITY,
    STAGE_WRITE_DRIVE,
    Chip,
    CoreInhibit,
    IntArray,
    Region,
    SelectLine,
    Site,
)

_ODD = np.int64(1 << 40)  # marks a core whose bits differ from the address in an odd number of places


def never_selected(board: Board, site: Site, role: SelectLine) -> tuple[Alteration, ...]:
    """Return a line that never opens its cells; what is read then is what an undriven line shows."""
    where = position(max(site.stage, STAGE_CLOSED), site.path)
    region, shape = role.region, board.shapes[role.store]
    full = (1 << shape.bits) - 1
    if role.way == "write":  # the read half cycle has cleared the cells, and nothing is written into them
        where = position(STAGE_WRITE_DRIVE, site.path)
        return (Masks(where, role.store, "write", 0, full, region.cells()),)
    if role.bits != full:
        where = position(site.stage, site.path)
        return (Masks(where, role.store, "read", 0, role.bits, region.cells()),)
    if role.undriven == "ones":
        read = Selection(where, role.store, _closed(region, shape.words + ONES), "read")
        return (read, Selection(where, role.store, _closed(region, NO_CELL), "write"))
    closed = Selection(where, role.store, _closed(region, NO_CELL), role.way)
    if role.undriven == "residue":
        return (closed, left_on_bus(site, role.store, full, region))
    return (closed,)


def left_on_bus(site: Site, store: int, bits: int, region: Region) -> Altered:
    """Return reads of a region that show what was last on the bus."""
    rule = Rule(
        "bus", store, "hold", bits, on="read", address_mask=region.mask, address_value=region.value
    )  # fmt: skip
    return Altered(position(site.stage, site.path), rule)


def silent_chip(site: Site, role: Chip) -> Alteration:
    """Return a chip that drives nothing: its bit shows what an undriven line shows."""
    if role.undriven == "residue":
        return left_on_bus(site, role.store, role.bit, role.region)
    return masked(site, role.store, "read", role.region, role.bit, int(role.undriven == "ones"))


def _inside(cells: IntArray, region: Region) -> IntArray:
    inside: IntArray = (cells >= 0) & (cells < region.words) & ((cells & region.mask) == region.value)
    return inside


def _closed(region: Region, instead: int) -> Callable[[IntArray], IntArray]:
    return lambda cells: np.where(_inside(cells, region), instead, cells)


def always_selected(site: Site, role: SelectLine) -> tuple[Alteration, ...]:
    """Return a line that opens its cells besides those that are meant."""

    def change(cells: IntArray) -> IntArray:
        return _with(cells, _counterpart(cells, role))

    return (Selection(position(site.stage, site.path), role.store, change, role.way),)


def _counterpart(cells: IntArray, role: SelectLine) -> IntArray:
    words = role.region.words
    other = (cells & ~np.int64(role.mask)) | role.value
    return np.where((cells >= 0) & (cells < words) & (other < words), other, NO_CELL)


def _with(cells: IntArray, more: IntArray) -> IntArray:
    return np.concatenate([cells, more], axis=1) if np.any(more != NO_CELL) else cells


def shorted_selects(board: Board, sites: tuple[Site, ...], tie: Tie) -> tuple[Alteration, ...]:
    """Return two lines of which both open when either is meant (or), or neither does any more (and)."""
    one, other = (s.role for s in sites)
    assert isinstance(one, SelectLine), "a select line"
    assert isinstance(other, SelectLine), "a select line"

    def both(cells: IntArray) -> IntArray:
        mine, its = _inside(cells, one.region), _inside(cells, other.region)
        more = np.where(mine, _counterpart(cells, other), np.where(its, _counterpart(cells, one), NO_CELL))
        return _with(cells, more)

    if tie == "and":
        return never_selected(board, sites[0], one) + never_selected(board, sites[1], other)
    return (Selection(position(sites[0].stage, sites[0].path), one.store, both, one.way),)


def inhibit_open(site: Site, role: CoreInhibit) -> tuple[Alteration, ...]:
    """Return an inhibit line that blocks nothing: where it is driven, one more core is free to switch.

    With a parity pair that core is still blocked by the parity line, unless that one is open too; so cores
    are first let in with a mark and sorted out once every open line has had its say. Then cores go, too, that
    a store does not have whose words fill only a part of its addresses.
    """
    region = role.region

    def change(cells: IntArray) -> IntArray:
        plain = cells & (_ODD - 1)
        driven = (cells != NO_CELL) & ((plain & region.mask) == region.value)
        if role.bit < 0:
            odd = (_parity(plain, role.decoded) ^ (cells >> 40)) & 1
            return _with(cells, np.where(driven & (odd == role.level), cells ^ _ODD, NO_CELL))
        driven &= (plain >> role.bit & 1) == role.level
        flipped = cells ^ (1 << role.bit)
        if role.parity_pair:
            flipped ^= _ODD
        return _with(cells, np.where(driven, flipped, NO_CELL))

    def existing(cells: IntArray) -> IntArray:  # the mark of a blocked core is beyond all cores
        return np.where(cells >= region.words, NO_CELL, cells)

    sorted_out = position(STAGE_INHIBIT_PARITY, site.path.split("/")[0])
    opened = Selection(position(site.stage, site.path), role.store, change)
    return (opened, Selection(sorted_out, role.store, existing))


def inhibit_always_on(site: Site, role: CoreInhibit) -> tuple[Alteration, ...]:
    """Return an inhibit line that always blocks the cores whose bit is not its level."""

    def change(cells: IntArray) -> IntArray:
        plain = cells & (_ODD - 1)
        own = _parity(plain, role.decoded) if role.bit < 0 else plain >> role.bit & 1
        blocked = _inside(np.where(cells == NO_CELL, NO_CELL, plain), role.region) & (own != role.level)
        return np.where(blocked, NO_CELL, cells)

    return (Selection(position(STAGE_INHIBIT_ON, site.path), role.store, change),)


def _parity(cells: IntArray, mask: int) -> IntArray:
    bits = cells & mask
    for shift in (16, 8, 4, 2, 1):
        bits = bits ^ (bits >> shift)
    odd: IntArray = bits & 1
    return odd
