"""Words: published figures, exhaustive small widths, and Python integers as the outside check."""

from itertools import product as pairs

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from emu import words
from emu.words import ARITHMETICS, NUMBERINGS, WordFormat, add, from_signed, mask, sub, to_signed

WIDTHS = st.integers(1, 64)
ARITHMETIC = st.sampled_from(ARITHMETICS)


@st.composite
def two_words(draw):
    width = draw(WIDTHS)
    patterns = st.integers(0, mask(width))
    return draw(patterns), draw(patterns), width


# --- ones' complement: the worked example of RFC 1071 section 3 (layout from memory, every sum recomputed)


def fold(patterns, width=16):
    total = 0
    for pattern in patterns:
        total = add(total, pattern, width, "ones")
    return total


def test_rfc_1071_example_in_any_order():
    octets = [0x0001, 0xF203, 0xF4F5, 0xF6F7]
    assert fold(octets) == 0xDDF2
    assert fold(reversed(octets)) == 0xDDF2
    assert words.negate(0xDDF2, 16, "ones") == 0x220D


def test_rfc_1071_byte_swapped_words():
    assert fold([0x0100, 0x03F2, 0xF5F4, 0xF7F6]) == 0xF2DD


@pytest.mark.parametrize(
    ("wide", "want"),
    [
        ((0x0001F203, 0xF4F5F6F7), 0xDDF2),
        ((0x010003F2, 0xF5F4F7F6), 0xF2DD),
        ((0x03F20100, 0xF7F6F5F4), 0xF2DD),
    ],
)
def test_rfc_1071_wide_sum_then_fold(wide, want):
    total = fold(wide, 32)
    assert add(total >> 16, total & 0xFFFF, 16, "ones") == want


def test_ipv4_header_checksum():
    # widely used worked example; the sum over the header with its checksum is -0
    header = [0x4500, 0x0073, 0x0000, 0x4000, 0x4011, 0xB861, 0xC0A8, 0x0001, 0xC0A8, 0x00C7]
    assert fold(header) == 0xFFFF
    assert words.negate(fold([*header[:5], 0, *header[6:]]), 16, "ones") == 0xB861


@pytest.mark.parametrize(("width", "octal"), [(12, "7777"), (15, "77777"), (16, "177777"), (18, "777777")])
def test_negative_zero_is_all_ones(width, octal):
    # definition of ones' complement
    minus_zero = int(octal, 8)
    assert words.negate(0, width, "ones") == minus_zero
    assert to_signed(minus_zero, width, "ones") == 0
    assert add(minus_zero, minus_zero, width, "ones") == minus_zero
    assert add(0, minus_zero, width, "ones") == minus_zero
    assert add(minus_zero, 1, width, "ones") == 1
    assert WordFormat(width).text(minus_zero) == octal


@pytest.mark.parametrize(("width", "overflows"), [(4, 56), (8, 16_256)])
def test_ones_addition_exhaustively(width, overflows):
    # claims computed independently: +0 only from (+0)+(+0), -0 from 2**n + 1 pairs, sums right where they fit
    every = range(1 << width)
    zero_pairs, minus_zero_pairs, over = 0, 0, 0
    for a, b in pairs(every, every):
        total = add(a, b, width, "ones")
        exact = to_signed(a, width, "ones") + to_signed(b, width, "ones")
        zero_pairs += total == 0
        minus_zero_pairs += total == mask(width)
        over += words.add_overflow(a, b, width, "ones")
        assert (total - a - b) % mask(width) == 0
        fits = abs(exact) <= mask(width - 1)
        assert words.add_overflow(a, b, width, "ones") == (not fits)
        assert not fits or to_signed(total, width, "ones") == exact
        assert sub(a, a, width, "ones") == mask(width)
    assert (zero_pairs, minus_zero_pairs, over) == (1, (1 << width) + 1, overflows)


def test_ones_addition_is_associative_at_four_bits():
    every = range(16)
    for a, b, c in pairs(every, every, every):
        left = add(add(a, b, 4, "ones"), c, 4, "ones")
        assert left == add(a, add(b, c, 4, "ones"), 4, "ones")


def test_overflow_is_the_sign_rule_of_the_adder():
    # common practice, no source: overflow when both operands have one sign and the sum the other
    for arithmetic in ("twos", "ones"):
        for a, b in pairs(range(32), range(32)):
            signs = {a >> 4, b >> 4}
            flipped = len(signs) == 1 and add(a, b, 5, arithmetic) >> 4 not in signs
            assert words.add_overflow(a, b, 5, arithmetic) == flipped


# --- against Python integers


@given(two_words(), ARITHMETIC)
def test_signed_values_round_trip(two, arithmetic):
    a, _, width = two
    value = to_signed(a, width, arithmetic)
    low, high = words.signed_range(width, arithmetic)
    assert low <= value <= high
    again = from_signed(value, width, arithmetic)
    assert again == a or (value == 0 and again == 0)


@given(two_words(), ARITHMETIC)
def test_sum_and_difference_are_exact_where_they_fit(two, arithmetic):
    a, b, width = two
    x, y = to_signed(a, width, arithmetic), to_signed(b, width, arithmetic)
    low, high = words.signed_range(width, arithmetic)
    for function, overflow, exact in ((add, words.add_overflow, x + y), (sub, words.sub_overflow, x - y)):
        got = function(a, b, width, arithmetic)
        assert 0 <= got <= mask(width)
        assert overflow(a, b, width, arithmetic) == (not low <= exact <= high)
        if low <= exact <= high:
            assert to_signed(got, width, arithmetic) == exact


@given(two_words())
def test_twos_is_modular_with_carry_and_borrow(two):
    a, b, width = two
    carry = words.add_carry_out(a, b, width, "twos")
    borrow = words.sub_borrow(a, b, width, "twos")
    assert (carry << width) + add(a, b, width, "twos") == a + b
    assert sub(a, b, width, "twos") - (borrow << width) == a - b


@given(two_words())
def test_sign_magnitude_wraps_the_magnitude_and_has_no_negative_zero(two):
    a, b, width = two
    assume(width > 1)
    exact = to_signed(a, width, "sign-magnitude") + to_signed(b, width, "sign-magnitude")
    got = add(a, b, width, "sign-magnitude")
    assert got & mask(width - 1) == abs(exact) % (1 << (width - 1))
    assert got >> (width - 1) == (exact < 0 and got & mask(width - 1) != 0)
    carry = words.add_carry_out(a, b, width, "sign-magnitude")
    assert carry == words.add_overflow(a, b, width, "sign-magnitude")
    borrow = words.sub_borrow(a, b, width, "sign-magnitude")
    assert borrow == (abs(to_signed(a, width, "sign-magnitude")) < abs(to_signed(b, width, "sign-magnitude")))


@given(two_words(), ARITHMETIC)
def test_negate_negates(two, arithmetic):
    a, _, width = two
    low, _ = words.signed_range(width, arithmetic)
    value = to_signed(a, width, arithmetic)
    got = words.negate(a, width, arithmetic)
    if arithmetic == "twos" and value == low:
        assert got == a
    else:
        assert to_signed(got, width, arithmetic) == -value
    if arithmetic == "sign-magnitude" and value == 0:
        assert got == 0


@given(two_words(), ARITHMETIC, st.integers(0, 64))
def test_widening_keeps_the_value(two, arithmetic, more):
    a, _, width = two
    wide = words.widen(a, width, width + more, arithmetic)
    assert to_signed(wide, width + more, arithmetic) == to_signed(a, width, arithmetic)
    if arithmetic == "ones" and a == mask(width):
        assert wide == mask(width + more)


def test_widening_refuses_fewer_bits():
    with pytest.raises(ValueError, match="at least the 8 bits"):
        words.widen(1, 8, 7, "twos")


@given(two_words(), st.integers(0, 130))
def test_shifts_and_rotations_against_strings(two, amount):
    a, _, width = two
    text = format(a, f"0{width}b")
    assert words.shift_left(a, amount, width) == int((text + "0" * amount)[amount:], 2)
    assert words.shift_right(a, amount, width) == int(("0" * amount + text)[:width], 2)
    assert words.arithmetic_right(a, amount, width) == int((text[0] * amount + text)[:width], 2)
    turn = amount % width
    assert words.rotate_left(a, amount, width) == int(text[turn:] + text[:turn], 2)
    assert words.rotate_right(words.rotate_left(a, amount, width), amount, width) == a


def test_negative_shifts_are_refused():
    for function in (words.shift_left, words.shift_right, words.arithmetic_right, words.rotate_left):
        with pytest.raises(ValueError, match="0 or more, got -1"):
            function(1, -1, 8)


@given(two_words(), ARITHMETIC)
def test_products(two, arithmetic):
    a, b, width = two
    assert words.product(a, b) == a * b <= mask(2 * width)
    exact = to_signed(a, width, arithmetic) * to_signed(b, width, arithmetic)
    got = words.signed_product(a, b, width, arithmetic)
    assert to_signed(got, 2 * width, arithmetic) == exact
    assert got == 0 or exact != 0


@given(two_words(), ARITHMETIC)
def test_division(two, arithmetic):
    a, b, width = two
    if b:
        assert words.quotient(a, b, width) * b + words.remainder(a, b) == a
        assert words.remainder(a, b) < b
    else:
        assert (words.quotient(a, b, width), words.remainder(a, b)) == (mask(width), a)
    x, y = to_signed(a, width, arithmetic), to_signed(b, width, arithmetic)
    q, r = words.signed_quotient(a, b, width, arithmetic), words.signed_remainder(a, b, width, arithmetic)
    low, _ = words.signed_range(width, arithmetic)
    if y == 0:
        assert (q, r) == (mask(width), a)
    elif arithmetic == "twos" and x == low and y == -1:
        assert (q, r) == (a, 0)
    else:
        quotient, rest = to_signed(q, width, arithmetic), to_signed(r, width, arithmetic)
        assert quotient * y + rest == x
        assert abs(rest) < abs(y)
        assert rest * x >= 0
        assert (q == 0) == (quotient == 0)
        assert (r == 0) == (rest == 0)


@pytest.mark.parametrize(
    ("a", "b", "q", "r"), [(7, 2, 3, 1), (-7, 2, -3, -1), (7, -2, -3, 1), (-7, -2, 3, -1)]
)
def test_signed_division_truncates_toward_zero(a, b, q, r):
    # the rule of C (ISO/IEC 9899:1999, 6.5.5) on its usual example
    for arithmetic in ARITHMETICS:
        pattern_a, pattern_b = (from_signed(v, 6, arithmetic) for v in (a, b))
        assert to_signed(words.signed_quotient(pattern_a, pattern_b, 6, arithmetic), 6, arithmetic) == q
        assert to_signed(words.signed_remainder(pattern_a, pattern_b, 6, arithmetic), 6, arithmetic) == r


def test_counting_ones():
    assert [words.count_ones(n) for n in (0, 1, 3, 0o177777)] == [0, 1, 2, 16]
    assert [words.parity(n) for n in (0, 1, 3, 0o177777, 7)] == [0, 1, 0, 0, 1]


# --- text

FORMATS = st.builds(WordFormat, WIDTHS, ARITHMETIC, st.sampled_from(words.BASES), st.sampled_from(NUMBERINGS))


@given(FORMATS, st.data())
def test_text_round_trips(word, data):
    pattern = data.draw(st.integers(0, mask(word.bits)))
    assert word.parse(word.text(pattern)) == pattern
    assert word.parse(word.tagged(pattern)) == pattern
    assert len(word.text(pattern)) == word.digits
    if word.base != 10:
        assert int(word.tagged(pattern), 0) == pattern


@given(FORMATS, st.data())
def test_masked_text_never_claims_more_than_is_known(word, data):
    pattern = data.draw(st.integers(0, mask(word.bits)))
    known = data.draw(st.integers(0, mask(word.bits)))
    text = word.masked_text(pattern & known, known)
    if word.base == 10:
        assert ("?" in text) == (known != mask(word.bits))
        return
    value, certain = word.parse_masked(text)
    assert certain & ~known == 0
    assert value == pattern & certain
    if word.base == 2:
        assert certain == known


@pytest.mark.parametrize(
    ("base", "given", "want"),
    [
        (8, "1_7", 0o17), (8, "0x0F", 15), (16, "0b1", 0xB1), (2, "0b101", 5), (10, "017", 17),
        (8, "0b1_0", 2), (16, "0o17", 15), (16, "AbCd", 0xABCD), (8, "00000000017", 15),
    ],
)  # fmt: skip
def test_accepted_spellings(base, given, want):
    assert WordFormat(16, base=base).parse(given) == want


@pytest.mark.parametrize(
    ("base", "given", "message"),
    [
        (8, "18", "octal digits are 0 to 7, got '8' in '18'"),
        (2, "012", "binary digits are 0 and 1, got '2' in '012'"),
        (16, "fg", "hexadecimal digits are 0 to 9 and a to f, got 'g' in 'fg'"),
        (10, "1?", "decimal digits are 0 to 9, got '?' in '1?'"),
        (8, "", "a word is written in octal digits, got ''"),
        (8, "0o", "a word is written in octal digits, got '0o'"),
        (8, "_1", "a word is written in octal digits, got '_1'"),
        (8, "1__2", "a word is written in octal digits, got '1__2'"),
        (8, "-1", "a word is written in octal digits, got '-1'"),
        (8, "\u0661", "octal digits are 0 to 7, got '\u0661' in '\u0661'"),
        (8, "200000", "a word of 16 bits holds 0 to 0o177777, got 200000"),
        (16, "10000", "a word of 16 bits holds 0 to 0xffff, got 10000"),
        (8, "?", "a word must be wholly known here, got '?'"),
        (8, "?000000", "a word of 16 bits has no digit as high as the first ? of '?000000'"),
    ],
)
def test_refused_spellings(base, given, message):
    with pytest.raises(ValueError) as caught:
        WordFormat(16, base=base).parse(given)
    assert str(caught.value) == message


def test_unknown_digits():
    word = WordFormat(16)
    assert word.parse_masked("1?0?17") == (0o100017, 0o107077)
    assert word.parse_masked("??????") == (0, 0)
    assert word.parse_masked("?00000") == (0, 0o077777)
    assert word.masked_text(0o17, 0o177770) == "00001?"


@pytest.mark.parametrize(
    ("numbering", "top", "bottom"),
    [("lsb0", "15", "0"), ("lsb1", "16", "1"), ("msb0", "0", "15"), ("msb1", "1", "16")],
)
def test_bit_numbering(numbering, top, bottom):
    word = WordFormat(16, "ones", 8, numbering)
    assert (word.label(15), word.label(0)) == (top, bottom)
    assert [word.bit_of(word.label(n)) for n in range(16)] == list(range(16))
    assert word.bit_of(int(top)) == 15
    assert word.numbering_sentence() == (
        f"Words of 16 bits, ones' complement, in octal; bit {top} is the most significant (leftmost), "
        f"bit {bottom} the least significant."
    )


def test_bits_that_are_not_there():
    word = WordFormat(12, numbering="msb1")
    for label in ("0", "13", "-1", "x", ""):
        with pytest.raises(ValueError, match="bits are numbered 1 to 12 here"):
            word.bit_of(label)
    with pytest.raises(ValueError, match=r"weights 2\*\*0 to 2\*\*11, got 12"):
        word.label(12)


@pytest.mark.parametrize(
    "wrong", [{"bits": 0}, {"bits": 129}, {"bits": 8, "base": 3}, {"bits": 8, "numbering": "x"}]
)
def test_formats_that_cannot_be(wrong):
    with pytest.raises(ValueError):
        WordFormat(**wrong)
