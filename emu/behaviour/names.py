"""What a behaviour may speak of, and the errors of speaking of it wrongly."""

from collections.abc import Mapping
from typing import Final

from attrs import field, frozen

from emu.behaviour.tokens import sample
from emu.errors import declare

NAME: Final = declare(
    "behaviour-name",
    "Every name in a behaviour stands for a register, a letter of the encoding, a name bound by `let`, "
    "a function, an alarm or a trap.",
    "Declare it in the machine file, or mend the spelling.",
    sample("acc = akk + 1"),
    "machine",
)
BOUND: Final = declare(
    "behaviour-let",
    "`let` binds a new name, once in an instruction, and the name is known to the end of its block.",
    "Choose another name, or bind it before the block.",
    sample("let acc = pc"),
    "machine",
)
WIDTH: Final = declare(
    "behaviour-width",
    "Widths agree: both sides of an operator, a value and its target, a condition and 1 bit.",
    "Make them agree by extend(x, n), widen(x, n), low(x, n) or x[high..low].",
    sample("acc = acc + a"),
    "machine",
)
LITERAL: Final = declare(
    "behaviour-literal",
    "A literal takes the width of what it stands beside, and fits it.",
    "Write bits(n, w) to give a literal a width of its own.",
    sample("acc = acc + 256"),
    "machine",
)
CALL: Final = declare(
    "behaviour-call",
    "A function is given the number and the kind of arguments that it takes.",
    "Look it up in the table of functions in docs/reference/behaviour.md.",
    sample("acc = extend(acc)"),
    "machine",
)
USE: Final = declare(
    "behaviour-use",
    "Registers, files, memory and ports are used as what they are.",
    "A file is written r[index], bits x[high..low], memory M[address], a port P[number].",
    sample("a = acc"),
    "machine",
)
LACKS: Final = declare(
    "behaviour-lacks",
    "A statement needs what it speaks of: `restart` a restart table, `rearm` a watchdog, `P[n]` a port.",
    "Declare it in the machine file, or leave the statement out.",
    sample("rearm"),
    "machine",
)


@frozen
class Names:
    """What a behaviour may speak of.

    ``registers``: widths by name. ``files``: width and count by name. ``operands``: widths by letter.
    ``ports``: directions ("in", "out") by number. ``traps`` is None inside a trap, which enters no trap.
    ``doubtful`` names were declared wrongly: nothing is said of their use.
    """

    word_bits: int
    address_bits: int
    registers: Mapping[str, int]
    files: Mapping[str, tuple[int, int]]
    operands: Mapping[str, int] = field(factory=dict)
    alarms: frozenset[str] = frozenset()
    traps: frozenset[str] | None = frozenset()
    ports: Mapping[int, frozenset[str]] = field(factory=dict)
    restarts: bool = False
    watchdog: bool = False
    doubtful: frozenset[str] = frozenset()
