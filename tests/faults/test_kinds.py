"""The catalogue of kinds: every entry is whole, its example works, and what the trade knows comes out."""

import pytest

from emu.codes import encode, verify
from emu.errors import InputError
from emu.load import load_machine, parse_machine
from emu.memory import EXTRA_CELLS, PlannedMemory
from emu.where import Source
from faults.boards import load_board, parse_board
from faults.kinds import all_kinds
from faults.kinds.kind import Entry
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault

BOARDS = {name: load_board(load_machine(name)) for name in ("dunlin", "fulmar", "sandpiper")}
FULMAR = BOARDS["fulmar"]
CORE, ROPE = 0, 1


def example_of(kind):
    name, _, text = kind.example.rpartition(" ")
    return BOARDS[name or "fulmar"], text


@pytest.mark.parametrize("kind", all_kinds().values(), ids=lambda k: k.name)
class TestEveryKind:
    def test_example(self, kind):
        board, text = example_of(kind)
        fault = parse_fault(text, board)
        assert fault_text(fault, board) == text or "/cell/" in text
        assert fault.parts[0].kind == kind.name
        plan = plan_of(board, fault)
        plan.check()
        assert not plan.healthy

    def test_entry(self, kind):
        for name in Entry.__attrs_attrs__:
            text = getattr(kind.entry, name.name)
            assert text.strip() == text
            assert text.endswith("."), name.name
        assert kind.title[0].isupper()

    def test_forms(self, kind):
        assert kind.variants
        assert len(set(kind.variants)) == len(kind.variants)
        assert kind.weight > 0


def test_at_least_the_kinds_people_meet():
    assert len(all_kinds()) >= 19


def memory(text, board=FULMAR, fill=None, store=CORE):
    """Return a memory with a fault, every word of ``store`` holding ``fill(address)`` with its check bits."""
    plan = plan_of(board, parse_fault(text, board))
    spec = board.machine.stores[store]
    cells = []
    for i, shape in enumerate(board.shapes):
        words = [0] * shape.words
        if i == store and fill:
            words = [encode(spec.protection, spec.data_bits, fill(a)) for a in range(shape.words)]
        cells.append(words + [0] * EXTRA_CELLS)
    return PlannedMemory(plan, cells)


def read(memory, store, address):
    memory.begin(0)
    return memory.read(store, address)


def write(memory, store, address, word):
    memory.begin(0)
    memory.write(store, address, word)


def status(board, store, word):
    spec = board.machine.stores[store]
    return verify(spec.protection, spec.data_bits, word).status


def test_stuck_address_bit_10_gives_groups_of_1024():
    """Common practice, no source: 1,024 words right, the next 1,024 copies of others; parity is silent."""
    m = memory("rope/address/10:stuck-0", store=ROPE, fill=lambda a: a)
    for address in range(0, 24_576, 37):
        word = read(m, ROPE, address)
        assert status(FULMAR, ROPE, word) == "ok", "whole words are valid words"
        right = (address // 1024) % 2 == 0
        assert (word & 0xFFFF) == (address if right else address - 1024)


def test_spurious_bit_shows_as_parity():
    """Common practice, no source."""
    m = memory("rope/sense/3:stuck-1", store=ROPE, fill=lambda a: a & 0x00FF)
    assert all(status(FULMAR, ROPE, read(m, ROPE, a)) == "error" for a in range(0, 24_576, 999))


def test_a_word_of_zeros_breaks_odd_parity_only():
    assert verify("odd", 16, 0).status == "error"
    assert verify("even", 16, 0).status == "ok"


def test_a_line_that_selects_nothing_reads_zeros_parity_included():
    """Case of a driver card not pushed in (bench report, from memory): word and parity read 0."""
    m = memory("core/y-driver-b/3:dead", fill=lambda a: 0o52525 & 0xFFFF)
    dead = [a for a in range(2048) if read(m, CORE, a) == 0]
    assert dead == [a for a in range(2048) if (a >> 8) & 7 == 3]
    assert all(status(FULMAR, CORE, read(m, CORE, a)) == "error" for a in dead)


def test_inhibit_open_writes_ones_and_spoils_a_zero_that_is_read():
    """Check of the fingerprint: a read is right, its rewrite puts a 1, the next read alarms (derived)."""
    m = memory("core/inhibit/3:open", fill=lambda a: 0)
    first, second = read(m, CORE, 5), read(m, CORE, 5)
    bit = FULMAR.site("core/inhibit/3").role.bit
    assert status(FULMAR, CORE, first) == "ok"
    assert second == first | bit
    assert status(FULMAR, CORE, second) == "error"


def test_write_half_cycle_dead_lets_the_first_read_through():
    m = memory("core/rewrite:dead", fill=lambda a: a)
    assert [read(m, CORE, 0o17) & 0xFFFF for _ in range(3)] == [0o17, 0, 0]


def test_shared_supply_pin_takes_two_bits():
    """Case of a supply pin of a card pair (bench report, from memory): bits 1 and 5 always 1."""
    m = memory("net/sense-supply-1:open", fill=lambda a: 0)
    both = FULMAR.site("core/sense/1").role.bit | FULMAR.site("core/sense/5").role.bit
    assert all(read(m, CORE, a) & both == both for a in range(0, 2048, 100))


def test_leg_out_aliases_in_one_bit_slice_only():
    """Case of a leg bent out (bench report, from memory): the bit answers at two addresses."""
    board = BOARDS["sandpiper"]
    text = "chips/leg/2/7/3:open"
    one = memory(text, board)
    row, leg = 2 << 14, [0, 1 << 3, 1 << 10, 1 << 10 | 1 << 3]  # the leg brings in a line and a column bit
    write(one, 0, row, encode("sec-ded", 24, 1 << 7))
    assert read(one, 0, row) >> 7 & 1 == 1, "written and read at once it passes"
    beside = [*leg, 1, 1 << 4, 1 << 11, 1 << 13]
    struck = [a for a in beside if read(one, 0, row + a) >> 7 & 1]
    assert struck == leg
    assert not any(read(one, 0, row + a) >> 7 & 1 for a in (-1, 1 << 14)), "other rows are well"


TINY = """
format = "machine/1"
name = "tern"
[word]
bits = 4
arithmetic = "twos"
base = 8
numbering = "lsb0"
[address]
bits = 4
[[register]]
name = "pc"
bits = 4
[fetch]
counter = "pc"
start = 0
[[store]]
name = "rope"
words = 16
protection = "none"
writable = false
cycle_ns = 1000
[[window]]
first = 0
last = 15
store = "rope"
[[instruction]]
name = "stop"
bits = "1111"
does = ["halt"]
example = { text = "stop", word = 15 }
"""


def tiny_rope(*, parity_pair):
    machine = parse_machine(Source("tern.toml", TINY))
    text = 'format = "board/1"\nmachine = "tern"\n[[store]]\nstore = "rope"\nbuilt = "woven"\ncore = "0-3"\n'
    return parse_board(machine, Source("t.board.toml", text + f"parity_pair = {str(parity_pair).lower()}\n"))


def switched(board, text):
    """Return how many cores switch at each address."""
    table = plan_of(board, parse_fault(text, board)).modes[0].tables[0]
    counts = [1] * 16
    for address, row in zip(table.moved.tolist(), table.read_to.tolist(), strict=True):
        cells = {c for c in row if c < 16}
        counts[address] = len(cells)
    return counts


class TestWovenStoreOfSixteenCores:
    """Exact counts for 2**4 cores and two inhibit lines an address bit, derived by enumeration."""

    @pytest.mark.parametrize("line", [f"rope/inhibit/{b}/{v}" for b in range(4) for v in (0, 1)])
    def test_one_line_open(self, line):
        assert sorted(switched(tiny_rope(parity_pair=False), f"{line}:open")) == [1] * 8 + [2] * 8
        assert switched(tiny_rope(parity_pair=True), f"{line}:open") == [1] * 16, "no symptom at any address"

    @pytest.mark.parametrize("line", [f"rope/inhibit/{b}/{v}" for b in range(4) for v in (0, 1)])
    @pytest.mark.parametrize("parity_pair", [False, True])
    def test_one_line_always_on(self, line, parity_pair):
        board = tiny_rope(parity_pair=parity_pair)
        assert sorted(switched(board, f"{line}:always-on")) == [0] * 8 + [1] * 8

    def test_two_lines_open_with_a_parity_pair(self):
        board = tiny_rope(parity_pair=True)
        lines = [f"rope/inhibit/{b}/{v}" for b in ("0", "1", "2", "3", "parity") for v in (0, 1)]
        counts = []
        for i, one in enumerate(lines):
            for other in lines[i + 1 :]:
                counts += switched(board, f"{one}:open & {other}:open")
        assert len(counts) == 720
        assert counts.count(2) == 160
        assert counts.count(1) == 560


def test_two_modules_at_once_are_read_as_their_or():
    m = memory("rope/module/2:always-on", store=ROPE, fill=lambda a: a & 0xFFFF)
    address = 5 << 9
    word = read(m, ROPE, address)
    other = (2 << 12) | (address & 0o7777)
    assert word == encode("odd", 16, address) | encode("odd", 16, other)


def test_late_and_stale_words_are_valid_ones():
    """Case of a strobe missed now and then (bench report, from memory): AA BB AA BB for AA BB CC DD."""
    m = memory("rope/unit:late@after:0o1/0o1", store=ROPE, fill=lambda a: a + 1)
    assert [read(m, ROPE, a) & 0xFFFF for a in range(4)] == [1, 2, 2, 4]


def test_pairs_that_a_plan_would_get_wrong_are_refused():
    for text in (
        "rope/sense/3:stuck-0 & rope/sense/3+4:shorted-or",
        "core/address/1:stuck-0 & core/address/1:stuck-1",
        "core/x/3:open & core/x/3:always-on",
    ):
        with pytest.raises(InputError, match="cannot-combine"):
            plan_of(FULMAR, parse_fault(text, FULMAR))


def test_third_fault_that_opens_too_many_cells_is_refused():
    text = " & ".join(f"rope/strand/{i}:always-on" for i in range(5))
    with pytest.raises(InputError, match="at most 4 cells"):
        plan_of(FULMAR, parse_fault(text, FULMAR))


def test_parts_that_come_and_go_alike_are_both_judged():
    text = "rope/sense/3:stuck-0@5% & rope/sense/3+4:shorted-or@5%"
    with pytest.raises(InputError, match="cannot-combine"):
        plan_of(FULMAR, parse_fault(text, FULMAR))
    fine = plan_of(FULMAR, parse_fault("rope/sense/3:stuck-0@5% & rope/sense/5+6:shorted-or@5%", FULMAR))
    assert len(fine.modes) == 4


def test_order_typed_gives_the_same_plan():
    one = parse_fault("rope/address/10:stuck-0 & core/x/3:open & core/cell/0o17/3:stuck-1@5%", FULMAR)
    other = parse_fault("core/cell/0o17/3:stuck-1@5% & core/x/3:open & rope/address/10:stuck-0", FULMAR)
    assert plan_of(FULMAR, one).digest == plan_of(FULMAR, other).digest
