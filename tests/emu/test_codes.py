"""Check bits: published counts and figures, and every single and double error."""

import random
from collections import Counter
from itertools import combinations
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.codes import (
    PROTECTIONS,
    check_bits,
    encode,
    sec_ded_columns,
    sec_ded_row_masks,
    sec_ded_syndrome,
    sec_ded_syndrome_fix,
    stored_bits,
    verify,
)
from emu.words import mask


@given(st.sampled_from(PROTECTIONS), st.integers(1, 64), st.data())
def test_what_is_encoded_verifies(kind, bits, data):
    word = data.draw(st.integers(0, mask(bits)))
    stored = encode(kind, bits, word)
    assert stored & mask(bits) == word
    assert stored <= mask(stored_bits(kind, bits))
    verdict = verify(kind, bits, stored)
    assert (verdict.status, verdict.data) == ("ok", word)


# --- SEC-DED


@pytest.mark.parametrize(("bits", "checks"), [(8, 5), (16, 6), (32, 7), (64, 8), (128, 9)])
def test_number_of_check_bits(bits, checks):
    # the Hamming bound and one bit more
    assert check_bits("sec-ded", bits) == checks


@pytest.mark.parametrize(("bits", "ones"), [(16, 54), (32, 103), (64, 216)])
def test_ones_in_the_check_matrix(bits, ones):
    # M. Y. Hsiao, IBM J. Res. Dev. 14(4), 1970, (22,16), (39,32), (72,64), from memory and recomputed
    assert sum(column.bit_count() for column in sec_ded_columns(bits)) == ones


@pytest.mark.parametrize("bits", range(1, 65))
def test_columns_are_odd_distinct_and_rows_balanced(bits):
    columns = sec_ded_columns(bits)
    assert len(set(columns)) == len(columns) == stored_bits("sec-ded", bits)
    assert all(column.bit_count() % 2 for column in columns)
    loads = [row.bit_count() for row in sec_ded_row_masks(bits)]
    # rows as equal as the number of ones allows, or one more apart where no balanced set was found
    assert max(loads) - min(loads) <= 2


def weight_four_words(columns):
    """How many sets of four columns sum to zero, by pairing pairs of equal sums."""
    sums = Counter(a ^ b for a, b in combinations(columns, 2))
    return sum(comb(n, 2) for n in sums.values()) // 3


@pytest.mark.parametrize(
    ("bits", "fours", "triples", "quadruples"),
    # computed by brute force over column choices: a balanced (22,16) has 250 or 252, a balanced (39,32) 1363,
    # the best (72,64) found 8392; triples miscorrected = 4 A4 / C(n,3), quadruples detected = 1 - A4 / C(n,4)
    [(16, 252, 0.6545, 0.9656), (32, 1363, 0.5966, 0.9834), (64, 8392, 0.56284, 0.99184)],
)
def test_weight_four_code_words(bits, fours, triples, quadruples):
    columns = sec_ded_columns(bits)
    length = len(columns)
    assert weight_four_words(columns) == fours
    assert 4 * fours / comb(length, 3) == pytest.approx(triples, abs=5e-5)
    assert 1 - fours / comb(length, 4) == pytest.approx(quadruples, abs=5e-5)


@pytest.mark.parametrize("bits", [16, 24, 32])
def test_every_single_error_is_corrected_and_every_double_detected(bits):
    length = stored_bits("sec-ded", bits)
    for word in (0, mask(bits), 0x5A_C3_0F_96 & mask(bits)):
        stored = encode("sec-ded", bits, word)
        for one in range(length):
            verdict = verify("sec-ded", bits, stored ^ 1 << one)
            assert (verdict.status, verdict.data) == ("corrected", word)
        for one, two in combinations(range(length), 2):
            wrong = stored ^ 1 << one ^ 1 << two
            verdict = verify("sec-ded", bits, wrong)
            assert (verdict.status, verdict.data) == ("error", wrong & mask(bits))


def test_triples_of_sixteen_bits_are_miscorrected_as_computed():
    stored = encode("sec-ded", 16, 0o123456)
    wrong = 0
    for triple in combinations(range(22), 3):
        verdict = verify("sec-ded", 16, stored ^ sum(1 << bit for bit in triple))
        assert verdict.status != "ok"
        wrong += verdict.status == "corrected"
    assert wrong == 4 * 252
    assert wrong / comb(22, 3) == pytest.approx(0.6545, abs=5e-5)


@pytest.mark.parametrize("bits", [4, 16, 24, 64])
def test_tables_for_the_engines_agree(bits):
    draw = random.Random(bits)
    masks, fix, columns = sec_ded_row_masks(bits), sec_ded_syndrome_fix(bits), sec_ded_columns(bits)
    assert len(fix) == 1 << check_bits("sec-ded", bits)
    assert fix[0] == -1
    assert all(columns[bit] == syndrome for syndrome, bit in enumerate(fix) if bit >= 0)
    for _ in range(200):
        stored = draw.getrandbits(len(columns))
        by_columns = 0
        for bit, column in enumerate(columns):
            by_columns ^= column if stored >> bit & 1 else 0
        by_masks = sum(((stored & row).bit_count() & 1) << j for j, row in enumerate(masks))
        assert by_columns == by_masks == sec_ded_syndrome(bits, stored)


def test_a_word_of_zeros_is_a_code_word():
    # any linear code; the docstring warns of it
    assert verify("sec-ded", 24, 0).status == "ok"


# --- the principle, on Hamming's own codes (tests only; the product has no use for them)


def hamming_word(data, positions, length):
    """Check bits at the powers of two; ``positions`` 1.. count from the left as given."""
    word = dict(zip([p for p in positions if p & (p - 1)], data, strict=True))
    checks = [1 << n for n in range(length.bit_length())]
    for check in checks:
        word[check] = sum(bit for p, bit in word.items() if p & check and p != check) & 1
    return [word[p] for p in positions]


def check_number(word, positions):
    number = 0
    for position, bit in zip(positions, word, strict=True):
        number ^= position if bit else 0
    return number


# R. W. Hamming, Bell System Tech. J. 29, 1950, Table III
TABLE_III = (
    "0000000 1101001 0101010 1000011 1001100 0100101 1100110 0001111 "
    "1110000 0011001 1011010 0110011 0111100 1010101 0010110 1111111"
)


def bits_of(text):
    return [int(c) for c in text]


def test_hamming_table_iii_and_worked_example():
    for value, want in enumerate(TABLE_III.split()):
        assert hamming_word(bits_of(f"{value:04b}"), range(1, 8), 7) == bits_of(want)
    # same paper, section 3: 12 is 0111100; position 5 changed reads 0111000, check number 101
    assert TABLE_III.split()[12] == "0111100"
    assert check_number(bits_of("0111000"), range(1, 8)) == 0b101


def test_hamming_15_11_of_federal_standard_1037c():
    # the example as copied by an encyclopaedia; positions 15 .. 1 from the left
    positions = range(15, 0, -1)
    word = hamming_word(bits_of("01111101000"), positions, 15)
    assert word == bits_of("011111011000001")
    assert check_number(bits_of("011101011000001"), positions) == 0b1011


def test_our_code_with_a_hamming_code_shortened_from_it():
    # (8,4): weight distribution 1, 14, 1 at weights 0, 4, 8 (theory of the extended Hamming code)
    weights = Counter(encode("sec-ded", 4, data).bit_count() for data in range(16))
    assert weights == {0: 1, 4: 14, 8: 1}


# --- one parity bit


@pytest.mark.parametrize(("length", "share"), [(9, 0.500978), (16, 0.50000763), (17, 0.50000381)])
def test_parity_detects_every_odd_error(length, share):
    # 2**(n-1) of the 2**n - 1 patterns; the code is linear, so one word stands for all
    stored = encode("odd", length - 1, 0)
    found = sum(verify("odd", length - 1, stored ^ e).status == "error" for e in range(1, 1 << length))
    assert found == 1 << (length - 1)
    assert found / mask(length) == pytest.approx(share, abs=5e-7)


@pytest.mark.parametrize("bits", [7, 8, 15, 16])
def test_words_of_all_zeros_and_all_ones(bits):
    # odd parity: all zeros always alarm, all ones if the stored word has an even number of bits
    assert verify("odd", bits, 0).status == "error"
    assert verify("even", bits, 0).status == "ok"
    alarms = verify("odd", bits, mask(bits + 1)).status == "error"
    assert alarms == ((bits + 1) % 2 == 0)


@pytest.mark.parametrize("kind", ["odd", "even"])
def test_a_stuck_bit_alarms_exactly_where_it_differs(kind):
    for word in range(256):
        stored = encode(kind, 8, word)
        for bit in range(9):
            for value in (0, 1):
                read = stored | 1 << bit if value else stored & ~(1 << bit)
                assert (verify(kind, 8, read).status == "error") == ((stored >> bit & 1) != value)


@pytest.mark.parametrize(("bits", "rate", "silent"), [(7, 0.5, 0.3999), (8, 0.498047, 0.4269)])
def test_two_words_opened_at_once(bits, rate, silent):
    # computed: OR and AND of two valid words alarm alike; alarm rate and silently wrong OR, odd parity,
    # over all ordered pairs of stored words of n = 8 and 9 bits
    valid = [encode("odd", bits, word) for word in range(1 << bits)]
    alarms = wrong = 0
    for a in valid:
        for b in valid:
            either = verify("odd", bits, a | b).status == "error"
            assert either == (verify("odd", bits, a & b).status == "error")
            alarms += either
            wrong += not either and a | b != a
    assert alarms / len(valid) ** 2 == pytest.approx(rate, abs=5e-7)
    assert wrong / len(valid) ** 2 == pytest.approx(silent, abs=5e-5)


@pytest.mark.parametrize(("bits", "rate"), [(7, 0.4921875), (8, 0.498047)])
def test_two_words_opened_at_once_with_even_parity(bits, rate):
    valid = [encode("even", bits, word) for word in range(1 << bits)]
    alarms = sum(verify("even", bits, a | b).status == "error" for a in valid for b in valid)
    assert alarms / len(valid) ** 2 == pytest.approx(rate, abs=5e-7)
