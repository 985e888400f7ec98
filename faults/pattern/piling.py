"""Words that pile up: in a core store a line that is always on takes up what is read, and gives it back."""

import numpy as np
from attrs import frozen

from faults.pattern.evidence import Addresses, Evidence
from faults.pattern.law import Prediction, fetched
from faults.pattern.merging import told_value
from faults.pattern.region import bit_list


@frozen
class PileLaw:
    """Each word is read with all those read before it in its group, and is written back so.

    A group are the addresses that differ under ``bits`` only; in it the word where they are ``value`` is
    opened at every reading and keeps what was read.
    """

    bits: int
    value: int
    kind: str = "piled"

    @property
    def touched(self) -> int:
        """The address bits in which the words of a group differ."""
        return self.bits

    def predict(self, evidence: Evidence, at: Addresses) -> Prediction:
        """Combine the expected words of each group, in the order in which they were read."""
        words, groups = evidence.need_words(), evidence.addresses & ~self.bits
        order = np.argsort(groups, kind="stable")
        line, line_known = fetched(evidence, groups | self.value)
        piled, known = (words.expected | line)[order], (words.known & line_known)[order]
        groups = groups[order]
        step = 1
        while step < 1 << self.bits.bit_count():  # after each round a word holds twice as many before it
            same = groups[step:] == groups[:-step]
            before, sure = piled[:-step].copy(), known[:-step].copy()
            piled[step:] |= np.where(same, before, np.uint64(0))
            known[step:] &= np.where(same, sure, ~np.uint64(0))
            step *= 2
        values, care = np.empty_like(piled), np.empty_like(known)
        values[order], care[order] = piled, known
        return values[at], care[at]

    def text(self, evidence: Evidence) -> str:
        """Name the group and the word that collects."""
        form = evidence.address
        several = "s" if self.bits.bit_count() > 1 else ""
        return (
            "reads its own ones and those of all words read before it in its group (which differ in address "
            f"bit{several} {bit_list(self.bits, form)} only), as if the word where "
            f"{told_value(self.bits, self.value, form)} were selected all the time and kept what was read"
        )
