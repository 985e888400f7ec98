"""A refresh that does not come."""

from emu.compose import Alteration
from faults.boards.board import Board
from faults.effects.words import masked
from faults.kinds.kind import Entry, Kind, Params, Sites
from faults.sites import Control


def _lower(board: Board, sites: Sites, params: Params) -> tuple[Alteration, ...]:  # noqa: ARG001
    site = sites[0]
    role = site.role
    assert isinstance(role, Control), "reason_against lets no other role in"
    zeros = masked(site, role.store, "read", role.region, role.bits, 0)
    if not role.faded:
        return (zeros,)
    return (zeros, masked(site, role.store, "read", role.region, role.bits, 1, role.faded))


def _fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    role = sites[0].role
    refresh = isinstance(role, Control) and role.purpose == "refresh"
    return "" if refresh else "only what must be refreshed fades"


KIND = Kind(
    "faded",
    "Faded: cells that lost what they held, for want of refresh",
    (Control,),
    _lower,
    Entry(
        what=(
            "The refresh of a row of chips fails, and the cells lose their charge. A faded cell reads as "
            "0, or as 1 where the chip holds its bits inverted, as the board file says."
        ),
        see=(
            "All words of the row are zeros, or zeros and ones in stripes as wide as the inside of a chip "
            "has it. In truth a word can be read for some milliseconds after it was written; the model "
            "takes every word as faded already."
        ),
        confirm=(
            "Write a word, read it at once, wait some seconds and read it again. Look at the refresh "
            "signal at the row."
        ),
        confused=(
            "A row that is never selected, which shows what an undriven bus shows; its words cannot be "
            "read at once either."
        ),
        caution=("Wear a wrist strap when handling chips, and none while working on live mains parts."),
    ),
    "sandpiper chips/refresh/1:faded",
    fits=_fits,
    weight=0.5,
    shown_by="selftest-march",
)
