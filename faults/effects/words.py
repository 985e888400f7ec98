"""Data lines: bits forced, tied, exchanged, weak, or left at what was on the bus before."""

from collections.abc import Iterable

import numpy as np

from emu.compose import Alteration, Altered, Masks, position
from emu.rules import Action, Rule
from emu.rules import Side as RuleSide
from faults.boards.board import Board
from faults.effects.lines import Tie
from faults.sites import BusDataLine, Chip, DataLine, IntArray, Region, Site, Way

Parts = tuple[tuple[int, int], ...]


def data_lines(board: Board, site: Site) -> tuple[DataLine, ...]:
    """Return the data lines that a site stands for: a line of the data bus is one for every store."""
    role = site.role
    if isinstance(role, DataLine):
        return (role,)
    if isinstance(role, Chip):
        return (DataLine(role.store, role.bit, role.region, "read", "sense"),)
    assert isinstance(role, BusDataLine), "a data line"
    reached = (i for i, shape in enumerate(board.shapes) if role.bit < 1 << shape.bits)
    return tuple(DataLine(i, role.bit, None, "both", "bus", role.floats) for i in reached)


def forced_bits(board: Board, site: Site, level: int) -> tuple[Alteration, ...]:
    """Return data lines that always have a level."""
    return tuple(_forced(site, line, level) for line in data_lines(board, site))


def _forced(site: Site, line: DataLine, level: int) -> Alteration:
    if line.side == "sense" and (line.way == "read" or line.region is not None):
        return masked(site, line.store, line.way, line.region, line.bit, level)
    rule = Rule(line.side, line.store, "set" if level else "clear", line.bit, on=line.way)
    return Altered(position(site.stage, site.path), rule)


def masked(
    site: Site, store: int, way: Way, region: Region | None, bits: int, level: int, worst: Parts = ()
) -> Masks:
    """Return bits forced where cells are sensed or written; everywhere if there is no (partial) region."""
    cells = _cells(region, worst)
    where = position(site.stage, site.path)
    return Masks(where, store, way, bits if level else 0, 0 if level else bits, cells)


def _cells(region: Region | None, worst: Parts) -> IntArray | None:
    if worst:
        assert region is not None, "cells with a winding lie in a region"
        parts = [found.cells() for mask, value in worst if (found := region.within(mask, value))]
        return np.sort(np.concatenate(parts)) if parts else np.zeros(0, np.int64)
    return region.cells() if region is not None and region.mask else None


def word_rules(
    board: Board, sites: tuple[Site, ...], action: Action, side: RuleSide | None = None
) -> tuple[Alteration, ...]:
    """Return one rule a store that acts on the bits of the sites together."""
    groups = zip(*(data_lines(board, s) for s in sites), strict=False)  # a bus is as wide as each store
    return tuple(_rule(sites[0], lines, action, side) for lines in groups)


def _rule(site: Site, lines: Iterable[DataLine], action: Action, side: RuleSide | None) -> Alteration:
    first, *rest = lines
    bits = first.bit
    for line in rest:
        bits |= line.bit
    region = first.region or Region(0)
    rule = Rule(
        side or first.side, first.store, action, bits, on="read" if action == "hold" else first.way,
        address_mask=region.mask, address_value=region.value,
    )  # fmt: skip
    return Altered(position(site.stage, site.path), rule)


def tied_bits(board: Board, sites: tuple[Site, ...], tie: Tie) -> tuple[Alteration, ...]:
    """Return two data lines that both carry the OR or the AND of what they should."""
    return word_rules(board, sites, "tie-or" if tie == "or" else "tie-and")


def weak_bits(board: Board, site: Site, lost: int) -> tuple[Alteration, ...]:
    """Return a data line that loses its ones (``lost`` 1) or its zeros where the noise is against them.

    Where there is a winding, that is on the cells where it runs the wrong way. Elsewhere the level is lost
    that comes after the other one, as from an amplifier that is slow.
    """
    made: list[Alteration] = []
    for line in data_lines(board, site):
        if line.worst:
            made.append(masked(site, line.store, "read", line.region, line.bit, 1 - lost, line.worst))
            continue
        region = line.region or Region(0)
        rule = Rule(
            line.side, line.store, "clear" if lost else "set", line.bit, on="read",
            address_mask=region.mask, address_value=region.value,
            last_mask=line.bit, last_value=0 if lost else line.bit,
        )  # fmt: skip
        made.append(Altered(position(site.stage, site.path), rule))
    return tuple(made)
