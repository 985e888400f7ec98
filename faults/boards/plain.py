"""A store of which nothing is known but its address and data lines and its cells."""

from collections.abc import Iterator

from attrs import frozen

from emu.schema import key, own_path
from emu.tomlfile import TomlPath
from faults.boards.family import Family
from faults.boards.interface import cells
from faults.boards.technology import StoreGround, Technology


@frozen
class PlainTable:
    """``[[store]]`` with ``built = "plain"``."""

    store: str = key(doc="The store of the machine.")
    path: TomlPath = own_path()


def _families(ground: StoreGround, table: PlainTable) -> Iterator[Family]:  # noqa: ARG001
    yield cells(ground)


def _wrong(ground: StoreGround, table: PlainTable) -> Iterator[tuple[str, str]]:  # noqa: ARG001
    yield from ()


PLAIN = Technology("plain", PlainTable, _families, _wrong)
