"""Repair stories of core memories, retold with the volunteers' test bench: what was wrong there is put in here,
and the account must read like what was seen.

The stories come from published accounts of repairs, made anonymous; that such faults look like this is common
practice, no source.
"""

import numpy as np
import pytest

CORE = """
[[store]]
store = "work"
built = "coincident"
x = "0-3"
y = "4-7"
y_drivers = ["4-6"]
{more}
"""
WORDS = 256
ADDRESSES = np.arange(WORDS)


def own(words=WORDS):
    return range(words)


def busy(words=WORDS, seed=7):
    """Words without order, so that nothing can hide behind their structure."""
    return np.random.default_rng(seed).integers(0, 1 << 16, words)


@pytest.fixture
def core(bench):
    def make(more="", protection="odd"):
        return bench(CORE.replace("{more}", more), WORDS, protection=protection, destructive=True)

    return make


def wrong(read):
    return np.flatnonzero(read.first != read.contents)


# --- a driver card that was not pushed in: four of eight Y driver groups are gone


CARD = " & ".join(f"work/y-driver-a/{n}:dead" for n in (4, 5, 6, 7))


def test_c1_a_card_not_pushed_in_reads_zeros_parity_bit_and_all(core):
    bench = core()
    read = bench.dump(CARD, busy())
    assert np.array_equal(wrong(read), ADDRESSES[(ADDRESSES >> 6 & 1) == 1])
    assert not read.first[ADDRESSES >> 6 & 1 == 1].any()  # data and parity bit
    assert read.failing == WORDS // 2  # all zeros break odd parity


def test_c1_the_pattern_names_the_address_bit(core):
    report = core().pattern(CARD, busy())
    said = " ".join(report.sentences())
    assert "address bit 6" in said
    assert "all zeros" in said


def test_c1_the_account_is_a_parity_stop_with_odd_parity_and_silence_with_even(core):
    seen = core().predict(CARD, "scan", busy())
    alarm = seen.comparison.seen.alarm("parity")
    assert alarm is not None
    assert (alarm.store, alarm.address) == ("work", 1 << 6)
    assert seen.pictures[0].memory.runs[1].kind == "zero"
    even = core(protection="even").predict(CARD, "scan", busy())
    assert even.comparison.seen.alarms == ()
    assert [r.why for r in even.reasons] == ["blind"]


# --- parity stops in the upper half only, where a second, unrelated address bit is 1, never with some low bits


HALVES = 'section = "7"\nwinding = "3"'
NOISY = "work/sense/1/2:weak-zeros"


def shy():
    """Words without order, but with bit 2 set wherever the two lowest address bits are 01."""
    return np.where(ADDRESSES & 3 == 1, busy() | 1 << 2, busy())


def test_c2_a_sense_stage_that_reads_ones_where_two_address_bits_say_so(core):
    bench = core(HALVES)
    read = bench.dump(NOISY, shy())
    failing = wrong(read)
    struck = (ADDRESSES >> 7 & 1 == 1) & (ADDRESSES >> 3 & 1 == 1)
    assert np.array_equal(failing, ADDRESSES[struck & (shy() >> 2 & 1 == 0)])
    assert len(failing) > 10
    assert 1 not in failing & 3  # never with these low bits, which have nothing to do with it
    assert read.failing == len(failing)  # every one is a parity stop
    report = bench.pattern(NOISY, shy())
    cube = report.of_kind("cube")[0].cube
    assert (cube.fixed, cube.value) == (1 << 7 | 1 << 3, 1 << 7 | 1 << 3)
    assert "data bit 2 as 1" in report.of_kind("law")[0].sentence
    account = bench.predict(NOISY, "scan", shy())
    assert account.comparison.seen.stop == "alarm-halt"
    alarm = account.comparison.seen.alarm("parity")
    assert alarm is not None
    assert alarm.address == failing[0]


def test_c2_no_wrong_word_with_data_that_have_the_bit(core):
    account = core(HALVES).predict(NOISY, "scan", [0xFFFF] * WORDS)
    assert not account.differs
    assert [r.why for r in account.reasons] == ["masked"]


# --- an inhibit driver with a bad contact: a 0 cannot be written, in one bit of one half


def test_c3_inhibit_open_writes_ones_in_one_bit_of_one_section(core):
    bench = core('section = "7"', protection="none")
    account = bench.predict("work/inhibit/0/6:open", "zeros")
    seen = dict(account.comparison.seen.lamps)
    assert (seen["mark"], seen["index"]) == (2, 0)
    assert account.watched.first[0].got == 1 << 6
    half = bench.predict("work/inhibit/1/6:open", "zeros")
    assert dict(half.comparison.seen.lamps)["index"] == 1 << 7  # the other half begins there
    read = bench.dump("work/inhibit/0/6:open", [0] * WORDS, twice=True)
    assert not wrong(read).any()  # read once, the cores still held what they were given
    assert np.array_equal(np.flatnonzero(read.second), ADDRESSES[ADDRESSES < WORDS // 2])


def test_c3_the_bad_contact_comes_and_goes(core):
    bench = core('section = "7"', protection="none")
    account = bench.predict("work/inhibit/0/6:open@open:200us,closed:1ms", "zeros", runs=12)
    assert account.trials is not None
    assert 0 < account.trials.showing < 12
    assert "between" in account.trials.sentences()[0]
    mended = bench.predict("work/inhibit/0/6:open@open:1us,closed:3000s", "zeros", runs=3)
    assert not mended.differs


# --- one supply pin feeds two bits, in two stacks alike


def test_c4_a_shared_supply_pin_takes_two_bits_in_both_halves(core):
    nets = """section = "7"
[[net]]
name = "pin-0"
feeds = ["work/sense/0/1", "work/sense/0/5"]
effect = "read-ones"
[[net]]
name = "pin-1"
feeds = ["work/sense/1/1", "work/sense/1/5"]
effect = "read-ones"
"""
    bench = core(nets, protection="none")
    one = bench.dump("net/pin-0:open", [0] * WORDS)
    assert set(one.first[: WORDS // 2].tolist()) == {1 << 1 | 1 << 5}
    assert not one.first[WORDS // 2 :].any()
    both = bench.dump("net/pin-0:open & net/pin-1:open", [0] * WORDS)
    assert set(both.first.tolist()) == {1 << 1 | 1 << 5}  # whatever stack, whatever card
    law = bench.pattern("net/pin-0:open & net/pin-1:open", busy()).of_kind("law")[0]
    assert law.exact
    assert "Every word reads data bits 5, 1 as 1" in law.sentence


# --- a card is moved and the fault with it, then a second one is fitted


def test_c5_the_fault_moves_with_the_card(core):
    bench = core(protection="none")
    before = bench.dump("work/sense/0:stuck-1", busy())
    after = bench.dump("work/sense/8:stuck-1", busy())
    assert np.array_equal(before.first ^ before.contents, ~before.contents & 1)
    assert np.array_equal(after.first ^ after.contents, ~after.contents & 1 << 8)
    spare = bench.predict("work/sense/2:stuck-1", "zeros")  # the spare fitted, now bit 2 fails
    assert dict(spare.comparison.seen.lamps)["mark"] == 2
    assert spare.watched.first[0].got == 1 << 2


# --- a memory that repeats


def test_c6_two_address_bits_ignored_and_a_test_that_does_not_mind(core):
    bench = core(protection="none")
    ignored = "work/address/7:stuck-0 & work/address/6:stuck-0"
    assert not bench.predict(ignored, "at-once").differs
    blind = bench.predict(ignored, "at-once")
    assert blind.reasons[0].why == "masked" or blind.reasons[0].why == "latent"
    found = bench.predict(ignored, "fill-first")
    assert found.differs
    assert dict(found.comparison.seen.lamps)["mark"] == 2
    runs = found.pictures[0].memory.runs
    assert [(r.first, r.count, r.kind, r.source) for r in runs[1:]] == [
        (64, 64, "copy", 0), (128, 64, "copy", 0), (192, 64, "copy", 0),
    ]  # fmt: skip
    report = bench.pattern(ignored, busy())
    assert "as if address bits 7, 6 were always 0" in report.findings[0].sentence


# --- a few bad addresses in one narrow range


def test_c7_damage_in_one_place_and_no_wide_pattern(core):
    bench = core()
    cells = [0x62, 0x63, 0x65, 0x66]
    fault = " & ".join(f"work/cell/{cell:#04x}/3:stuck-0" for cell in cells)
    fault += " & work/cell/0x67/9:stuck-1@40%"
    report = bench.pattern(fault, [0xFFFF] * WORDS, seed=3)
    failing = wrong(bench.dump(fault, [0xFFFF] * WORDS, seed=3))
    assert set(cells) <= set(failing.tolist()) <= {*cells, 0x67}
    assert any("0x60 to 0x67 (8 words)" in sentence for sentence in report.sentences())
    assert not [f for f in report.of_kind("law") if f.exact and f.failing > 8]


# --- X wires eaten away, neighbours in the stack


def test_c8_open_x_wires_side_by_side_and_never_y(core):
    bench = core()
    gone = (11, 12, 13)
    fault = " & ".join(f"work/x/{n}:open" for n in gone)
    read = bench.dump(fault, busy())
    assert np.array_equal(wrong(read), ADDRESSES[np.isin(ADDRESSES & 15, gone)])
    assert not read.first[wrong(read)].any()
    assert set(wrong(read) & 15) == set(gone)  # every Y line fails alike
    assert len(set(wrong(read) >> 4)) == 16
    runs = [r for r in bench.predict(fault, "scan", busy()).pictures[0].memory.runs if r.kind == "zero"]
    assert {(r.first % 16, r.count) for r in runs} == {(11, 3)}  # one block by position, once a Y line


# --- what appears only in a run, or only while nobody touches


def test_c17_gone_in_single_step(core):
    bench = core('winding = "0,4"')
    fault = "work/strobe:mistimed-late@when:running"
    still = bench.predict(fault, "scan", busy())
    assert not still.differs
    assert [r.why for r in still.reasons] == ["condition"]
    assert "running" in still.reasons[0].sentence
    assert bench.predict(fault, "scan", busy(), conditions=["running"]).differs


def test_c18_touching_the_pin_mends_it(core):
    fault = "work/sense/4:weak-ones@when:untouched"
    bench = core('winding = "0,4"')
    assert bench.predict(fault, "scan", busy(), conditions=["untouched"]).differs
    touched = bench.predict(fault, "scan", busy())
    assert [r.why for r in touched.reasons] == ["condition"]


# --- the one chance to read the old contents


def test_c20_rewrite_dead_the_second_reading_is_zero(core):
    bench = core(protection="none")
    read = bench.dump("work/rewrite:dead", busy(), twice=True)
    assert read.wrong == 0
    assert read.destroyed == np.count_nonzero(busy())
    assert read.second is not None
    assert not read.second.any()
    report = bench.pattern("work/rewrite:dead", busy(), twice=True)
    assert any("reading destroys what is stored" in s for s in report.sentences())
    account = bench.predict("work/rewrite:dead", "fill-first")
    assert dict(account.comparison.seen.lamps)["mark"] == 2
    assert (account.watched.first[0].expected, account.watched.first[0].got) == (1, 0)
    assert any("CAUTION" in s for s in account.pictures[0].sentences())


# --- one word is told as one


def test_one_word_is_not_told_as_several(core):
    bench = core(protection="none")
    masked = bench.predict("work/cell/0x10/3:stuck-0", "scan", [0] * WORDS)
    assert masked.reasons[0].sentence.startswith(
        "A word that the fault can alter was used once, and was right"
    )
    read = bench.predict("work/cell/0x10/3:stuck-1", "scan", [0] * WORDS)
    assert read.reasons[0].sentence.startswith("A wrong word was read once. The work has no check bits")
