"""Cases of real repairs, told from the dump alone (made anonymous; dumps are synthetic)."""

import pathlib
import re
import time

import numpy as np
import pytest

from faults.pattern import Finding, Parity, address_evidence, analyse, dump_evidence
from faults.pattern.fit import law_finding
from faults.pattern.law import StaleLaw

RNG = np.random.default_rng(20261125)


def with_odd_parity(data, bits):
    """Put an odd parity bit above ``bits`` data bits."""
    ones = np.array([int(word).bit_count() for word in data])
    return data | ((ones + 1) % 2).astype(np.uint64) << np.uint64(bits)


def words(count, bits):
    return RNG.integers(0, 1 << bits, count).astype(np.uint64)


def told(evidence):
    """Return the whole report as one text, after every finding has checked itself."""
    report = analyse(evidence)
    assert all(f.holds(evidence) for f in report.findings)
    return " ".join(report.sentences())


def first_law(evidence):
    return analyse(evidence).of_kind("law")[0].sentence


def test_a_group_of_lines_not_selected_reads_zeros_with_both_parity_bits():
    address = np.arange(8192)
    low, high = with_odd_parity(words(8192, 6), 6), with_odd_parity(words(8192, 6), 6)
    expected = high << np.uint64(7) | low
    observed = np.where(address >> 9 & 1, 0, expected).astype(np.uint64)
    parity = Parity("odd", (0o177, 0o177 << 7))
    evidence = dump_evidence(address, expected, observed, bits=14, parity=parity)
    text = told(evidence)
    assert "address bit 9 is 1) every word reads all zeros, parity bits included" in text
    assert "address bit 9 always 1" in text
    assert "Groups of 512 words (where address bit 9 is 1) are alternately right and wrong" in text
    assert "0 of 4,096 failing words pass odd parity" in text
    assert "which breaks odd parity and so alarms" in text


def test_the_same_under_even_parity_raises_no_alarm():
    address, expected = np.arange(1024), words(1024, 8) * np.uint64(2) + np.uint64(1)
    observed = np.where(address >> 3 & 1, 0, expected).astype(np.uint64)
    text = told(dump_evidence(address, expected, observed, bits=9, parity=Parity("even")))
    assert "which passes even parity unseen" in text
    assert "512 of 512 failing words pass even parity" in text


def test_a_memory_that_repeats_every_2048_words():
    address, written = np.arange(8192), words(8192, 16)
    observed = written[address & 0o3777 | 0o14000]  # filled upward: the last of four mirrored writes stays
    text = told(dump_evidence(address, written, observed, bits=16))
    assert "address bits 12, 11 were always 1" in text
    assert "repeats every 2,048 words" in text
    assert "stuck, open or not decoded at all reads alike" in text
    assert "the last one written" in text


def test_a_few_bad_words_in_a_narrow_range_with_one_stuck_bit_near_the_top():
    address, expected = np.arange(4096), words(4096, 12)
    observed = expected.copy()
    observed[0o7700:0o7720] |= np.uint64(1 << 10)
    sporadic = np.array([0o7703, 0o7706, 0o7711, 0o7715])
    observed[sporadic] ^= np.uint64(1 << 4)
    text = told(dump_evidence(address, expected, observed, bits=12))
    assert "In the block 0o7700 to 0o7717 (16 words) every word reads data bit 10 as 1" in text
    assert re.search(r"Data bit 4 reads .* in the block 0o7700 to 0o7717|Data bit 4 .*where address", text)


def test_one_strand_with_a_bit_always_1_and_another_erratic_in_one_bit():
    address = np.arange(2048)
    expected = with_odd_parity(words(2048, 15), 15)
    observed = expected.copy()
    observed[256:512] |= np.uint64(1 << 6)
    erratic = 1024 + np.flatnonzero(RNG.random(256) < 0.3)
    observed[erratic] ^= np.uint64(1 << 11)
    text = told(dump_evidence(address, expected, observed, bits=16, parity=Parity("odd")))
    assert "In the block 0o0400 to 0o0777 (256 words) every word reads data bit 6 as 1" in text
    assert "need not be one bit" in text
    assert "parity gives its value back" in text
    assert "Mark such words as reconstructed" in text
    assert re.search(r"Data bit 11 reads 0 for 1 .* in the block 0o2000 to 0o2377 .*errs both ways", text)
    assert "need not be one bit" in text


def test_a_reader_that_selects_two_words_at_once():
    address, expected = np.arange(4096), words(4096, 16)
    observed = np.where(address >> 11 & 1, expected | expected[address ^ 0o4000], expected)
    text = told(dump_evidence(address, expected, observed, bits=16))
    assert "reads 2 words at once, combined by OR: its own and the one with address bit 11 inverted" in text
    assert "In the block 0o4000 to 0o7777" in text


def test_a_reader_that_selects_four_words_at_once():
    address, expected = np.arange(1024), words(1024, 16)
    merged = expected | expected[address ^ 4] | expected[address ^ 0o400] | expected[address ^ 0o404]
    text = told(dump_evidence(address, expected, merged, bits=16))
    assert "reads 4 words at once, combined by OR: all that differ in address bits 8 and 2" in text


@pytest.mark.parametrize("random_fill", [False, True])
def test_a_row_driver_inside_a_one_bit_chip(random_fill):
    """0 1 2 3 0 1 2 3 8 9 A B 8 9 A B over one span of 16 words (32 bytes)."""
    address = np.arange(256)
    expected = words(256, 16) if random_fill else (address % 16).astype(np.uint64)
    observed = expected.copy()
    observed[64:80] = np.where(address[64:80] & 4, observed[64:80] & ~np.uint64(4), observed[64:80])
    evidence = dump_evidence(address, expected, observed, bits=16, base=16)
    text = told(evidence)
    if random_fill:
        assert "data bit 2" in text
        return
    assert observed[64:80].tolist() == [0, 1, 2, 3, 0, 1, 2, 3, 8, 9, 10, 11, 8, 9, 10, 11]
    assert "data bit 2 as 0" in text
    assert "as if address bit 2 was always 0, in the whole word or in data bit 2 only" in text
    assert "2 readings explain the failures equally well: the dump alone cannot choose" in text
    assert "Groups of 4 words from 0x40 to 0x4f (16 words)" in text
    assert "alternately right and wrong" in text
    assert "wrong addressing may go unseen" in text


def test_a_dead_column_of_a_one_bit_chip_every_256_words():
    address, expected = np.arange(65536), words(65536, 8)
    observed = np.where(address % 256 == 0x1F, expected | np.uint64(0x20), expected)
    evidence = dump_evidence(address, expected, observed, bits=8, base=16)
    law = first_law(evidence)
    assert law.startswith("At every 256th word")
    assert "reads data bit 5 as 1" in law
    assert "the other" in told(evidence)


def test_two_dead_columns_of_one_chip_are_two_groups():
    address, expected = np.arange(16384), words(16384, 8)
    dead = (address % 256 == 0x1F) | (address % 256 == 0x80)
    text = told(
        dump_evidence(address, expected, np.where(dead, expected | np.uint64(4), expected), bits=8, base=16)
    )
    assert "reads data bit 2 as 1; this does not say which words it strikes" in text
    assert "make up 2 groups: at every 256th word (those whose last 8 address bits are 0x80)" in text
    assert "in them would read right anyway" in text


def test_a_floating_address_leg_of_one_chip_aliases_in_one_slice_only():
    address, written = np.arange(16384), words(16384, 8)
    slice_ = np.uint64(1 << 3)
    observed = written & ~slice_ | written[address | 1 << 6] & slice_
    text = told(dump_evidence(address, written, observed, bits=8))
    assert "as if address bit 6 was always 1, but in data bit 3 only: a fault of a slice" in text


def test_a_missed_strobe_returns_the_transfer_before():
    """AA BB AA BB instead of AA BB CC DD, now and then."""
    address, expected = np.arange(4096), words(4096, 8)
    observed = expected.copy()
    for pair in 2 * np.flatnonzero(RNG.random(2047) < 0.02) + 2:
        observed[pair : pair + 2] = observed[pair - 2 : pair]
    text = told(dump_evidence(address, expected, observed, bits=8))
    assert "repeats the word read 2 words before it (stale data" in text
    assert "the strobe was missed" in text


def test_a_board_never_selected_reads_back_the_high_address_byte():
    address, expected = np.arange(0x10000), words(0x10000, 8)
    gone = (address >> 13) == 5
    observed = np.where(gone, address >> 8, expected).astype(np.uint64)
    text = told(dump_evidence(address, expected, observed, bits=8, base=16))
    assert "reads part of its own address, bits 15 to 8 (bus residue)" in text
    assert "in the block 0xa000 to 0xbfff" in text
    assert "nothing drove it" in text


def test_one_page_that_reads_its_own_high_byte_may_be_a_constant_too():
    address, expected = np.arange(0x4000), words(0x4000, 8)
    observed = np.where(address >> 8 == 0x12, 0x12, expected).astype(np.uint64)
    text = told(dump_evidence(address, expected, observed, bits=8, base=16))
    assert "reads the constant 0x12" in text
    assert "reads part of its own address, bits 13 to 8 (bus residue)" in text
    assert "2 readings explain the failures equally well" in text


def test_changing_failures_are_told_from_solid_ones():
    address, expected = np.arange(1024), words(1024, 16)
    first, again = (np.where(RNG.random(1024) < 0.1, words(1024, 16), expected) for _ in range(2))
    assert "the failures change, which speaks for selection" in told(
        dump_evidence(address, expected, first, bits=16, again=again)
    )
    assert "the failures are steady" in told(dump_evidence(address, expected, first, bits=16, again=first))


def test_a_dead_rewrite_loses_the_contents_at_the_first_reading():
    address, expected = np.arange(1024), words(1024, 12)
    again = np.where(address >> 8 == 1, 0, expected).astype(np.uint64)
    text = told(dump_evidence(address, expected, expected, bits=12, again=again))
    assert "read zero the second time" in text
    assert "Stop reading: the first dump may be the only one." in text


def test_zeros_that_are_not_written_back_are_no_noise():
    """An open inhibit winding: the first reading is right, the second has ones for zeros in one bit."""
    address, expected = np.arange(1024), words(1024, 12)
    text = told(dump_evidence(address, expected, expected, bits=12, again=expected | np.uint64(1 << 5)))
    assert "every change is from 0 to 1, in data bit 5" in text
    assert "a 0 that is not written back" in text
    assert "noise rather than a dead part" not in text


def test_exchanged_sense_wires_of_core_are_put_right_by_reading_twice():
    """A read puts back what was sensed, so the second reading exchanges the bits back."""
    address, expected = np.arange(1024), words(1024, 12)
    low, high = expected >> np.uint64(3) & np.uint64(1), expected >> np.uint64(4) & np.uint64(1)
    first = expected & ~np.uint64(0o30) | low << np.uint64(4) | high << np.uint64(3)
    text = told(dump_evidence(address, expected, first, bits=12, again=expected))
    assert "every word that was wrong at first was right then" in text
    assert "as with exchanged sense wires" in text
    assert "rather than a dead part" not in text


def test_a_law_of_one_bit_is_not_told_of_whole_words():
    address, expected = np.arange(1024), words(1024, 12)
    bit = np.uint64(1 << 5)
    late = expected & ~bit | np.concatenate([expected[:1], expected[:-1]]) & bit
    found = law_finding(StaleLaw(1), None, 1 << 5, dump_evidence(address, expected, late, bits=12))
    assert "in data bit 5 only" in found.sentence


def test_stripes_of_zeros_and_ones_are_no_stale_data():
    """Cells that have faded to 0 in some lines of a chip and to 1 in others."""
    address, expected = np.arange(4096), words(4096, 12)
    faded = np.where(address >> 7 & 1, 0o7777, 0).astype(np.uint64)
    assert "stale" not in told(dump_evidence(address, expected, faded, bits=12))


def test_a_condition_on_two_sides_from_a_list_of_stops_only():
    """Upper half, and only where a second, unrelated bit is 1."""
    failing = [a for a in range(8192) if a >> 12 & 1 and a >> 3 & 1]
    text = told(address_evidence(failing, address_bits=13))
    assert "address bits 12, 3 always 1" in text
    assert "all 2,048 addresses of that kind fail and no other" in text
    assert "taken to have been tried and found right" in text


def test_bits_that_are_always_1_in_two_stacks_alike():
    """Two bits fed by one net: both always 1, everywhere."""
    address, expected = np.arange(4096), words(4096, 16)
    law = first_law(
        dump_evidence(address, expected, expected | np.uint64(0b100010), bits=16, numbering="msb0")
    )
    assert law.startswith("Every word reads data bits 10, 14 as 1")


def test_a_dump_of_65536_words_is_answered_while_one_waits():
    """Asked for: under 2 s. The guard allows for a busy machine."""
    address, expected = np.arange(65536), words(65536, 16)
    observed = expected ^ np.where(RNG.random(65536) < 0.05, words(65536, 16) & np.uint64(0b1111), 0).astype(
        np.uint64
    )
    start = time.process_time()
    report = analyse(dump_evidence(address, expected, observed, bits=16))
    assert report.findings
    assert time.process_time() - start < 6


def test_the_examples_of_the_reference_page_hold():
    page = (pathlib.Path(__file__).parents[2] / "docs/reference/patterns.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    names = {}
    for block in blocks:
        exec(block, names)
    assert sum(block.count("assert ") for block in blocks) >= 12


def test_the_reference_page_lists_every_kind():
    page = (pathlib.Path(__file__).parents[2] / "docs/reference/patterns.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"^\| `([a-z-]+)` \|", page, re.MULTILINE))
    assert listed == {cls.kind for cls in Finding.__subclasses__()}
