"""The tables of a board file, declared for :mod:`emu.schema`."""

from collections.abc import Iterator, Mapping
from typing import Any, Final, Literal

from attrs import frozen

from emu.schema import key, own_path
from emu.tomlfile import TomlPath
from faults.boards.known import technologies

_NET_NAME: Final = r"[a-z0-9][a-z0-9-]{0,39}"
_PATTERN: Final = r"[A-Za-z0-9*][A-Za-z0-9*/_.-]{0,79}"
_PATTERN_RULE: Final = 'paths of sites with * for any one part, such as "core/x/*"'


class _Built(Mapping[str, type]):
    """The tables of all ways of building; looked up late, as other packages may add some."""

    def __getitem__(self, name: str) -> type:
        return technologies()[name].table

    def __iter__(self) -> Iterator[str]:
        return iter(technologies())

    def __len__(self) -> int:
        return len(technologies())


@frozen
class StandInTable:
    """``[[stand-in]]``."""

    store: str = key(doc="The store that the unit stands in for.")
    path: TomlPath = own_path()


@frozen
class NetTable:
    """``[[net]]``."""

    name: str = key(doc="Its name.", pattern=_NET_NAME, pattern_rule="small letters, digits and '-'")
    feeds: tuple[str, ...] = key(doc="The sites it feeds.", fewest=1, most=256)
    effect: Literal["read-ones", "read-zeros", "dead"] = key(doc="What the sites do without it.")
    path: TomlPath = own_path()


@frozen
class FloatsTable:
    """``[[floats]]``."""

    sites: str = key(doc="Paths, * for any one part.", pattern=_PATTERN, pattern_rule=_PATTERN_RULE)
    level: int = key(doc="The level that the line drifts to when it is open.", low=0, high=1)
    path: TomlPath = own_path()


@frozen
class LabelTable:
    """``[[label]]``: text with {1} for what the first * stands for, or a list, one entry for each member of
    the last part.
    """  # noqa: D205

    sites: str = key(doc="Paths, * for any one part.", pattern=_PATTERN, pattern_rule=_PATTERN_RULE)
    card: str | tuple[str, ...] = key(default="", doc="The card.")
    slot: str | tuple[str, ...] = key(default="", doc="Where the card sits.")
    connector: str | tuple[str, ...] = key(default="", doc="The connector.")
    pin: str | tuple[str, ...] = key(default="", doc="The pin.")
    wire: str | tuple[str, ...] = key(default="", doc="The wire: colour or number.")
    chip: str | tuple[str, ...] = key(default="", doc="The chip, as printed on the board.")
    path: TomlPath = own_path()


@frozen
class BoardTable:
    """A board file."""

    format: Literal["board/1"] = key(doc="Which form of file this is.")
    machine: str = key(doc="The name of the machine whose memory is described.")
    doc: str = key(default="", doc="What a newcomer should know of it.")
    stores: tuple[Any, ...] = key(
        default=(),
        name="store",
        doc="How the stores are built; one left out is plain.",
        variants=_Built(),
        tag="built",
        unique="store",
        most=16,
    )
    stand_ins: tuple[StandInTable, ...] = key(
        default=(), name="stand-in", doc="Units that serve a store's words.", unique="store", most=16
    )
    nets: tuple[NetTable, ...] = key(default=(), name="net", doc="Nets that several sites share.", most=256)
    floats: tuple[FloatsTable, ...] = key(
        default=(), doc="The levels of open lines: address lines drift to 1, others to 0, unless said here.",
        unique=None, most=256,
    )  # fmt: skip
    labels: tuple[LabelTable, ...] = key(
        default=(), name="label", doc="What is written on drawings and parts.", unique=None, most=1024
    )
