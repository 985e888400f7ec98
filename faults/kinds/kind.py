"""What a kind of fault is.

A kind is one module of ``faults.kinds`` with a :class:`Kind` called ``KIND``, or an entry point of the group
``corewright.kinds`` in another package that names one.
"""

from collections.abc import Callable

from attrs import frozen

from emu.compose import Alteration
from faults.boards.board import Board
from faults.sites import Role, Site

Sites = tuple[Site, ...]
Params = tuple[str, ...]
Lower = Callable[[Board, Sites, Params], tuple[Alteration, ...]]


@frozen
class Entry:
    """The catalogue entry, from which the page of the kind is made."""

    what: str
    see: str
    confirm: str
    confused: str
    caution: str


def _always_fits(sites: Sites, params: Params) -> str:  # noqa: ARG001
    return ""


def _always_listed(site: Site, params: Params) -> bool:  # noqa: ARG001
    return True


@frozen(eq=False)
class Kind:
    """A kind of fault.

    ``roles``: of the sites it applies to. ``lower``: what it does there. ``variants``: its forms; the text of
    a fault is the name and the form, joined by ``-``. ``pair``: it lies between two sites; ``symmetric``: in
    either order.
    ``fits``: why it does not apply to these sites after all, or "". ``listed``: whether a universe lists it
    for the site (a part that is never open in that way is left to others). ``common``: whether a universe
    lists it unless asked. ``weight``: how much more often than others, a guess. ``example``: a fault of the
    machine fulmar, or of the machine named before the blank. ``shown_by``: a shipped program of that machine
    which shows it, "" for none.
    """

    name: str
    title: str
    roles: tuple[type[Role], ...]
    lower: Lower
    entry: Entry
    example: str
    variants: tuple[Params, ...] = ((),)
    pair: bool = False
    symmetric: bool = False
    fits: Callable[[Sites, Params], str] = _always_fits
    listed: Callable[[Site, Params], bool] = _always_listed
    common: bool = True
    weight: float = 1.0
    shown_by: str = ""

    def text(self, params: Params) -> str:
        """Return the kind as faults write it: ``stuck-0``."""
        return "-".join((self.name, *params))

    def reason_against(self, sites: Sites, params: Params) -> str:
        """Return why the kind does not apply to the sites, or ""."""
        for site in sites:
            if not isinstance(site.role, self.roles):
                return f"{self.text(params)!r} does not apply to the {site.noun} ({site.path})"
        return self.fits(sites, params)
