"""Kinds of fault, one file each; :func:`all_kinds` finds them and those of installed packages."""

import pkgutil
from collections.abc import Mapping
from functools import cache
from importlib import import_module
from importlib.metadata import entry_points

from faults.kinds.kind import Entry, Kind

__all__ = ["Entry", "Kind", "all_kinds", "kind_named"]


@cache
def all_kinds() -> Mapping[str, Kind]:
    """Return every kind by name: ours, then those that packages offer as ``corewright.kinds``."""
    names = sorted(m.name for m in pkgutil.iter_modules(__path__) if m.name != "kind")
    found = [import_module(f"{__name__}.{name}").KIND for name in names]
    found += [point.load() for point in sorted(entry_points(group="corewright.kinds"))]
    return {kind.name: kind for kind in found}


def kind_named(name: str) -> Kind:
    """Return the kind of that name (KeyError if there is none)."""
    return all_kinds()[name]
