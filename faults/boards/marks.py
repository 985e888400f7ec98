"""Labels and floating levels: what a board file adds to the sites that a way of building gives."""

import re
from collections.abc import Sequence
from functools import cached_property

import attrs
from attrs import define, evolve, frozen

from faults.boards.tables import FloatsTable, LabelTable
from faults.sites import AddressLine, BusAddressLine, BusDataLine, ChipLeg, DataLine, Labels, Site

FLOATING = (AddressLine, BusAddressLine, BusDataLine, ChipLeg, DataLine)
PROBES = {
    "contact": ("ohms through the contact", "signal behind the contact"),
    "wire": ("ohms from end to end", "signal at the far end"),
    "driver": ("signal at the output",),
    "decoder": ("signal at the output",),
    "amplifier": ("signal at the input", "signal at the output"),
    "supply": ("ohms from the supply to the pin", "voltage at the pin"),
    "chip": ("signal at the output",),
    "unit": ("signal on the request line", "signal on the data lines"),
}
"""What can be measured of a site, by its part: unpowered (ohms) before powered."""


def site_pattern(text: str) -> re.Pattern[str]:
    """Return the pattern of paths that ``text`` stands for, one group for each ``*``."""
    return re.compile("/".join("([^/]+)" if p == "*" else re.escape(p) for p in text.split("/")))


@frozen
class _LabelRule:
    pattern: re.Pattern[str]
    texts: tuple[tuple[str, str | tuple[str, ...]], ...]

    def apply(self, labels: Labels, found: re.Match[str], last: int) -> Labels:
        made = {name: _filled(text, found.groups(), last) for name, text in self.texts}
        return evolve(labels, **made)


def _filled(text: str | tuple[str, ...], groups: Sequence[str], last: int) -> str:
    if isinstance(text, tuple):
        return text[last] if last < len(text) else ""
    return re.sub(r"\{([1-9])\}", lambda m: groups[int(m[1]) - 1] if int(m[1]) <= len(groups) else m[0], text)


@define(slots=False)
class Marks:
    """The labels and levels of one board file."""

    labels: tuple[LabelTable, ...] = ()
    floats: tuple[FloatsTable, ...] = ()

    @cached_property
    def _rules(self) -> tuple[_LabelRule, ...]:
        names = [a.name for a in attrs.fields(Labels)]
        return tuple(
            _LabelRule(site_pattern(t.sites), tuple((n, v) for n in names if (v := getattr(t, n))))
            for t in self.labels
        )

    @cached_property
    def _levels(self) -> tuple[tuple[re.Pattern[str], int], ...]:
        return tuple((site_pattern(t.sites), t.level) for t in self.floats)

    def marked(self, site: Site, last: int) -> Site:
        """Return the site with its labels, level and probes; ``last``: its place in lists."""
        labels = site.labels
        for rule in self._rules:
            if found := rule.pattern.fullmatch(site.path):
                labels = rule.apply(labels, found, last)
        role = site.role
        if isinstance(role, FLOATING):
            for pattern, level in self._levels:
                if pattern.fullmatch(site.path):
                    role = evolve(role, floats=level)
        return evolve(site, labels=labels, role=role, probes=PROBES.get(site.part, ()))
