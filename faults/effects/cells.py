"""Single cells: stuck, refusing a transition, acting on another, upset by reading.

The meanings are those of the march literature (van de Goor 1991; Hamdioui, van de Goor and Rodgers 2002), a
coupling acting after the operation that triggers it.
"""

import numpy as np

from emu.compose import Altered, Masks, position
from emu.rules import Edge, Effect, Rule
from faults.sites import CellBit, Site


def stuck_cell(site: Site, role: CellBit, level: int) -> Masks:
    """Return a cell that has a level and takes nothing else."""
    where = position(site.stage, site.path)
    set_bits, clear_bits = (role.bit, 0) if level else (0, role.bit)
    return Masks(where, role.store, "both", set_bits, clear_bits, np.array([role.cell], np.int64))


def refusing_cell(site: Site, role: CellBit, edge: Edge) -> Altered:
    """Return a cell that does not make a transition."""
    rule = Rule("cell", role.store, "keep", role.bit, cell=role.cell, edge=edge)
    return Altered(position(site.stage, site.path), rule)


def coupled_cells(sites: tuple[Site, ...], edge: Edge, effect: Effect) -> Altered:
    """Return a cell whose transition acts on another cell."""
    return _acting(sites, Rule("cell", 0, "couple", 0, edge=edge, effect=effect))


def held_cell(sites: tuple[Site, ...], state: int, level: int) -> Altered:
    """Return a cell that holds another at a level while it is itself in a state."""
    edge: Edge = "rise" if state else "fall"
    return _acting(sites, Rule("cell", 0, "force", 0, edge=edge, effect="set" if level else "clear"))


def _acting(sites: tuple[Site, ...], form: Rule) -> Altered:
    one, other = (s.role for s in sites)
    assert isinstance(one, CellBit), "a cell"
    assert isinstance(other, CellBit), "a cell"
    rule = Rule(
        "cell", one.store, form.action, other.bit, cell=one.cell, cell_bits=one.bit, other=other.cell,
        edge=form.edge, effect=form.effect,
    )  # fmt: skip
    return Altered(position(sites[0].stage, sites[0].path), rule)


def upset_cell(site: Site, role: CellBit, level: int, *, shows: bool) -> Altered:
    """Return a cell that turns over when it is read at a level; ``shows``: the reader gets the new one."""
    rule = Rule(
        "cell", role.store, "read-disturb", role.bit, cell=role.cell, cell_bits=role.bit,
        edge="rise" if level else "fall", effect="flip", shows=shows,
    )  # fmt: skip
    return Altered(position(site.stage, site.path), rule)


def edge_of(text: str) -> Edge:
    """Return the transition that a fault names."""
    return "rise" if text == "rise" else "fall"
