"""Reading a store out: the quick form against the plain meaning of a plan, checks, contents, evidence."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.codes import encode, verify
from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.image import MemoryImage, ProgramImage
from emu.load import load_machine
from emu.memory import EXTRA_CELLS, PlannedMemory, identity_plan, shapes_of
from emu.spec import StoreSpec
from faults.boards import load_board
from faults.dump import (
    CORRECTED,
    ERROR,
    OK,
    check_words,
    contents_of,
    own_addresses,
    read_out,
    scattered,
)
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.pattern import JoinLaw, MapLaw, PairLaw, PileLaw, analyse
from faults.universe import universe_of

FULMAR = load_machine("fulmar")
DUNLIN = load_machine("dunlin")
BOARD = load_board(FULMAR)
STRUCTURE = tuple(universe_of(BOARD, cells=False).faults)
CORE, ROPE = FULMAR.store_index("core"), FULMAR.store_index("rope")


def plan(text):
    return plan_of(BOARD, parse_fault(text, BOARD))


def slowly(machine, store, under, contents, times):
    """The meaning of a plan, word by word, straight from the readable memory."""
    cells = [[0] * (s.words + EXTRA_CELLS) for s in machine.stores]
    cells[store][: len(contents)] = contents.tolist()
    memory = PlannedMemory(under, cells)
    found = []
    for _ in range(times):
        found.append([])
        for address in range(len(contents)):
            memory.begin(0)
            found[-1].append(memory.read(store, address))
    return found


@given(number=st.integers(0, len(STRUCTURE) - 1), seed=st.integers(0, 9))
@settings(max_examples=20)
def test_every_fault_of_the_core_reads_as_the_plan_means(number, seed):
    under = plan_of(BOARD, STRUCTURE[number])
    contents = np.random.default_rng(seed).integers(0, 1 << 17, 2048)
    read = read_out(FULMAR, CORE, under, contents, twice=True)
    first, second = slowly(FULMAR, CORE, under, contents, 2)
    assert read.first.tolist() == first
    assert read.second is not None
    assert read.second.tolist() == second


@pytest.mark.parametrize(
    "text", ["rope/address/10:stuck-0", "rope/strand/3:always-on", "rope/wire/2/3/parity:stuck-1"]
)
def test_faults_of_the_rope_read_as_the_plan_means(text):
    contents = scattered(FULMAR, ROPE)
    read = read_out(FULMAR, ROPE, plan(text), contents)
    assert read.first.tolist() == slowly(FULMAR, ROPE, plan(text), contents, 1)[0]
    assert read.wrong
    assert not read.destroyed


def test_a_stuck_address_bit_10_gives_groups_of_1024_alternately_right_and_wrong():
    # common practice, no source
    read = read_out(FULMAR, ROPE, plan("rope/address/10:stuck-0"), own_addresses(FULMAR, ROPE))
    right = (read.first == read.contents).reshape(-1, 1024)
    assert [set(group.tolist()) for group in right] == [{True}, {False}] * 12
    assert read.failing == 0  # whole words are valid: parity is silent


def test_an_all_zero_word_breaks_odd_parity_and_passes_even_parity():
    # common practice, no source
    odd, even = (StoreSpec("s", 1, 16, kind) for kind in ("odd", "even"))
    zeros = np.zeros(1, np.int64)
    assert check_words(odd, zeros).tolist() == [ERROR]
    assert check_words(even, zeros).tolist() == [OK]


@given(
    kind=st.sampled_from(["none", "odd", "even", "sec-ded"]),
    bits=st.integers(4, 24),
    words=st.lists(st.integers(0, (1 << 40) - 1), min_size=1, max_size=20),
)
def test_the_check_of_many_words_is_the_check_of_each(kind, bits, words):
    spec = StoreSpec("s", len(words), bits, kind)
    stored = [w & ((1 << spec.bits) - 1) for w in words]
    names = {"ok": OK, "corrected": CORRECTED, "error": ERROR}
    each = [names[verify(kind, bits, w).status] for w in stored]
    assert check_words(spec, np.array(stored, np.int64)).tolist() == each


@pytest.mark.parametrize("machine", ["fulmar", "dunlin", "sandpiper"])
def test_contents_differ_and_have_right_check_bits(machine):
    spec = load_machine(machine)
    for number, store in enumerate(spec.stores):
        for words in (own_addresses(spec, number), scattered(spec, number)):
            assert len(set(words.tolist())) == store.words
            assert not check_words(store, words).any()
            some = words[:: max(1, store.words // 200)].tolist()
            assert [
                encode(store.protection, store.data_bits, w & ((1 << store.data_bits) - 1)) for w in some
            ] == some


def test_scattered_contents_let_no_bit_stand_still():
    words = scattered(FULMAR, ROPE) & 0xFFFF
    for bit in range(16):
        ones = int((words >> bit & 1).sum())
        assert 0.4 < ones / len(words) < 0.6


def test_words_too_narrow_for_addresses_still_differ_from_their_neighbours():
    fulmar = load_machine("fulmar")
    narrow = StoreSpec("n", 1024, 4)
    machine = type("M", (), {"stores": (narrow,), "word": fulmar.word})()
    for make in (own_addresses, scattered):
        words = make(machine, 0).tolist()
        assert max(words) <= 15
        assert sum(a != b for a, b in zip(words, words[16:], strict=False)) > 500


def test_rewrite_dead_destroys_and_a_second_reading_tells():
    read = read_out(FULMAR, CORE, plan("core/rewrite:dead"), scattered(FULMAR, CORE), twice=True)
    assert read.wrong == 0
    assert read.destroyed == 2048
    assert read.second is not None
    assert not read.second.any()


def test_gates_draw_from_the_seed_and_conditions_are_asked():
    fault = plan("rope/sense/3:stuck-1@5%")
    contents = scattered(FULMAR, ROPE)
    one, same, other = (read_out(FULMAR, ROPE, fault, contents, seed=s) for s in (1, 1, 2))
    assert one.first.tolist() == same.first.tolist()
    assert one.first.tolist() != other.first.tolist()
    warm = plan("rope/sense/3:stuck-1@when:warm")
    assert not read_out(FULMAR, ROPE, warm, contents).wrong
    assert read_out(FULMAR, ROPE, warm, contents, conditions=frozenset({"warm"})).wrong


def test_contents_of_a_program_and_its_image():
    image = ProgramImage({"core": MemoryImage.of_words(16, [1, 2, 3])})
    words = contents_of(FULMAR, CORE, image)
    assert len(words) == 2048
    assert words[:3].tolist() == [encode("odd", 16, n) for n in (1, 2, 3)]
    assert power_up(RunRequest(FULMAR, image))[CORE][:2048].tolist() == words.tolist()
    healthy = read_out(FULMAR, CORE, identity_plan(shapes_of(FULMAR.stores)), words)
    assert healthy.image().cells[1] == (encode("odd", 16, 2), (1 << 17) - 1)


def test_the_evidence_numbers_bits_as_the_machine_and_lines_by_weight():
    read = read_out(FULMAR, CORE, plan("core/sense/1:stuck-1"), np.zeros(2048, np.int64))
    evidence = read.evidence()
    assert evidence.word.label(15) == "1"  # the most significant data bit of fulmar
    assert evidence.address.label(0) == "0"
    assert evidence.need_words().damaged == 1 << 15


# --- a dump's pattern recovers what was put in


DUNLIN_BOARD = load_board(DUNLIN)


def first_finding(text):
    under = plan_of(DUNLIN_BOARD, parse_fault(text, DUNLIN_BOARD))
    read = read_out(DUNLIN, 0, under, scattered(DUNLIN, 0))
    finding = analyse(read.evidence()).findings[0]
    assert finding.exact
    assert finding.holds(read.evidence())
    return finding.sentence


@pytest.mark.parametrize("line", range(12))
@pytest.mark.parametrize("level", [0, 1])
def test_the_pattern_names_a_stuck_address_line(line, level):
    assert f"address bit {line} was always {level}" in first_finding(f"core/address/{line}:stuck-{level}")


@pytest.mark.parametrize(
    ("kind", "said"), [("shorted-or", "OR"), ("shorted-and", "AND"), ("swapped", "exchanged")]
)
@pytest.mark.parametrize("line", [0, 4, 10])
def test_the_pattern_names_two_address_lines(line, kind, said):
    sentence = first_finding(f"core/address/{line}+{line + 1}:{kind}")
    assert (
        f"address bits {line + 1} and {line}" in sentence or f"address bits {line} and {line + 1}" in sentence
    )
    assert said in sentence


@pytest.mark.parametrize("bit", [0, 5, 11])
@pytest.mark.parametrize("level", [0, 1])
def test_the_pattern_names_a_stuck_data_bit(bit, level):
    assert f"data bit {bit} as {level}" in first_finding(f"core/data/{bit}:stuck-{level}")


def law_of(machine, board, fault):
    found = parse_fault(fault, board)
    store = machine.store_index(fault.split("/")[0])
    read = read_out(machine, store, plan_of(board, found), scattered(machine, store))
    return next(f for f in analyse(read.evidence()).of_kind("law") if f.exact)


@pytest.mark.parametrize(
    ("name", "fault", "law", "text"),
    [
        (
            "fulmar",
            "rope/strand/2:always-on",
            JoinLaw("or", 0o7000, 0o2000),
            "but where address bit 11 is 0 and bit 10 is 1 and bit 9 is 0, as if the words there were selected all",
        ),
        (
            "fulmar",
            "rope/module/1+2:shorted-or",
            PairLaw("or", 0o30000, 0o10000),
            "as if the two were selected",
        ),
        ("fulmar", "core/x/13+18:shorted-or", PairLaw("or", 0o37, 0o15), "address bits 4 to 0 are 01101, or"),
        ("fulmar", "core/x/5:always-on", PileLaw(0o37, 5), "selected all the time and kept what was read"),
        ("fulmar", "core/y-driver-b/2:always-on", PileLaw(0o3400, 0o1000), "in address bits 10 to 8 only"),
        (
            "sandpiper",
            "chips/row/1:always-on",
            JoinLaw("or", 0xC000, 0x4000),
            "address bit 15 is 0 and bit 14 is 1",
        ),
        (
            "sandpiper",
            "chips/chip/2/7:small-quarter",
            MapLaw("stuck", 0x3060, 0),
            "as if address bits 13, 12, 6, 5 were always 0, but in data bit 7 only",
        ),
    ],
)
def test_what_select_lines_and_wrong_chips_do_is_named(name, fault, law, text):
    machine = load_machine(name)
    found = law_of(machine, load_board(machine), fault)
    assert found.law == law
    assert text in found.sentence
