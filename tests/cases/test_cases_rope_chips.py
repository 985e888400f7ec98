"""Repair stories of woven stores, chips and stand-in units, retold with the volunteers' test bench.

The stories come from published accounts of repairs, made anonymous; that such faults look like this is common
practice, no source.
"""

import numpy as np
import pytest

ROPE = """
[[store]]
store = "work"
built = "woven"
core = "0-3"
strand = "4-6"
module = "7"
[[stand-in]]
store = "work"
"""
CHIPS = """
[[store]]
store = "work"
built = "chips"
column = "0-4"
line = "5-7"
row = "8-9"
undriven = "{undriven}"
"""
WIDE = """
[[store]]
store = "work"
built = "chips"
column = "0-7"
line = "8-9"
row = "10-11"
"""


def busy(words, seed=7):
    """Words without order, so that nothing can hide behind their structure."""
    return np.random.default_rng(seed).integers(0, 1 << 16, words)


@pytest.fixture
def rope(bench):
    return bench(ROPE, 256, protection="odd", writable=False)


@pytest.fixture
def chips(bench):
    def make(board=CHIPS, undriven="zeros", words=1024):
        return bench(board.replace("{undriven}", undriven), words)

    return make


def wrong(read):
    return np.flatnonzero(read.first != read.contents)


# --- a module that must not be opened: one strand with a bit always 1, another erratic


def test_c9_parity_only_where_the_true_bit_was_0_and_contents_come_back(rope):
    data = busy(256)
    fault = "work/wire/1/2/5:stuck-1 & work/wire/1/6/0:stuck-1@30%"
    first, again = (rope.dump(fault, data, seed=seed) for seed in (1, 2))
    addresses = np.arange(256)
    strand = {n: (addresses >> 7 == 1) & (addresses >> 4 & 7 == n) for n in (2, 6)}
    solid = set(addresses[strand[2] & (data >> 5 & 1 == 0)].tolist())
    erratic = set(addresses[strand[6] & (data & 1 == 0)].tolist())
    for read in (first, again):
        failing = set(wrong(read).tolist())
        assert solid <= failing <= solid | erratic
        assert set(np.flatnonzero(read.status).tolist()) == failing  # alarms there and nowhere else
    assert wrong(first).tolist() != wrong(again).tolist()  # it comes and goes
    back = first.first.copy()
    back[sorted(solid)] ^= 1 << 5  # the known bad bit, where parity says so
    assert np.array_equal(back[strand[2]], first.contents[strand[2]])


def test_c9_the_account_names_the_parity_alarm(rope):
    data = busy(256)
    account = rope.predict("work/wire/1/2/5:stuck-1", "scan", data)
    first = next(a for a in range(1 << 7 | 2 << 4, 256) if not data[a] >> 5 & 1)
    alarm = account.comparison.seen.alarm("parity")
    assert alarm is not None
    assert alarm.address == first
    assert account.pictures[0].silent == 0


# --- several cores switch at once: words are merged


def test_c10_an_inhibit_that_blocks_nothing_gives_the_or_of_two_words(rope):
    data = busy(256)
    read = rope.dump("work/inhibit/3/1:open", data)
    other = np.arange(256) ^ 1 << 3
    driven = np.arange(256) >> 3 & 1 == 1  # line 3, level 1 is driven for these, and blocks the others
    assert np.array_equal(read.first[driven], (read.contents | read.contents[other])[driven])
    assert np.array_equal(read.first[~driven], read.contents[~driven])
    kinds = {r.kind for r in rope.predict("work/inhibit/3/1:open", "scan", data).pictures[0].memory.runs}
    assert kinds == {"same", "merged"}


# --- the inside of a chip: a power of two on a boundary of it


def test_c11_a_line_inside_a_chip_strikes_one_span_of_32_words(chips):
    bench = chips()
    read = bench.dump("work/inside-line/0/2/3:dead", range(1024))
    span = read.first[96:128] & 15
    assert span[:16].tolist() == [0, 1, 2, 3, 0, 1, 2, 3, 8, 9, 10, 11, 8, 9, 10, 11]
    assert set(wrong(read).tolist()) <= set(range(96, 128))
    report = bench.pattern("work/inside-line/0/2/3:dead", range(1024))
    said = " ".join(
        report.sentences()
    )  # words that hold their own address cannot tell the bits of the two apart
    assert "In the block 0x060 to 0x07f (32 words) every word reads the word of another address" in said
    assert "every word reads data bit 2 as 0 (16 failing words of 16 explained)" in said
    assert "the dump alone cannot choose" in said
    law = bench.pattern("work/inside-line/0/2/3:dead", busy(1024)).of_kind("law")[0]
    assert law.exact
    assert "In the block 0x060 to 0x07f (32 words) every word reads data bit 2 as 0" in law.sentence


def test_c12_a_column_inside_a_chip_strikes_every_256th_word(chips):
    bench = chips(WIDE, words=4096)
    read = bench.dump("work/inside-column/1/7/9:dead", [0xFFFF] * 4096)
    assert wrong(read).tolist() == [1024 + 9 + 256 * n for n in range(4)]
    assert set((read.first ^ read.contents)[wrong(read)].tolist()) == {1 << 7}
    said = " ".join(bench.pattern("work/inside-column/1/7/9:dead", [0xFFFF] * 4096).sentences())
    assert "At every 256th word from 0x400 to 0x7ff" in said


# --- a leg bent out, or a chip of a quarter of the size


@pytest.mark.parametrize("fault", ["work/leg/0/7/7:open", "work/chip/0/7:small-quarter"])
def test_c13_a_test_that_reads_back_at_once_passes(chips, fault):
    bench = chips()
    passed = bench.predict(fault, "at-once")
    assert not passed.differs
    assert passed.reasons
    caught = bench.predict(fault, "fill-first")
    assert dict(caught.comparison.seen.lamps)["mark"] == 2
    read = bench.dump(fault, busy(1024))
    assert {int(x) for x in (read.first ^ read.contents)[wrong(read)]} == {1 << 7}  # one bit slice alone


def test_c13_own_addresses_are_blind_in_the_bits_that_do_not_carry_the_leg(chips):
    bench = chips()
    assert not bench.predict("work/leg/0/4/7:open", "fill-first").differs  # bit 4 is the same at both places


# --- not the chip: whatever all chips of that bit share


def test_c14_every_chip_of_the_bit_fails_alike_when_the_line_is_the_culprit(chips):
    bench = chips()
    data = [0xFFFF] * 1024
    line = bench.dump("work/output/6:stuck-0", data)
    chip = bench.dump("work/chip/1/6:dead", data)
    assert len(wrong(line)) == 1024  # another chip in any socket changes nothing
    assert wrong(chip).tolist() == list(range(256, 512))
    assert set((line.first ^ line.contents).tolist()) == {1 << 6}


# --- a strobe missed now and then


def test_c16_words_come_twice(rope):
    data = [0xAABB, 0xCCDD] * 128
    once = rope.dump("work/unit:late@accesses:1..2", data)
    assert (once.first[:4] & 0xFFFF).tolist() == [0xAABB, 0xAABB, 0xAABB, 0xCCDD]  # both halves of the word
    assert not once.status.any()
    account = rope.predict("work/unit:stale@20%", "punch", data, runs=3)
    assert account.trials is not None
    assert account.trials.showing == 3
    assert account.watched.wrong.get("error", 0) == 0  # whole valid words: parity is silent


# --- nothing drives the bus


def test_c19_a_row_never_selected_echoes_the_bus(chips):
    bench = chips(undriven="residue")
    read = bench.dump("work/row/1:echo", busy(1024))
    assert np.array_equal(read.first[256:512], np.full(256, read.first[255]))
    account = bench.predict("work/row/1:echo", "at-once")
    assert account.comparison.seen.stop == "halt"
    assert account.watched.first[0].address == 256
    seen = account.watched.first[0].got
    assert seen != account.watched.first[0].expected


def test_c19_changing_failures_and_solid_ones(chips):
    bench = chips()
    solid = [bench.dump("work/chip/0/3:dead", busy(1024), seed=s).first.tolist() for s in (1, 2)]
    changing = [bench.dump("work/address/9:stuck-0@50%", busy(1024), seed=s).first.tolist() for s in (1, 2)]
    assert solid[0] == solid[1]
    assert changing[0] != changing[1]
