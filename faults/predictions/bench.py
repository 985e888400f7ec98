"""What a meter, a scope, a swapped card or a mend says of each suspect."""

import math
from collections.abc import Callable, Mapping
from typing import Final

from attrs import frozen

from faults.boards.board import Board
from faults.case.model import Measured, Mended, Swap
from faults.fault import Fault, FaultPart
from faults.sites import SharedNet, Site

CONTINUITY: Final = ("open", "closed", "shorted")
SIGNAL: Final = ("good", "absent", "weak", "late", "noisy")
CLOSED_BELOW, OPEN_ABOVE = 20.0, 10_000.0
"""Ohms: below the first a line is closed, above the second it is open. Common practice, no source."""

_OHMS: Final[Mapping[str, Mapping[str, float]]] = {
    "open": {"open": 1.0},
    "shorted": {"shorted": 0.9, "closed": 0.1},
}
_SEEN: Final[Mapping[str, Mapping[str, float]]] = {
    "open": {"absent": 0.9, "weak": 0.1},
    "dead": {"absent": 1.0},
    "stuck": {"absent": 0.9, "good": 0.1},
    "weak": {"weak": 0.9, "noisy": 0.1},
    "late": {"late": 1.0},
    "mistimed": {"late": 0.7, "weak": 0.3},
    "shorted": {"weak": 0.4, "noisy": 0.4, "good": 0.2},
    "always-on": {"noisy": 0.4, "good": 0.4, "weak": 0.2},
    "missed": {"absent": 0.8, "noisy": 0.2},
    "faded": {"weak": 0.6, "absent": 0.4},
}
"""What is found at the place of a fault, by its kind: guesses; a kind that is not listed shows nothing."""


@frozen
class Said:
    """``chance`` of the reading, NaN if the model cannot say, and the reason."""

    chance: float
    reason: str


def measured(entry: Measured, board: Board) -> tuple[Callable[[Fault | None], Said], float]:
    """Return what each fault says of a reading at a site, and the chance if all readings were alike."""
    reading, continuity = _reading(entry)
    site = board.site(entry.site)

    def look(fault: Fault | None) -> Said:
        if not reading:
            return Said(math.nan, "between open and closed: it says nothing")
        table = (continuity_table if continuity else signal_table)(fault, entry.site, board)
        usual = max(table, key=table.__getitem__)
        return Said(table.get(reading, 0.0), f"at the {site.noun} it would read {usual}")

    return look, 1 / len(CONTINUITY if continuity else SIGNAL)


def continuity_table(fault: Fault | None, path: str, board: Board) -> Mapping[str, float]:
    """Return what a meter finds at a site, with its chances."""
    part = _at(fault, path, board)
    return _OHMS.get(part.kind, {"closed": 1.0}) if part else {"closed": 1.0}


def signal_table(fault: Fault | None, path: str, board: Board) -> Mapping[str, float]:
    """Return what a scope shows at a site, with its chances."""
    part = _at(fault, path, board)
    return _SEEN.get(part.kind, {"good": 1.0}) if part else {"good": 1.0}


def _reading(entry: Measured) -> tuple[str, bool]:
    if entry.ohms is not None:
        if entry.ohms <= CLOSED_BELOW:
            return "closed", True
        return ("open", True) if entry.ohms >= OPEN_ABOVE else ("", True)
    reading = entry.reading or ""
    return reading, reading in CONTINUITY


def _at(fault: Fault | None, path: str, board: Board) -> FaultPart | None:
    """Return the part of a fault that lies at a site, also through a net that feeds it."""
    for part in fault.parts if fault else ():
        if path in part.sites:
            return part
        roles = (board.site(p).role for p in part.sites)
        if any(isinstance(role, SharedNet) and path in role.members for role in roles):
            return FaultPart("dead", part.sites)
    return None


def swapped(entry: Swap, board: Board) -> Callable[[Fault | None], Said]:
    """Return what each fault says of a swap."""
    spare = entry.to.strip().lower() == "spare"

    def look(fault: Fault | None) -> Said:
        if fault is None:
            return Said(math.nan, "nothing is wrong, so nothing moves")
        sites = [board.site(path) for part in fault.parts for path in part.sites]
        on = [on_card(site, entry.moved) or (not spare and on_card(site, entry.to)) for site in sites]
        if not any(on):
            return Said(_of({"stayed": 1.0}, entry.fault), "it does not lie on that card: it stays")
        if any(site.part == "contact" for site in sites):
            return Said(
                _of({"moved": 0.3, "stayed": 0.3, "gone": 0.4}, entry.fault), "a contact may do either"
            )
        if not all(on):
            return Said(math.nan, "it lies only in part on that card")
        if spare:
            return Said(_of({"gone": 1.0}, entry.fault), "it lies on that card: it is gone")
        return Said(_of({"moved": 0.9, "gone": 0.1}, entry.fault), "it lies on that card: it moves")

    return look


def _of(table: Mapping[str, float], word: str) -> float:
    return table.get(word, 0.0)


def on_card(site: Site, name: str) -> bool:
    """Whether a site lies on the card, in the slot or in the chip of that name."""
    labels, wanted = site.labels, name.strip().lower()
    return wanted in {t.lower() for t in (labels.card, labels.slot, labels.chip) if t} or site.path == name


def mend_works(entry: Mended, board: Board, fault: Fault | None) -> float:
    """Return the chance that a mend removed a fault."""
    if fault is None:
        return 1.0
    sites = [board.site(path) for part in fault.parts for path in part.sites]
    by_card = bool(entry.card) and any(on_card(site, entry.card) for site in sites)
    by_site = bool(entry.site) and any(
        site.path == entry.site or site.path.startswith(f"{entry.site}/") for site in sites
    )
    return entry.works if by_card or by_site else 0.0
