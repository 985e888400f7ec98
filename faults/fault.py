"""A fault: what is broken, where, and when it is there."""

from attrs import field, frozen

from emu.gates import Gate


def _sorted_gates(gates: tuple[Gate, ...]) -> tuple[Gate, ...]:
    return tuple(sorted(set(gates))) if len(gates) > 1 else gates


@frozen
class FaultPart:
    """One thing broken: the name of its kind, the form (``("0",)`` of ``stuck-0``), the paths of its sites,
    and the gates that must all be open for it to be there; none means always. Gates are kept sorted.
    """  # noqa: D205

    kind: str
    sites: tuple[str, ...]
    params: tuple[str, ...] = ()
    gates: tuple[Gate, ...] = field(default=(), converter=_sorted_gates)


def natural(path: str) -> tuple[tuple[int, str], ...]:
    """Return what sorts paths with their numbers in order: ``core/x/9`` before ``core/x/10``."""
    return tuple((int(p), "") if p.isascii() and p.isdigit() else (-1, p) for p in path.split("/"))


def _sorted_parts(parts: tuple[FaultPart, ...]) -> tuple[FaultPart, ...]:
    return tuple(sorted(set(parts), key=_order)) if len(parts) > 1 else parts


def _order(part: FaultPart) -> tuple[object, ...]:
    return (part.sites, part.kind, part.params, part.gates)


@frozen
class Fault:
    """One or several things broken at once, kept sorted: the order in which they were named does not count.

    Hashable, picklable, and small. Made by ``faults.notation.parse_fault`` or by a universe; a fault made by
    hand is checked when it is lowered.
    """

    parts: tuple[FaultPart, ...] = field(converter=_sorted_parts)

    def __and__(self, other: "Fault") -> "Fault":
        return Fault(self.parts + other.parts)
