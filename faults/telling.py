"""How times, addresses, bits and words are told to people, the same in every account."""

from functools import cached_property
from typing import Final

from attrs import define

from emu.assemble.layout import Layout
from emu.codes import check_bits, verify
from emu.spec import LampSpec, MachineSpec, PortSpec
from emu.words import WordFormat, mask, to_signed
from faults.boards.bits import stored_bit_names

_UNITS: Final = ((60_000_000_000, "min"), (1_000_000_000, "s"), (1_000_000, "ms"), (1_000, "µs"))
MOST_BITS: Final = 6


def time_text(time_ns: int) -> str:
    """Return a time in the unit that suits it, with three significant digits."""
    for size, unit in _UNITS:
        if time_ns >= size:
            return f"{_three(time_ns / size)} {unit}"
    return f"{time_ns} ns" if time_ns else "0 s"


def _three(value: float) -> str:
    text = f"{value:.3g}"
    return f"{value:.0f}" if "e" in text else text


def joined(texts: list[str]) -> str:
    """Return ``a``, ``a and b``, ``a, b and c``."""
    return " and ".join(filter(None, (", ".join(texts[:-1]), texts[-1]))) if texts else ""


def signs_text(words: tuple[int, ...]) -> str:
    """Return characters sent to a port in double quotes, line ends and odd codes made visible."""
    shown = "".join(chr(w) if 0x20 <= w < 0x7F else "\\n" if w == 0x0A else f"<{w}>" for w in words)
    return f'"{shown}"'


@define(slots=False, eq=False)
class Teller:
    """Tells the numbers of one machine in its own base and numbering."""

    machine: MachineSpec

    @cached_property
    def _layout(self) -> Layout:
        return Layout(self.machine)

    @cached_property
    def _bit_names(self) -> tuple[tuple[str, ...], ...]:
        return tuple(stored_bit_names(self.machine, store) for store in range(len(self.machine.stores)))

    def counter(self, address: int) -> str:
        """Return an address as the processor counts them."""
        return WordFormat(self.machine.address_bits, base=self.machine.word.base).tagged(address)

    def index(self, store: int, index: int) -> str:
        """Return the address of a word in its store."""
        words = self.machine.stores[store].words
        form = WordFormat(max(1, (words - 1).bit_length()), base=self.machine.word.base)
        return form.tagged(index)

    def cell(self, store: int, index: int) -> str:
        """Return ``word 0o02001 of the rope``."""
        return f"word {self.index(store, index)} of the {self.machine.stores[store].name}"

    def place(self, store: int, index: int) -> str:
        """Return ``word 0o02001 of the rope (bank 2 at 0o4001)``: as the store and as the program see it."""
        spot = self._layout.spot_in(self.machine.stores[store].name, index)
        text = self.cell(store, index)
        if spot.window < 0:
            return text
        bank = "" if spot.bank is None else f"bank {spot.bank} "
        return f"{text} ({bank}at {self.counter(spot.address)})"

    def bit_names(self, store: int, pattern: int) -> list[str]:
        """Return the names of the bits of a pattern, most significant first."""
        names = self._bit_names[store]
        return [names[n] for n in range(pattern.bit_length() - 1, -1, -1) if pattern >> n & 1]

    def bits(self, store: int, pattern: int) -> str:
        """Return ``bit 3``, ``bits 3 and 5``, ``bit 3 and the parity bit``, ``16 bits``."""
        names = self.bit_names(store, pattern)
        if len(names) > MOST_BITS:
            return f"{len(names)} bits"
        plain = [n for n in names if n.isdigit()]
        others = [
            "the parity bit" if n == "parity" else f"check bit {n.removeprefix('check')}"
            for n in names
            if not n.isdigit()
        ]
        head = [f"bit{'s' if len(plain) > 1 else ''} {joined(plain)}"] if plain else []
        return joined([*head, *others])

    def data(self, word: int) -> str:
        """Return a data word in the machine's base."""
        return self.machine.word.tagged(word)

    def stored(self, store: int, word: int) -> str:
        """Return a stored word: its data, and its check bits if it has any."""
        spec = self.machine.stores[store]
        form = WordFormat(spec.data_bits, base=self.machine.word.base)
        data, checks = form.tagged(word & mask(spec.data_bits)), word >> spec.data_bits
        count = check_bits(spec.protection, spec.data_bits)
        if not count:
            return data
        return f"{data} parity {checks}" if count == 1 else f"{data} checks {checks:0{count}b}"

    def examined(self, store: int, word: int) -> str:
        """Return what is seen of a stored word that is read: data as the check leaves them, and its alarm.

        Nobody sees check bits at a panel; what they make of a word shows as an alarm.
        """
        spec = self.machine.stores[store]
        found = verify(spec.protection, spec.data_bits, word)
        alarm = {"ok": "", "corrected": spec.corrected_alarm, "error": spec.alarm}[found.status]
        return f"{self.data(found.data)} with alarm {alarm}" if alarm else self.data(found.data)

    def change(self, store: int, expected: int, got: int) -> str:
        """Return which bits of a stored word are wrong, and which way where they are few."""
        wrong = expected ^ got
        missing, extra = wrong & expected, wrong & got
        said = []
        for pattern, level in ((extra, 1), (missing, 0)):
            if pattern:
                verb = "are" if pattern.bit_count() > 1 else "is"
                said.append(f"{self.bits(store, pattern)} {verb} {level} instead of {1 - level}")
        return joined(said)

    def lamp(self, lamp: LampSpec, value: int) -> str:
        """Return what a row of lamps shows: a register in the machine's base, a count, on or off."""
        if lamp.shows.startswith("alarm:"):
            return "on" if value else "off"
        if lamp.shows == "restarts":
            return str(value)
        return WordFormat(self.machine.register(lamp.shows).bits, base=self.machine.word.base).tagged(value)

    def port(self, number: int) -> PortSpec | None:
        """Return the output port of that number."""
        found = (p for p in self.machine.ports if p.number == number and p.direction == "out")
        return next(found, None)

    def port_word(self, number: int, word: int) -> str:
        """Return a word sent to a port, as the port shows it."""
        port = self.port(number)
        if port is None or port.shows == "number":
            return str(word)
        if port.shows == "character":
            return signs_text((word,))
        return str(to_signed(word, port.bits, self.machine.word.arithmetic))
