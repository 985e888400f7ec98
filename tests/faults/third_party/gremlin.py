"""A package of somebody else: one kind of fault and one way of building a store, in under 50 lines."""

from attrs import frozen

from emu.compose import Altered, position
from emu.rules import Rule
from emu.schema import key, own_path
from faults.boards.technology import Technology, family
from faults.kinds import Entry, Kind
from faults.sites import STAGE_SELECT, STAGE_SENSE, DataLine, SelectLine


def _flipped(board, sites, params):
    role = sites[0].role
    rule = Rule(role.side, role.store, "flip", role.bit, on="read")
    return (Altered(position(sites[0].stage, sites[0].path), rule),)


FLIPPED = Kind(
    "flipped",
    "Flipped: a line that is always the other way round",
    (DataLine,),
    _flipped,
    Entry(
        "Somebody exchanged the wires of a pair.", "The bit is inverted.", "Look.", "Swapped.", "Power off."
    ),
    "core/sense/3:flipped",
)


@frozen
class DrumTable:
    """``[[store]]`` with ``built = "drum"``."""

    store: str = key(doc="The store.")
    path: tuple = own_path()


def _families(ground, table):
    whole = SelectLine(ground.index, ground.region(), ground.full)
    yield family(ground, "motor", (), lambda at: whole, stage=STAGE_SELECT, part="driver", noun="motor")
    bits = (ground.bits,)
    line = lambda at: DataLine(ground.index, 1 << at[0], None, "read", "sense")  # noqa: E731
    yield family(ground, "head", bits, line, stage=STAGE_SENSE, part="amplifier", noun="head of bit {}")


DRUM = Technology("drum", DrumTable, _families, lambda ground, table: iter(()))
