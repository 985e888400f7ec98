"""A fault in words: what is broken, where it is labelled, when it is there, and what to be careful of."""

from attrs import frozen

from faults.boards.board import Board
from faults.fault import Fault, FaultPart
from faults.kinds import kind_named
from faults.silence import gate_sentence
from faults.sites import Site
from faults.telling import joined


@frozen
class Described:
    """One fault in words. ``sentences``: one a part. ``labels``: (name, label) pairs of its first site."""

    sentences: tuple[str, ...]
    labels: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


def describe(board: Board, fault: Fault) -> Described:
    """Return a fault in words. Raises InputError for a site that the board has not."""
    first = board.site(fault.parts[0].sites[0])
    return Described(
        tuple(part_sentence(board, part) for part in fault.parts),
        label_pairs(first),
        tuple(dict.fromkeys(kind_named(part.kind).entry.caution for part in fault.parts)),
    )


def part_sentence(board: Board, part: FaultPart) -> str:
    """Return one part: its sites with their labels, the kind, and when it is there."""
    sites = [board.site(path) for path in part.sites]
    kind = kind_named(part.kind)
    where = joined([_named(site) for site in sites])
    when = "".join(f"; {gate_sentence(gate)}" for gate in part.gates)
    title = kind.title.partition(": ")[2] or kind.title
    said = f"{where}: {kind.text(part.params)} ({title[0].lower()}{title[1:]}{when})."
    return said[0].upper() + said[1:]


def _named(site: Site) -> str:
    labels = site.labels.text()
    noun = site.noun.rstrip(",")
    return f"{noun} [{labels}]" if labels else noun


def label_pairs(site: Site) -> tuple[tuple[str, str], ...]:
    """Return what is written on the drawing or the part, in the order to look for it."""
    names = ("card", "slot", "connector", "pin", "wire", "chip")
    return tuple((n, getattr(site.labels, n)) for n in names if getattr(site.labels, n))
