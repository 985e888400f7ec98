"""How a stored word is written and its bits named when check bits lie above the data."""

from attrs import field, frozen
from attrs import validators as valid

from emu.words import BASE_NAMES, WordFormat


@frozen
class StoredFormat(WordFormat):
    """A word of ``bits`` bits of which the low ``data_bits`` are data, numbered as the machine numbers them.

    A single check bit is called ``parity``, several ``check0``, ``check1`` and so on from the least
    significant, as in the notation of faults. Naming them apart keeps the numbers of the data bits right
    where a machine counts bits from the left. The sentence leaves out arithmetic, which is no matter of
    stored bits.
    """

    data_bits: int = field(kw_only=True, validator=[valid.instance_of(int), valid.ge(1)])

    @property
    def data(self) -> WordFormat:
        """The format of the data bits alone."""
        return WordFormat(self.data_bits, self.arithmetic, self.base, self.numbering)

    @property
    def checks(self) -> int:
        """How many check bits there are."""
        return self.bits - self.data_bits

    def label(self, exponent: int) -> str:
        """Return the name of the bit of weight ``2**exponent``; ValueError if there is none."""
        if self.data_bits <= exponent < self.bits:
            return "parity" if self.checks == 1 else f"check{exponent - self.data_bits}"
        return self.data.label(exponent)

    def bit_of(self, label: str | int) -> int:
        """Return the weight exponent of the bit called ``label``; ValueError if there is none."""
        names = {self.label(n): n for n in range(self.data_bits, self.bits)}
        found = names.get(str(label).strip().lower())
        return self.data.bit_of(label) if found is None else found

    def numbering_sentence(self) -> str:
        """Return the sentence that a report shows once: sizes, base and names of bits."""
        data = self.data
        size = f"{self.data_bits} data bits" if self.checks else f"{self.data_bits} bits"
        top, bottom = data.label(self.data_bits - 1), data.label(0)
        ends = f"bit {top} is the most significant, bit {bottom} the least significant"
        sentence = f"Words of {size}, in {BASE_NAMES[self.base]}; {ends}."
        if self.checks == 1:
            return f"{sentence} The parity bit lies above the data."
        if self.checks:
            return f"{sentence} The bits check{self.checks - 1} to check0 lie above the data."
        return sentence
