"""Numbers in words: three arithmetics on bit patterns, with every corner case stated.

A *pattern* is the unsigned integer 0 .. 2**width - 1 that a word's bits spell, bit 0 being the least
significant. Functions take patterns and return patterns; nothing here knows a machine. Widths are in bits,
at least 1 (products return twice the width, so no upper bound is imposed here; machine words have 4 to 64).
Patterns outside their width are a caller's mistake and are not checked, except where a docstring says so.

The three arithmetics:

``twos``
    two's complement; addition modulo 2**width.
``ones``
    ones' complement with an *additive* adder: what overflows at the top is added in at the bottom
    (the rule of RFC 1071, section 2). A sum is +0 only for (+0) + (+0); every other zero sum is -0,
    all ones. Subtraction adds the complement.
``sign-magnitude``
    the top bit is the sign, the rest the magnitude. A sum whose magnitude does not fit keeps its sign and
    loses 2**(width-1); a zero result always has the sign plus.
"""

import re
from typing import Final, Literal, get_args

from attrs import field, frozen
from attrs import validators as valid

Arithmetic = Literal["twos", "ones", "sign-magnitude"]
Base = Literal[2, 8, 10, 16]
Numbering = Literal["lsb0", "lsb1", "msb0", "msb1"]
ARITHMETICS: Final[tuple[Arithmetic, ...]] = get_args(Arithmetic)
BASES: Final[tuple[Base, ...]] = get_args(Base)
NUMBERINGS: Final[tuple[Numbering, ...]] = get_args(Numbering)
BASE_NAMES: Final[dict[Base, str]] = {2: "binary", 8: "octal", 10: "decimal", 16: "hexadecimal"}
_PREFIXES: Final[dict[str, Base]] = {"0b": 2, "0o": 8, "0x": 16}
_TAGS: Final[dict[Base, str]] = {2: "0b", 8: "0o", 10: "", 16: "0x"}
_FORMATS: Final[dict[Base, str]] = {2: "b", 8: "o", 10: "d", 16: "x"}
_SHIFTS: Final[dict[Base, int]] = {2: 1, 8: 3, 16: 4}
MAX_DIGITS: Final = 1000  # leading zeros are allowed, but a hostile number must not take long
_ALPHABET: Final = "0123456789abcdef"


def mask(width: int) -> int:
    """Return the pattern of ``width`` ones."""
    return (1 << width) - 1


def sign_bit(pattern: int, width: int) -> int:
    """Return the top bit, 0 or 1."""
    return pattern >> (width - 1) & 1


def signed_range(width: int, arithmetic: Arithmetic) -> tuple[int, int]:
    """Return the lowest and highest value a word of ``width`` bits holds."""
    high = mask(width - 1)
    return (-high - 1 if arithmetic == "twos" else -high), high


def to_signed(pattern: int, width: int, arithmetic: Arithmetic) -> int:
    """Return the value of a pattern; both zeros of ``ones`` and ``sign-magnitude`` are 0."""
    if not sign_bit(pattern, width):
        return pattern
    if arithmetic == "twos":
        return pattern - (1 << width)
    if arithmetic == "ones":
        return pattern - mask(width)
    return -(pattern & mask(width - 1))


def from_signed(value: int, width: int, arithmetic: Arithmetic) -> int:
    """Return the pattern of a value; 0 is +0. ValueError if the word cannot hold the value."""
    low, high = signed_range(width, arithmetic)
    if not low <= value <= high:
        raise ValueError(f"a signed word of {width} bits ({arithmetic}) holds {low} to {high}, got {value}")
    if value >= 0:
        return value
    if arithmetic == "twos":
        return value + (1 << width)
    if arithmetic == "ones":
        return value + mask(width)
    return 1 << (width - 1) | -value


def _signed_magnitude(value: int, width: int) -> int:
    """Return sign and magnitude of a value, the magnitude losing what does not fit; zero is +0."""
    magnitude = abs(value) & mask(width - 1)
    return magnitude | (1 << (width - 1) if value < 0 and magnitude else 0)


def add(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return a + b: modulo 2**width, with end-around carry, or by sign and magnitude (see the module)."""
    if arithmetic == "sign-magnitude":
        return _signed_magnitude(to_signed(a, width, arithmetic) + to_signed(b, width, arithmetic), width)
    total = a + b
    if arithmetic == "ones":
        total += total >> width
    return total & mask(width)


def sub(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return a - b. In ``ones`` it is a + ~b, so that a - a is -0; in ``sign-magnitude`` a zero is +0."""
    if arithmetic == "twos":
        return (a - b) & mask(width)
    if arithmetic == "ones":
        return add(a, b ^ mask(width), width, arithmetic)
    return _signed_magnitude(to_signed(a, width, arithmetic) - to_signed(b, width, arithmetic), width)


def negate(pattern: int, width: int, arithmetic: Arithmetic) -> int:
    """Return the negative.

    ``twos``: modulo 2**width, so the lowest value is its own negative. ``ones``: the complement, so +0
    becomes -0 and back. ``sign-magnitude``: the sign is inverted, but both zeros become +0.
    """
    if arithmetic == "twos":
        return -pattern & mask(width)
    if arithmetic == "ones":
        return pattern ^ mask(width)
    return pattern ^ 1 << (width - 1) if pattern & mask(width - 1) else 0


def _fits(value: int, width: int, arithmetic: Arithmetic) -> bool:
    low, high = signed_range(width, arithmetic)
    return low <= value <= high


def add_carry_out(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return the carry, 0 or 1.

    ``twos`` and ``ones``: what leaves the top bit of a + b before any end-around addition.
    ``sign-magnitude``: what leaves the magnitude, the same as :func:`add_overflow`.
    """
    if arithmetic == "sign-magnitude":
        return add_overflow(a, b, width, arithmetic)
    return (a + b) >> width


def add_overflow(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return 1 if the exact signed sum does not fit the word, else 0."""
    exact = to_signed(a, width, arithmetic) + to_signed(b, width, arithmetic)
    return 0 if _fits(exact, width, arithmetic) else 1


def sub_borrow(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return the borrow, 0 or 1.

    ``twos`` and ``ones``: 1 if the pattern a is less than the pattern b, both unsigned.
    ``sign-magnitude``: 1 if the magnitude of a is less than the magnitude of b.
    """
    if arithmetic == "sign-magnitude":
        return int(a & mask(width - 1) < b & mask(width - 1))
    return int(a < b)


def sub_overflow(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return 1 if the exact signed difference does not fit the word, else 0."""
    exact = to_signed(a, width, arithmetic) - to_signed(b, width, arithmetic)
    return 0 if _fits(exact, width, arithmetic) else 1


def widen(pattern: int, width: int, to: int, arithmetic: Arithmetic) -> int:
    """Return the pattern of the same value in ``to`` bits; ValueError if ``to`` is less than ``width``.

    ``twos`` and ``ones`` repeat the sign bit (so -0 stays -0); ``sign-magnitude`` moves it to the new top.
    """
    if to < width:
        raise ValueError(f"widening needs at least the {width} bits it starts from, got {to}")
    if not sign_bit(pattern, width) or to == width:
        return pattern
    if arithmetic == "sign-magnitude":
        return pattern & mask(width - 1) | 1 << (to - 1)
    return pattern | mask(to) ^ mask(width)


def _amount(amount: int) -> int:
    if amount < 0:
        raise ValueError(f"a shift amount is 0 or more, got {amount}")
    return amount


def shift_left(pattern: int, amount: int, width: int) -> int:
    """Return the pattern moved up, zeros coming in; an amount of ``width`` or more gives 0."""
    return pattern << amount & mask(width) if _amount(amount) < width else 0


def shift_right(pattern: int, amount: int, width: int) -> int:
    """Return the pattern moved down, zeros coming in; an amount of ``width`` or more gives 0."""
    return pattern >> amount if _amount(amount) < width else 0


def arithmetic_right(pattern: int, amount: int, width: int) -> int:
    """Return the pattern moved down, copies of the top bit coming in, in every arithmetic alike.

    An amount of ``width`` or more gives all top bits: 0 or all ones.
    """
    low = min(_amount(amount), width)
    fill = mask(width) ^ mask(width - low) if sign_bit(pattern, width) else 0
    return pattern >> low | fill


def rotate_left(pattern: int, amount: int, width: int) -> int:
    """Return the pattern turned up, what leaves the top coming in below; the amount counts modulo width."""
    turn = _amount(amount) % width
    return (pattern << turn | pattern >> (width - turn)) & mask(width)


def rotate_right(pattern: int, amount: int, width: int) -> int:
    """Return the pattern turned down; the amount counts modulo width."""
    return rotate_left(pattern, width - _amount(amount) % width, width)


def product(a: int, b: int) -> int:
    """Return the unsigned product, exact: a pattern of twice the width."""
    return a * b


def signed_product(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return the signed product, exact, as a pattern of ``2 * width`` bits; a zero is +0."""
    value = to_signed(a, width, arithmetic) * to_signed(b, width, arithmetic)
    return from_signed(value, 2 * width, arithmetic)


def quotient(a: int, b: int, width: int) -> int:
    """Return the unsigned quotient, rounded down; by zero it is all ones."""
    return a // b if b else mask(width)


def remainder(a: int, b: int) -> int:
    """Return the unsigned remainder; by zero it is the dividend."""
    return a % b if b else a


def signed_quotient(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return the quotient rounded toward zero.

    By zero (either zero): the pattern of all ones. The lowest ``twos`` value by -1 wraps to itself.
    A zero quotient is +0.
    """
    dividend, divisor = to_signed(a, width, arithmetic), to_signed(b, width, arithmetic)
    if not divisor:
        return mask(width)
    size = abs(dividend) // abs(divisor)
    value = -size if (dividend < 0) != (divisor < 0) else size
    return value & mask(width) if arithmetic == "twos" else from_signed(value, width, arithmetic)


def signed_remainder(a: int, b: int, width: int, arithmetic: Arithmetic) -> int:
    """Return what :func:`signed_quotient` leaves over, with the sign of the dividend.

    By zero (either zero): the dividend's pattern, unchanged. Otherwise a zero remainder is +0, whatever
    the sign of the dividend.
    """
    dividend, divisor = to_signed(a, width, arithmetic), to_signed(b, width, arithmetic)
    if not divisor:
        return a
    left = abs(dividend) % abs(divisor)
    return from_signed(-left if dividend < 0 else left, width, arithmetic)


def count_ones(pattern: int) -> int:
    """Return how many bits are 1."""
    return pattern.bit_count()


def parity(pattern: int) -> int:
    """Return 1 if the number of ones is odd, else 0."""
    return pattern.bit_count() & 1


@frozen
class WordFormat:
    """How a machine's words are written: size, arithmetic, base and the numbering of bits.

    ``bits`` 1 to 128 (stored words with check bits, double-length products). ``numbering``: ``lsb0`` and
    ``lsb1`` count bits from the least significant, starting at 0 or 1; ``msb0`` and ``msb1`` from the most
    significant.
    """

    bits: int = field(validator=[valid.instance_of(int), valid.ge(1), valid.le(128)])
    arithmetic: Arithmetic = field(default="twos", validator=valid.in_(ARITHMETICS))
    base: Base = field(default=8, validator=valid.in_(BASES))
    numbering: Numbering = field(default="lsb0", validator=valid.in_(NUMBERINGS))

    @property
    def digits(self) -> int:
        """How many digits the largest pattern has."""
        if self.base == 10:
            return len(str(mask(self.bits)))
        return -(-self.bits // _SHIFTS[self.base])

    def text(self, pattern: int) -> str:
        """Return the pattern as plain digits, always :attr:`digits` of them, letters small.

        ValueError if the pattern is not 0 .. 2**bits - 1.
        """
        self._check_size(pattern, str(pattern))
        return format(pattern, f"0{self.digits}{_FORMATS[self.base]}")

    def tagged(self, pattern: int) -> str:
        """Return the pattern with its base shown, ``0o000017``; decimal has no tag and no leading zeros."""
        return str(pattern) if self.base == 10 else _TAGS[self.base] + self.text(pattern)

    def masked_text(self, value: int, known: int) -> str:
        """Return the word with ``?`` for every digit of which a bit is not in the mask ``known``.

        Bits known inside such a digit are lost. In base 10 a word not wholly known is all ``?``.
        """
        plain = self.text(value & known)
        unknown = mask(self.bits) & ~known
        if self.base == 10:
            return "?" * self.digits if unknown else plain
        step = _SHIFTS[self.base]
        spots = (unknown >> step * place & mask(step) for place in reversed(range(self.digits)))
        return "".join("?" if spot else digit for digit, spot in zip(plain, spots, strict=True))

    def parse(self, text: str) -> int:
        """Return the pattern that ``text`` spells; ValueError with the rule and what was given if it cannot.

        Digits of the format's own base, fewer or more than :attr:`digits` as long as the pattern fits;
        or of another base after ``0b``, ``0o`` or ``0x``; ``_`` may stand between digits. In base 16 there
        is no ``0b``, for b is a digit there.
        """
        value, known = self.parse_masked(text)
        if known != mask(self.bits):
            raise ValueError(f"a word must be wholly known here, got {_short(text)}")
        return value

    def parse_masked(self, text: str, *, plain: bool = False) -> tuple[int, int]:
        """Return ``(value, known)``: as :meth:`parse`, but a digit may be ``?`` where the base is 2, 8 or 16.

        The bits of a ``?`` are 0 both in the value and in the mask of known bits; bits above the digits
        given are known to be 0. With ``plain`` there may be neither ``_`` nor another base's prefix.
        """
        digits, base = (text, self.base) if plain else self._split(text)
        if not digits:
            raise ValueError(f"a word is written in {BASE_NAMES[base]} digits, got {_short(text)}")
        allowed = _ALPHABET[:base] + ("?" if base != 10 else "")
        wrong = next((c for c in digits if c.lower() not in allowed), None)
        if wrong is not None:
            raise ValueError(f"{BASE_NAMES[base]} digits are {_spell(base)}, got {wrong!r} in {_short(text)}")
        if len(digits) > MAX_DIGITS:
            raise ValueError(f"a word has at most {MAX_DIGITS} digits, got {len(digits)}")
        value = int(digits.replace("?", "0"), base)
        self._check_size(value, _short(text)[1:-1])
        if base == 10:
            return value, mask(self.bits)
        step = _SHIFTS[base]
        if "?" in digits[: self.bits // -step]:
            raise ValueError(
                f"a word of {self.bits} bits has no digit as high as the first ? of {_short(text)}"
            )
        unknown = sum(mask(step) << step * n for n, c in enumerate(reversed(digits)) if c == "?")
        return value, mask(self.bits) & ~unknown

    def _split(self, text: str) -> tuple[str, Base]:
        low = text.strip()
        prefix = low[:2].lower()
        base = self.base
        if prefix in _PREFIXES and not (prefix == "0b" and base == 16):
            low, base = low[2:], _PREFIXES[prefix]
        if not re.fullmatch(r"[^\W_]|\?", low[:1]) or low.endswith("_") or "__" in low:
            raise ValueError(f"a word is written in {BASE_NAMES[base]} digits, got {_short(text)}")
        return low.replace("_", ""), base

    def _check_size(self, pattern: int, given: str) -> None:
        if not 0 <= pattern <= mask(self.bits):
            most = _TAGS[self.base] + format(mask(self.bits), _FORMATS[self.base])
            raise ValueError(f"a word of {self.bits} bits holds 0 to {most}, got {given}")

    def label(self, exponent: int) -> str:
        """Return the machine's number of the bit of weight ``2**exponent``; ValueError if there is none."""
        if not 0 <= exponent < self.bits:
            raise ValueError(
                f"a word of {self.bits} bits has weights 2**0 to 2**{self.bits - 1}, got {exponent}"
            )
        start = int(self.numbering[3])
        return str(start + (exponent if self.numbering.startswith("lsb") else self.bits - 1 - exponent))

    def bit_of(self, label: str | int) -> int:
        """Return the weight exponent of the bit that the machine calls ``label``; ValueError if none."""
        start = int(self.numbering[3])
        text = str(label).strip()
        place = int(text) - start if text.isascii() and text.isdigit() else -1
        if not 0 <= place < self.bits:
            raise ValueError(f"bits are numbered {start} to {start + self.bits - 1} here, got {_short(text)}")
        return place if self.numbering.startswith("lsb") else self.bits - 1 - place

    def numbering_sentence(self) -> str:
        """Return the sentence that every report shows once: size, base, arithmetic and bit numbers."""
        arithmetic = {"twos": "two's complement", "ones": "ones' complement"}.get(
            self.arithmetic, self.arithmetic
        )
        top, bottom = self.label(self.bits - 1), self.label(0)
        return (
            f"Words of {self.bits} bits, {arithmetic}, in {BASE_NAMES[self.base]}; "
            f"bit {top} is the most significant (leftmost), bit {bottom} the least significant."
        )


def _short(text: str) -> str:
    """Return the text as it is quoted in a message: a hostile one must not fill the screen."""
    return repr(text if len(text) <= 40 else f"{text[:37]}...")


def _spell(base: Base) -> str:
    """Return the digits of a base as a person would say them."""
    return {2: "0 and 1", 8: "0 to 7", 10: "0 to 9", 16: "0 to 9 and a to f"}[base]
