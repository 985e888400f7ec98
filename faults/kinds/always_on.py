"""A select or inhibit line that is active all the time."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.selection import always_selected, inhibit_always_on
from faults.effects.words import masked
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import CoreInhibit, SelectLine, ZeroInhibit


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    site = sites[0]
    match site.role:
        case SelectLine() as role:
            return always_selected(site, role)
        case CoreInhibit() as role:
            return inhibit_always_on(site, role)
        case ZeroInhibit() as role:
            return (masked(site, role.store, "write", role.region, role.bit, 0),)
        case _:
            raise AssertionError("reason_against lets no other role in")


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    role = sites[0].role
    if isinstance(role, SelectLine) and not role.mask:
        return f"the {sites[0].noun} has no others of which it would be the wrong one"
    if isinstance(role, SelectLine) and role.way == "write":
        return "cells that are written but not cleared before are beyond this model"
    if isinstance(role, SelectLine) and role.bits.bit_count() == 1:
        return "two cells at once inside one chip are beyond this model"
    return ""


KIND = Kind(
    "always-on",
    "Always on: a line that is never switched off",
    (SelectLine, CoreInhibit, ZeroInhibit),
    _lower,
    Entry(
        what=(
            "A select line is active all the time, so that its cells open besides those that are meant; "
            "or an inhibit line blocks all the time."
        ),
        see=(
            "A select line: the words of all other lines read as the OR of two words; the line's own "
            "words are right, until a write elsewhere goes into them too. An inhibit winding of core: one "
            "bit can only be written as 0. An inhibit line of a woven store: for half of the addresses no "
            "core switches and the word is all zeros."
        ),
        confirm=(
            "Look at the output of the driver while others are addressed. Words that are the OR of two "
            "others name the line: find the address bits in which the two differ."
        ),
        confused=(
            "Shorted lines, which mix the words of two lines only. A stuck address line, which gives "
            "whole words and never a mixture."
        ),
        caution=(
            "Switch off at once if a drive line is on all the time: core wire and transistors burn at "
            "direct current."
        ),
    ),
    "rope/strand/2:always-on",
    fits=_fits,
    weight=0.5,
    shown_by="gates",
)
