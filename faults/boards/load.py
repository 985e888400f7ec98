"""``NAME.board.toml`` -> :class:`faults.boards.Board`, with everything wrong in the file reported at once."""

import re
from importlib.resources import files
from pathlib import Path
from typing import Final

from attrs import define, fields

from emu.errors import Problems, declare, nearest
from emu.fromtoml import build, key_path
from emu.spec import MachineSpec
from emu.tomlfile import TomlDocument, parse, read
from emu.where import Source
from faults.boards.board import Board
from faults.boards.family import Family, FamilyTree, Named
from faults.boards.interface import buses, stand_in, store_lines
from faults.boards.known import technologies
from faults.boards.marks import Marks, site_pattern
from faults.boards.plain import PlainTable
from faults.boards.tables import BoardTable, FloatsTable, LabelTable, NetTable
from faults.boards.technology import StoreGround
from faults.sites import STAGE_SENSE, Chip, Control, DataLine, Labels, SelectLine, SharedNet, Site

MAX_FAMILY: Final = 65_536
HEAD = 'format = "board/1"\nmachine = "fulmar"\n\n'
WRONG_MACHINE = declare(
    "board-machine",
    "A board file describes the memory of one machine, by name, and the stores that machine has.",
    "Write the name of the machine as its own file has it, and the names of its stores.",
    HEAD + '[[store]]\nstore = "roap"\nbuilt = "plain"\n',
    "board",
)
GEOMETRY = declare(
    "board-geometry",
    "The address bits of a store are shared out among its lines, and its way of building fits what it is.",
    "List every address bit once, by weight: bit n has the weight 2**n.",
    HEAD + '[[store]]\nstore = "core"\nbuilt = "coincident"\nx = "0-4"\ny = "5-9"\n',
    "board",
)
NO_SITES = declare(
    "board-sites",
    "Labels, levels and nets speak of sites that the board has.",
    "See `corewright faults MACHINE` for the sites; a * stands for one whole part of a path.",
    HEAD + '[[label]]\nsites = "rope/adress/*"\ncard = "A1"\n',
    "board",
)
LABEL_NAMES = declare(
    "board-label",
    "In a label {1} stands for what the first * of its sites stands for, {2} for the second; a list has a "
    "label for each line and takes none.",
    "Number the * of `sites` from 1.",
    HEAD + '[[label]]\nsites = "core/address/*"\npin = "A{2}"\n',
    "board",
)
WRONG_NET = declare(
    "board-net",
    "A net of the effect read-ones or read-zeros feeds data lines and chips; one of the effect dead feeds "
    "select lines, chips, strobes and rewrites.",
    "Choose the effect that the loss of the net has on these sites.",
    HEAD + '[[net]]\nname = "n"\nfeeds = ["core/address/1"]\neffect = "dead"\n',
    "board",
)
FED: Final[dict[str, tuple[type, ...]]] = {
    "read-ones": (DataLine, Chip),
    "read-zeros": (DataLine, Chip),
    "dead": (SelectLine, Chip, Control),
}
_FED_HINTS: Final = {
    "read-ones": "these are data lines, sense amplifiers and chips",
    "read-zeros": "these are data lines, sense amplifiers and chips",
    "dead": "these are select lines, drivers, chips, strobes and rewrites",
}


def shipped_boards() -> tuple[str, ...]:
    """Return the names of the machines whose boards come with Corewright."""
    folder = files("faults").joinpath("boards", "files")
    return tuple(
        sorted(f.name.removesuffix(".board.toml") for f in folder.iterdir() if f.name.endswith(".toml"))
    )


def load_board(machine: MachineSpec, path: Path | str | None = None) -> Board:
    """Return the board of a machine: from ``path``, else the shipped one, else a plain one.

    ``path`` may be a board file, or a machine file beside which ``STEM.board.toml`` is looked for.
    Raises InputError with all problems of the file.
    """
    if path is not None:
        given = Path(path)
        if given.name.endswith(".board.toml"):
            return _board(machine, read(given))
        beside = given.with_suffix(".board.toml")
        if beside.is_file():
            return _board(machine, read(beside))
        if given.suffix == ".toml":
            return plain_board(machine)
        return _board(machine, read(given))
    if machine.name in shipped_boards():
        name = f"{machine.name}.board.toml"
        shipped = files("faults").joinpath("boards", "files", name)
        return parse_board(machine, Source(name, shipped.read_text(encoding="utf-8")))
    return plain_board(machine)


def parse_board(machine: MachineSpec, source: Source) -> Board:
    """Return the board that a text describes. Raises InputError with all problems."""
    return _board(machine, parse(source))


def plain_board(machine: MachineSpec) -> Board:
    """Return a board of which only address lines, data lines and cells are known."""
    table = BoardTable(format="board/1", machine=machine.name)
    tree = FamilyTree(tuple(_families(machine, table)))
    return Board(machine, tree, ("plain",) * len(machine.stores), described=False)


def _board(machine: MachineSpec, document: TomlDocument) -> Board:
    problems = Problems(document.source)
    table = build(BoardTable, document, problems)
    problems.raise_if_errors()
    assert table is not None, "a table that cannot be built has a problem"
    checks = _Checks(machine, table, document, problems)
    checks.stores()
    problems.raise_if_errors()
    tree = FamilyTree(tuple(_families(machine, table)))
    board = Board(machine, tree, _built(machine, table), Marks(table.labels, table.floats), table.doc.strip())
    checks.size(board)
    problems.raise_if_errors()
    checks.sites(board)
    problems.raise_if_errors()
    return board


def _built(machine: MachineSpec, table: BoardTable) -> tuple[str, ...]:
    named = {t.table: name for name, t in technologies().items()}
    ways = {t.store: named[type(t)] for t in table.stores}
    return tuple(ways.get(s.name, "plain") for s in machine.stores)


def _families(machine: MachineSpec, table: BoardTable) -> list[Family]:
    described = {t.store: t for t in table.stores}
    served = {t.store for t in table.stand_ins}
    families = list(buses(machine))
    for index, store in enumerate(machine.stores):
        ground = StoreGround(machine, index)
        described_as = described.get(store.name, PlainTable(store=store.name))
        families += store_lines(ground, getattr(described_as, "undriven", "zeros"))
        if store.name in served:
            families.append(stand_in(ground))
        way = next(t for t in technologies().values() if t.table is type(described_as))
        families += way.families(ground, described_as)
    if table.nets:
        families.append(_nets(table.nets))
    return families


def _nets(nets: tuple[NetTable, ...]) -> Family:
    def make(path: str, at: tuple[int, ...]) -> Site:
        net = nets[at[0]]
        role = SharedNet(net.feeds, net.effect)
        return Site(path, role, STAGE_SENSE, "supply", f"shared net {net.name}")

    return Family("net", (Named("net", tuple(n.name for n in nets)),), make)


@define
class _Checks:
    machine: MachineSpec
    table: BoardTable
    document: TomlDocument
    problems: Problems

    def stores(self) -> None:
        """Check the names of machine and stores, and what each way of building demands."""
        names = [s.name for s in self.machine.stores]
        if self.table.machine != self.machine.name:
            message = f"this board belongs to {self.table.machine!r}, the machine is {self.machine.name!r}"
            self.problems.add(WRONG_MACHINE, message, self.document.place(("machine",)))
        for owner in (*self.table.stores, *self.table.stand_ins):
            if owner.store not in names:
                message = f"{self.machine.name} has the stores {', '.join(names)}; given {owner.store!r}"
                place = self.document.place(key_path(owner, "store"))
                self.problems.add(WRONG_MACHINE, message, place, hint=nearest(owner.store, names))
        for table in self.table.stores:
            if table.store in names:
                self.geometry(table, names.index(table.store))

    def geometry(self, table: object, index: int) -> None:
        """Check what the schema cannot: that the address bits are shared out."""
        way = next(t for t in technologies().values() if t.table is type(table))
        for attribute, message in way.wrong(StoreGround(self.machine, index), table):
            path = key_path(table, attribute)
            self.problems.add(GEOMETRY, message, self.document.place(path))

    def size(self, board: Board) -> None:
        """Check that the structure is not absurdly large, so that no file can hang what reads it."""
        largest = max(board.families(), key=lambda f: f.size)
        if largest.size > MAX_FAMILY:
            given = f"{largest.prefix} would be {largest.size:,}"
            message = f"a board has at most {MAX_FAMILY:,} sites of a kind; {given}"
            self.problems.add(GEOMETRY, message, self.document.place(("store",)))

    def sites(self, board: Board) -> None:
        """Check that labels, levels and nets speak of sites that exist."""
        owners: tuple[LabelTable | FloatsTable, ...] = (*self.table.labels, *self.table.floats)
        for owner in owners:
            matching = _matching(board, owner.sites)
            if not matching:
                self.report(board, owner.sites, key_path(owner, "sites"))
            if isinstance(owner, LabelTable):
                self.lists(owner, matching)
                self.names(owner)
        for net in self.table.nets:
            for i, path in enumerate(net.feeds):
                if board.tree.find(path) is None:
                    self.report(board, path, key_path(net, "feeds", i))
                elif not isinstance(board.site(path).role, FED[net.effect]):
                    self.problems.add(
                        WRONG_NET, f"a net of the effect {net.effect!r} does not feed {path!r}",
                        self.document.place(key_path(net, "feeds", i)), hint=_FED_HINTS[net.effect],
                    )  # fmt: skip

    def lists(self, owner: LabelTable, matching: list[Family]) -> None:
        """Check that a list of labels has one for each of the last parts of the paths."""
        for name in (a.name for a in fields(Labels)):
            texts = getattr(owner, name)
            for family in matching:
                wanted = len(family.dimensions[-1]) if family.dimensions else 1
                if isinstance(texts, tuple) and len(texts) != wanted:
                    message = f"{owner.sites!r} takes {wanted} labels in a list; given {len(texts)}"
                    self.problems.add(NO_SITES, message, self.document.place(key_path(owner, name)))

    def names(self, owner: LabelTable) -> None:
        """Check that what stands in braces is put in."""
        allowed = [f"{{{i}}}" for i in range(1, owner.sites.split("/").count("*") + 1)]
        for name in (a.name for a in fields(Labels)):
            texts = getattr(owner, name)
            known = allowed if isinstance(texts, str) else []
            for given in re.findall(r"\{[^{}]*\}", texts if isinstance(texts, str) else " ".join(texts)):
                if given not in known:
                    there = f"put in here are {', '.join(known)}" if known else "nothing is put in here"
                    message = f"{there}; given {given!r}"
                    self.problems.add(LABEL_NAMES, message, self.document.place(key_path(owner, name)))

    def report(self, board: Board, path: str, where: tuple[str | int, ...]) -> None:
        """Report a path, or a pattern, that no site has."""
        close = next(board.around(path.replace("*", "0")), "") or nearest(path, board.tree.prefixes)
        hint = f"the nearest is {close!r}" if close and not close.startswith("did") else close
        message = f"the board has no site {path!r}"
        self.problems.add(NO_SITES, message, self.document.place(where), hint=hint)


def _matching(board: Board, pattern: str) -> list[Family]:
    """Return the families of which the pattern means members."""
    found, parts = [], pattern.split("/")
    for family in board.tree.families:
        head = family.prefix.split("/")
        if len(parts) != len(head) + len(family.dimensions):
            continue
        if not site_pattern("/".join(parts[: len(head)])).fullmatch(family.prefix):
            continue
        rest = zip(parts[len(head) :], family.dimensions, strict=True)
        if all(p == "*" or d.index(p) >= 0 for p, d in rest):
            found.append(family)
    return found
