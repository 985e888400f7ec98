"""The ways of building a store that are known: ours and those of installed packages."""

from collections.abc import Mapping
from functools import cache
from importlib.metadata import entry_points

from faults.boards import chips, coincident, plain, woven
from faults.boards.technology import Technology


@cache
def technologies() -> Mapping[str, Technology]:
    """Return every way of building, by name."""
    found = [woven.WOVEN, coincident.COINCIDENT, chips.CHIPS, plain.PLAIN]
    found += [point.load() for point in entry_points(group="corewright.boards")]
    return {t.name: t for t in found}
