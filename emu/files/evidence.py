"""What the digits of a listing themselves say about its base, word size and parity.

Used where nobody stated them. The rules, with the chance of being misled by words of random bits:

* a base is proposed from at least ``DIGITS`` digits (40) of words that differ, leading zeros and the first
  digit after them left out: a hexadecimal dump of that size shows a digit above 7, and an octal one a digit
  above 1, but for one chance in 2**40 or less; decimal is never proposed;
* nine words in ten have one and the same number of digits, else nothing is proposed;
* in binary the digits are the bits; otherwise the size is that of the highest word seen, within what the
  number of digits allows: a dump that never uses its top bits is taken for a smaller word;
* a parity is proposed if at least ``WORDS`` (32) different words all have it: one chance in 2**31.
"""

import re
from collections import Counter
from typing import Final, Literal

from attrs import frozen

from emu.words import BASE_NAMES, Base, WordFormat, parity

DIGITS: Final = 40
WORDS: Final = 32
ALIKE: Final = 0.9
_STEP: Final[dict[Base, int]] = {2: 1, 8: 3, 16: 4}


@frozen
class Proposal:
    """The statement that a listing's digits suggest, and the sentence that says why."""

    data_bits: int
    base: Base
    protection: Literal["none", "odd", "even"]
    sentence: str

    @property
    def statement(self) -> str:
        """The line to put at the top of the listing."""
        check = f" parity {self.protection}" if self.protection != "none" else ""
        return f"words {self.data_bits} base {BASE_NAMES[self.base]}{check}"


def propose(text: str) -> Proposal | None:
    """Return the statement that the words of a listing suggest, or None if they say too little."""
    words = _words(text)
    if not words:
        return None
    size, alike = Counter(map(len, words)).most_common(1)[0]
    base = _base("".join(word.lstrip("0")[1:] for word in set(words)))
    if base is None or alike < ALIKE * len(words):
        return None
    values = [int(w, base) for w in words if len(w) == size and "?" not in w]
    if not values:
        return None
    step, highest = _STEP[base], max(values)
    bits = size if base == 2 else max(highest.bit_length(), step * (size - 1) + 1)
    kind = _parity(values)
    data_bits = bits - (kind != "none")
    if not 4 <= data_bits <= 64:
        return None
    shown = WordFormat(size * step, base=base).text(highest)
    sentence = f"{alike} words have {size} {BASE_NAMES[base]} digits, the highest is {shown}"
    if kind != "none":
        sentence += f", and each has an {kind} number of ones"
    return Proposal(data_bits, base, kind, sentence)


def _words(text: str) -> list[str]:
    found: list[str] = []
    for line in text.splitlines():
        body = re.sub(r"^\s*[0-9A-Fa-f]*\s*:", "", line.split(";", 1)[0])
        found += re.findall(r"(?<!\S)[0-9A-Fa-f?]+(?!\S)", body)
    return found


def _base(digits: str) -> Base | None:
    seen = set(digits.lower()) - {"?"}
    if len(digits) < DIGITS:
        return None
    if seen <= set("01"):
        return 2
    if seen <= set("01234567"):
        return 8
    return 16 if seen & set("abcdef") else None


def _parity(values: list[int]) -> Literal["none", "odd", "even"]:
    if len(set(values)) < WORDS:
        return "none"
    seen = {parity(value) for value in values}
    if len(seen) > 1:
        return "none"
    return "odd" if seen == {1} else "even"
