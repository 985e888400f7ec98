"""What may come next in the text of a fault: for shell completion."""

from collections.abc import Iterator
from functools import cache
from itertools import islice
from typing import Final

from emu.errors import InputError
from emu.load import load_machine
from faults.boards import Board, load_board
from faults.boards.family import Family
from faults.kinds import all_kinds
from faults.kinds.kind import Kind
from faults.sites import Site

MOST_OFFERED: Final = 300


def next_words(machine: str, incomplete: str) -> tuple[str, ...]:
    """Return the texts, longer than ``incomplete`` by one part of a path or a kind, that may follow it.

    At most 300, in the order of the board; none if the machine cannot be loaded.
    """
    board = _board(machine)
    if board is None:
        return ()
    before, mark, last = incomplete.rpartition("&")
    blank = last[: len(last) - len(last.lstrip())]
    found = _kinds(board, last.strip()) if ":" in last else _paths(board, last.strip())
    return tuple(islice(dict.fromkeys(f"{before}{mark}{blank}{word}" for word in found), MOST_OFFERED))


@cache
def _board(machine: str) -> Board | None:
    try:
        return load_board(load_machine(machine))
    except InputError:
        return None


def _kinds(board: Board, text: str) -> Iterator[str]:
    path, _, kind = text.partition(":")
    member = board.tree.find(path.partition("+")[0])
    if member is None:
        return
    site = board.member(*member)
    for known in all_kinds().values():
        for params in known.variants:
            name = known.text(params)
            if known.pair == ("+" in path) and name.startswith(kind) and _applies(known, site, params):
                yield f"{path}:{name}"


def _applies(kind: Kind, site: Site, params: tuple[str, ...]) -> bool:
    return isinstance(site.role, kind.roles) if kind.pair else not kind.reason_against((site,), params)


def _paths(board: Board, path: str) -> Iterator[str]:
    for family in (*board.families(), *board.families(fine=True)):
        if path.startswith(f"{family.prefix}/"):
            yield from _members(family, path)
        elif family.prefix.startswith(path):
            end = family.prefix.find("/", len(path) + 1)
            whole = f"{family.prefix}/" if family.dimensions else f"{family.prefix}:"
            yield whole if end < 0 else f"{family.prefix[:end]}/"


def _members(family: Family, path: str) -> Iterator[str]:
    given = path[len(family.prefix) + 1 :].split("/")
    number = len(given) - 1
    if number >= len(family.dimensions):
        return
    dimension = family.dimensions[number]
    head, tail = path.rpartition("/")[0], ":" if number == len(family.dimensions) - 1 else "/"
    for index in range(len(dimension)):
        text = dimension.text(index)
        if text.startswith(given[-1]):
            yield f"{head}/{text}{tail}"
