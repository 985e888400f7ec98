"""Shared nets: several sites that fail at once."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.selection import never_selected, silent_chip
from faults.effects.words import forced_bits, masked
from faults.sites import Chip, Control, SelectLine, SharedNet, Site, Way


def unfed(board: Board, role: SharedNet) -> tuple[Alteration, ...]:
    """Return what all sites that a net feeds do without it."""
    made: list[Alteration] = []
    for path in role.members:
        made += _without(board, board.site(path), role.effect)
    return tuple(made)


def _without(board: Board, site: Site, effect: str) -> tuple[Alteration, ...]:
    if effect != "dead":
        return forced_bits(board, site, int(effect == "read-ones"))
    match site.role:
        case SelectLine() as role:
            return never_selected(board, site, role)
        case Control() as role:
            way: Way = "write" if role.purpose == "rewrite" else "read"
            return (masked(site, role.store, way, role.region, role.bits, 0),)
        case Chip() as role:
            return (silent_chip(site, role),)
        case _:
            raise AssertionError("the board file is checked for this")
