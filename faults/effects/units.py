"""A unit that stands in for a store and serves its words."""

from typing import Literal

from emu.compose import Altered, position
from emu.rules import Rule
from faults.sites import Site, StandIn


def unit_words(site: Site, action: Literal["clear", "late", "hold"]) -> Altered:
    """Return reads that give nothing, the word of the request before, or the last word on the bus."""
    assert isinstance(site.role, StandIn), "a unit"
    rule = Rule("bus", site.role.store, action, site.role.bits, on="read")
    return Altered(position(site.stage, site.path), rule)
