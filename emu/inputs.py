"""What the input ports of a machine are offered: text such as ``sea: 92 118 141``, one port a line.

The format is described in ``docs/reference/inputs.md``.
"""

import re
from collections.abc import Iterable, Mapping
from typing import Final

from emu.errors import Note, Problems, declare, nearest
from emu.spec import MachineSpec, PortSpec
from emu.where import Place, Source
from emu.words import from_signed, mask

INPUT_LINE: Final = declare(
    "inputs-line",
    "A line of an inputs file is a port, a colon, and the words that the port offers, one for each read.",
    "Write for instance `sea: 92 118 141`; a comment begins with #.",
    "sea 92 118\n",
    "inputs",
)
INPUT_PORT: Final = declare(
    "inputs-port",
    "Inputs go to an input port of the machine, by name or number.",
    "Use one of the input ports of the machine's page.",
    "see: 92 118\n",
    "inputs",
)
INPUT_WORD: Final = declare(
    "inputs-word",
    "An input is a whole number, decimal or with 0b, 0o or 0x, or text in double quotes, and fits its port.",
    "Mend the number. Negative numbers are written in the machine's own arithmetic.",
    "sea: 92 70000\n",
    "inputs",
)
INPUT_TWICE: Final = declare(
    "inputs-port-twice",
    "A port stands in an inputs file once.",
    "Put all the words of a port on one line; a line may be long.",
    "sea: 92\nsea: 118\n",
    "inputs",
)
Inputs = Mapping[int, tuple[int, ...]]
_TOKEN: Final = re.compile(r'"[^"]*"|[^\s,]+')
_NUMBER: Final = re.compile(r"[+-]?(0[bB][01_]+|0[oO][0-7_]+|0[xX][0-9A-Fa-f_]+|[0-9][0-9_]*)")
_PREFIXES: Final = {"0b": 2, "0o": 8, "0x": 16}
MOST_DIGITS: Final = 80


def parse_inputs(source: Source, machine: MachineSpec) -> Inputs:
    """Return the words offered at each input port, by number of the port.

    Raises InputError with every problem of the text.
    """
    return _parse(source, machine, ":")


def _parse(source: Source, machine: MachineSpec, sign: str) -> Inputs:
    problems = Problems(source)
    found: dict[int, tuple[int, ...]] = {}
    places: dict[int, Place] = {}
    for number, text in enumerate(source.text.split("\n"), 1):
        line = _Line(source, machine, problems, number, text.split("#", 1)[0].rstrip(), sign)
        port = line.port() if line.text.strip() else None
        if port is None:
            continue
        if port.number in places:
            note = Note("first given here", places[port.number])
            problems.add(INPUT_TWICE, f"a port stands here once, got {port.name} again", line.at(0, 1),
                         notes=(note,))  # fmt: skip
        places.setdefault(port.number, line.at(0, 1))
        found[port.number] = line.words(port)
    problems.raise_if_errors()
    return found


def parse_input_options(given: Iterable[str], machine: MachineSpec) -> Inputs:
    """Return the words of ``PORT=w,w,…`` texts, as typed on a command line."""
    return _parse(Source("--input", "\n".join(given)), machine, "=")


class _Line:
    """One line of the text; ``sign`` stands between port and words."""

    def __init__(
        self, source: Source, machine: MachineSpec, problems: Problems, number: int, text: str, sign: str
    ) -> None:
        self.source, self.machine, self.problems = source, machine, problems
        self.number, self.text, self.sign = number, text, sign

    def at(self, start: int, length: int) -> Place:
        return Place(self.source.file, self.number, start + 1, max(length, 1))

    def port(self) -> PortSpec | None:
        name, sign, _ = self.text.partition(self.sign)
        if not sign or not name.strip():
            called = "a colon" if self.sign == ":" else "an equals sign"
            message = f"a line is a port, {called} and words; got {self.text.strip()[:80]!r}"
            self.problems.add(INPUT_LINE, message, self.at(0, len(self.text)))
            return None
        start = len(name) - len(name.lstrip())
        name = name.strip()
        ports = [p for p in self.machine.ports if p.direction == "in"]
        for port in ports:
            if name in {port.name, str(port.number)}:
                return port
        known = [p.name for p in ports]
        hint = nearest(name, known) or f"input ports: {', '.join(known) or 'none'}"
        message = f"inputs go to an input port of {self.machine.name}, got {name[:80]!r}"
        self.problems.add(INPUT_PORT, message, self.at(start, len(name)), hint=hint)
        return None

    def words(self, port: PortSpec) -> tuple[int, ...]:
        words: list[int] = []
        for token in _TOKEN.finditer(self.text, self.text.index(self.sign) + 1):
            words += self.word(port, token.group(), token.start())
        return tuple(words)

    def word(self, port: PortSpec, text: str, start: int) -> list[int]:
        """Return the word or, for text in quotes, the words of a token; reports what does not fit."""
        given = [ord(c) for c in text[1:-1]] if text[0] == '"' and text.endswith('"') else _number(text)
        if given is None:
            message = f"an input is a whole number or text in quotes, got {text[:80]!r}"
            self.problems.add(INPUT_WORD, message, self.at(start, len(text)))
            return []
        patterns = [self.pattern(port, value) for value in given]
        if None in patterns:
            bad = given[patterns.index(None)]
            message = f"port {port.name} takes {self.range(port)}, got {bad}"
            self.problems.add(INPUT_WORD, message, self.at(start, len(text)))
        return [p for p in patterns if p is not None]

    def pattern(self, port: PortSpec, value: int) -> int | None:
        if value >= 0:
            return value if value <= mask(port.bits) else None
        try:
            return from_signed(value, port.bits, self.machine.word.arithmetic)
        except ValueError:
            return None

    def range(self, port: PortSpec) -> str:
        low = -(1 << port.bits - 1)
        if self.machine.word.arithmetic != "twos":
            low += 1
        return f"{low} to {mask(port.bits)}"


def _number(text: str) -> list[int] | None:
    """Return the value of a number, alone in a list, or None."""
    if len(text) > MOST_DIGITS or not _NUMBER.fullmatch(text):
        return None
    digits = text.lstrip("+-").lower()
    base = _PREFIXES.get(digits[:2], 10)
    try:
        value = int(digits, base)
    except ValueError:
        return None
    return [-value if text[0] == "-" else value]
