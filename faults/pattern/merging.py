"""Laws of several words that are read at once, combined by OR or AND."""

from typing import Literal

import numpy as np
from attrs import frozen

from emu.words import WordFormat
from faults.pattern.evidence import Addresses, Evidence, Patterns, bits_of
from faults.pattern.law import Prediction, fetched
from faults.pattern.region import Cube, bit_list

Gate = Literal["or", "and"]
FEW_BITS = 3


def combined(gate: Gate, one: Patterns, other: Patterns) -> Patterns:
    """Return the OR or the AND of words."""
    return one | other if gate == "or" else one & other


@frozen
class MergeLaw:
    """Several words are read at once.

    With ``group`` those of all addresses that differ under ``bits`` only, else the word of the address
    itself and that of the address with all of ``bits`` inverted.
    """

    gate: Gate
    bits: int
    group: bool = False

    @property
    def kind(self) -> str:
        """``merged-or`` or ``merged-and``."""
        return f"merged-{self.gate}"

    @property
    def touched(self) -> int:
        """The address bits in which the words differ."""
        return self.bits

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Combine the expected words."""
        words, own = evidence.need_words(), evidence.addresses[at]
        values, care = words.expected[at], words.known[at]
        for offset in self._offsets():
            other, known = fetched(evidence, own ^ offset)
            values = combined(self.gate, values, other)
            care = care & known
        return values, care

    def _offsets(self) -> list[int]:
        if not self.group:
            return [self.bits]
        ones = bits_of(self.bits)
        return [sum(1 << n for k, n in enumerate(ones) if s >> k & 1) for s in range(1, 1 << len(ones))]

    def text(self, evidence: Evidence) -> str:
        """Name the words that are merged."""
        names = " and ".join(evidence.address.label(n) for n in reversed(bits_of(self.bits)))
        plural = "s" if self.bits.bit_count() > 1 else ""
        how = f"words at once, combined by {self.gate.upper()}:"
        if self.group:
            return f"reads {2 ** self.bits.bit_count()} {how} all that differ in address bits {names}"
        return f"reads 2 {how} its own and the one with address bit{plural} {names} inverted"


@frozen
class JoinLaw:
    """Some words are read besides each other word: a line that selects them is always on.

    With the word of the address itself comes that of the address with ``value`` in the bits under ``bits``.
    """

    gate: Gate
    bits: int
    value: int

    @property
    def kind(self) -> str:
        """``joined-or`` or ``joined-and``."""
        return f"joined-{self.gate}"

    @property
    def touched(self) -> int:
        """The address bits that choose the words read besides."""
        return self.bits

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Combine the expected words."""
        words, own = evidence.need_words(), evidence.addresses[at]
        other, known = fetched(evidence, own & ~self.bits | self.value)
        return combined(self.gate, words.expected[at], other), words.known[at] & known

    def text(self, evidence: Evidence) -> str:
        """Name the words that are always read."""
        which = told_value(self.bits, self.value, evidence.address)
        return (
            f"reads 2 words at once, combined by {self.gate.upper()}: its own and the one of the same "
            f"address but where {which}, as if the words there were selected all the time"
        )


@frozen
class PairLaw:
    """Two groups of words are read together: two lines that select them act as one.

    Where the bits under ``bits`` are ``value``, or all of them the opposite, the word with them inverted is
    read too; elsewhere nothing is altered.
    """

    gate: Gate
    bits: int
    value: int

    @property
    def kind(self) -> str:
        """``paired-or`` or ``paired-and``."""
        return f"paired-{self.gate}"

    @property
    def touched(self) -> int:
        """The address bits in which the two groups differ."""
        return self.bits

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Combine the expected words of the two groups."""
        words, own = evidence.need_words(), evidence.addresses[at]
        chosen = own & self.bits
        struck = (chosen == self.value) | (chosen == self.bits ^ self.value)
        other, known = fetched(evidence, np.where(struck, own ^ self.bits, own))
        return combined(self.gate, words.expected[at], other), words.known[at] & known

    def text(self, evidence: Evidence) -> str:
        """Name the two groups."""
        one, other = (
            told_value(self.bits, v, evidence.address) for v in (self.value, self.bits ^ self.value)
        )
        return (
            f"where {one}, or where {other}, reads both of these words at once, combined by "
            f"{self.gate.upper()}, as if the two were selected together"
        )


def told_value(bits: int, value: int, form: WordFormat) -> str:
    """Return ``address bit 9 is 1 and bit 8 is 0``, or for many bits ``address bits 6 to 2 are 01101``."""
    if bits.bit_count() <= FEW_BITS:
        return Cube(bits, value).condition(form)
    digits = "".join(str(value >> n & 1) for n in reversed(bits_of(bits)))
    return f"address bits {bit_list(bits, form)} are {digits}"
