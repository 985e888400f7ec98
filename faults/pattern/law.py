"""Laws of damage: what a word reads as, computed from what was expected (never from chance).

A law predicts the word read at given places of the evidence and the mask of bits for which it can say so.
"""

from typing import Literal, Protocol

import numpy as np
from attrs import frozen

from emu.words import mask
from faults.pattern.evidence import Addresses, Evidence, Patterns
from faults.pattern.region import named_bits

Prediction = tuple[Patterns, Patterns]
MapKind = Literal["stuck", "flip", "swap", "and", "or", "copy"]


class Law(Protocol):
    """Anything that predicts words."""

    @property
    def kind(self) -> str:
        """A short stable name of the sort of law."""
        ...

    @property
    def touched(self) -> int:
        """The address bits it acts on."""
        ...

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Return the words read at these places, and which of their bits are predicted."""
        ...

    def text(self, evidence: Evidence) -> str:
        """Say what a word reads as, in the form ``reads ...``."""
        ...


@frozen
class MaskLaw:
    """Bits under ``clear`` read 0, bits under ``put`` read 1."""

    clear: int
    put: int
    kind: str = "mask"
    touched: int = 0

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Mask the expected words."""
        words = evidence.need_words()
        values = words.expected[at] & np.uint64(words.full & ~self.clear) | np.uint64(self.put)
        return values, words.known[at]

    def text(self, evidence: Evidence) -> str:
        """Name the constant, or the bits."""
        words, form = evidence.need_words(), evidence.word
        if self.clear | self.put == words.full:
            if self.put in (0, words.full):
                return f"reads all {'ones' if self.put else 'zeros'}"
            return f"reads the constant {form.tagged(self.put)}"
        parts = [
            f"{named_bits('data', bits, form)} as {value}"
            for bits, value in ((self.clear, 0), (self.put, 1))
            if bits
        ]
        return f"reads {' and '.join(parts)}"


@frozen
class MapLaw:
    """The word of another address is read: the address after a fault of its bits.

    ``stuck``: bits under ``bits`` take the values of ``value``. ``flip``: they are inverted. With two bits
    ``first`` and ``second``: ``swap`` exchanges them; ``and``, ``or`` tie them together; ``copy``
    replaces the first by the second.
    """

    kind: MapKind
    bits: int
    value: int = 0
    first: int = 0
    second: int = 0

    @property
    def touched(self) -> int:
        """The address bits that are changed or looked at."""
        return self.bits

    def source(self, addresses: Addresses) -> Addresses:
        """Return the address whose word is read."""
        if self.kind == "stuck":
            return addresses & ~self.bits | self.value
        if self.kind == "flip":
            return addresses ^ self.bits
        a, b = addresses >> self.first & 1, addresses >> self.second & 1
        if self.kind == "copy":
            return addresses & ~(1 << self.first) | b << self.first
        if self.kind == "swap":
            return addresses & ~self.bits | b << self.first | a << self.second
        tied = a & b if self.kind == "and" else a | b
        return addresses & ~self.bits | tied << self.first | tied << self.second

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Take the expected word of the source."""
        return fetched(evidence, self.source(evidence.addresses[at]))

    def text(self, evidence: Evidence) -> str:
        """Name the address bits and what happens to them."""
        name = evidence.address.label
        a, b = name(self.first), name(self.second)
        if self.kind == "stuck":
            halves = ((self.value, 1), (self.bits & ~self.value, 0))
            state = [f"{_were(bits, evidence)} always {value}" for bits, value in halves if bits]
            return f"reads the word of another address, as if {' and '.join(state)}"
        said = {
            "flip": f"as if {named_bits('address', self.bits, evidence.address)} were inverted",
            "swap": f"as if address bits {a} and {b} were exchanged",
            "and": f"as if address bits {a} and {b} were tied together, 0 winning (wired AND)",
            "or": f"as if address bits {a} and {b} were tied together, 1 winning (wired OR)",
            "copy": f"as if address bit {a} took the value of bit {b}",
        }
        return f"reads the word of another address, {said[self.kind]}"


@frozen
class ShiftLaw:
    """The word of the address ``offset`` further on is read."""

    offset: int
    kind: str = "shift"
    touched: int = 0

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Take the expected word at the distance."""
        return fetched(evidence, evidence.addresses[at] + self.offset)

    def text(self, evidence: Evidence) -> str:  # noqa: ARG002 - as every law
        """Say how far and which way."""
        step = abs(self.offset)
        plural = "" if step == 1 else "es"
        where = "after" if self.offset > 0 else "before"
        return f"reads the word expected {step:,} address{plural} {where} it (the words are shifted)"


@frozen
class StaleLaw:
    """The word read ``lag`` words earlier comes again."""

    lag: int
    kind: str = "stale"
    touched: int = 0

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Take the observed word at the lag, in reading order."""
        words = evidence.need_words()
        before = at - self.lag
        place = np.where(before >= 0, before, 0)
        return words.observed[place], np.where(before >= 0, words.known[place], np.uint64(0))

    def text(self, evidence: Evidence) -> str:  # noqa: ARG002 - as every law
        """Say what is repeated."""
        what = (
            "the word read just before it" if self.lag == 1 else f"the word read {self.lag} words before it"
        )
        return f"repeats {what} (stale data: an earlier transfer comes again)"


@frozen
class EchoLaw:
    """Bits of the address itself are read: ``width`` bits from bit ``shift`` up, ``copies`` times."""

    shift: int
    width: int
    copies: int = 1
    kind: str = "echo"
    touched: int = 0

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Cut the bits out of the address."""
        part = (evidence.addresses[at] >> self.shift & mask(self.width)).astype(np.uint64)
        values = part
        for n in range(1, self.copies):
            values = values | part << np.uint64(n * self.width)
        return values, evidence.need_words().known[at]

    def text(self, evidence: Evidence) -> str:
        """Say which part."""
        top = min(self.shift + self.width, evidence.address.bits)
        name = evidence.address.label
        times = f", {self.copies} times side by side" if self.copies > 1 else ""
        return (
            f"reads part of its own address, bits {name(top - 1)} to {name(self.shift)}{times} (bus residue)"
        )


@frozen
class DataLaw:
    """Two data bits interact: exchanged, tied together, or the first follows the second."""

    kind: Literal["data-swap", "data-or", "data-and", "data-copy"]
    first: int
    second: int
    touched: int = 0

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Move the two bits of the expected words."""
        words, first, second = evidence.need_words(), np.uint64(self.first), np.uint64(self.second)
        one = np.uint64(1)
        a, b = words.expected[at] >> first & one, words.expected[at] >> second & one
        pairs = {
            "data-swap": (b, a),
            "data-or": (a | b, a | b),
            "data-and": (a & b, a & b),
            "data-copy": (b, b),
        }
        new_a, new_b = pairs[self.kind]
        pair = 1 << self.first | 1 << self.second
        rest = words.expected[at] & np.uint64(words.full & ~pair)
        care = np.where(words.known[at] & np.uint64(pair) == pair, words.known[at], np.uint64(0))
        return rest | new_a << first | new_b << second, care

    def text(self, evidence: Evidence) -> str:
        """Name the two bits."""
        a, b = evidence.word.label(self.first), evidence.word.label(self.second)
        return {
            "data-swap": f"reads data bits {a} and {b} exchanged",
            "data-or": f"reads the OR of data bits {a} and {b} in both",
            "data-and": f"reads the AND of data bits {a} and {b} in both",
            "data-copy": f"reads data bit {a} as a copy of data bit {b}",
        }[self.kind]


def _were(bits: int, evidence: Evidence) -> str:
    verb = "was" if bits.bit_count() == 1 else "were"
    return f"{named_bits('address', bits, evidence.address)} {verb}"


def fetched(evidence: Evidence, addresses: Addresses) -> Prediction:
    """Return the expected words of addresses, with no bit known where an address was not read."""
    words, places = evidence.need_words(), evidence.places(addresses)
    there = np.where(places >= 0, places, 0)
    return words.expected[there], np.where(places >= 0, words.known[there], np.uint64(0))


@frozen
class WholeLaw:
    """The whole word is altered: complemented, its bits or bytes in reverse order, or moved by a bit."""

    kind: Literal["complement", "bit-order", "byte-order", "moved-up", "moved-down"]
    touched: int = 0

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Alter the expected words."""
        words, one = evidence.need_words(), np.uint64(1)
        own, full = words.expected[at], np.uint64(words.full)
        if self.kind == "complement":
            values = ~own & full
        elif self.kind in ("moved-up", "moved-down"):
            values = own << one & full if self.kind == "moved-up" else own >> one
        else:
            values = _turned(own, words.bits, 1 if self.kind == "bit-order" else 8)
        whole = words.known[at] == full
        return values, np.where(whole, full, np.uint64(0))

    def text(self, evidence: Evidence) -> str:  # noqa: ARG002 - as every law
        """Say how the word is altered."""
        return {
            "complement": "reads the complement of what is expected",
            "bit-order": "reads its bits in reverse order (wrong numbering of the dump, or crossed lines)",
            "byte-order": "reads its bytes in reverse order (byte order of the dump)",
            "moved-up": "reads its bits moved up by one place",
            "moved-down": "reads its bits moved down by one place",
        }[self.kind]


@frozen
class SliceLaw:
    """A law that acts in the data bits of ``part`` only; the others are read as expected."""

    law: Law
    part: int

    @property
    def kind(self) -> str:
        """The kind of the law inside."""
        return self.law.kind

    @property
    def touched(self) -> int:
        """The address bits of the law inside."""
        return self.law.touched

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Mix the prediction with what was expected."""
        words, inside = evidence.need_words(), np.uint64(self.part)
        values, care = self.law.predict(evidence, at)
        own = words.expected[at]
        return values & inside | own & ~inside, care & inside | words.known[at] & ~inside

    def text(self, evidence: Evidence) -> str:
        """Say it of the slice."""
        return f"{self.law.text(evidence)}, in {named_bits('data', self.part, evidence.word)} only"


def _turned(patterns: Patterns, bits: int, step: int) -> Patterns:
    """Reverse the order of the groups of ``step`` bits."""
    out, part = np.zeros_like(patterns), np.uint64(mask(step))
    for low in range(0, bits, step):
        out |= (patterns >> np.uint64(low) & part) << np.uint64(bits - step - low)
    return out
