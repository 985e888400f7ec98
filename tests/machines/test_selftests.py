"""The self-tests find nothing on a healthy machine, and report what they should on a faulty one.

Long tests are shortened here by testing fewer words; test_selftest_page.py runs all of them whole.
"""

import re
import tomllib

import pytest

from emu.load import load_machine, parse_machine
from emu.where import Source

HEADINGS = ("Finds", "Destroys", "Reports")
FEWER = {
    "fulmar": {".word 3777": ".word 0277", ".word 4000\n": ".word 0300\n"},
    "dunlin": {"LAST = 7777": "LAST = 1177", "LAST = 6777": "LAST = 0177", "FIRST = 0000": "FIRST = 0100"},
    "sandpiper": {"LAST = 0FFFF": "LAST = 04FF", "LAST = 0EFFF": "LAST = 00FF", "0d_2222222": "0d_9999"},
}
QUICK = {
    "fulmar": ["core-address", "core-march", "core-checker", "parity", "bank-switch", "registers"],
    "dunlin": ["march", "march-low", "address", "address-low", "worst", "registers"],
    "sandpiper": ["march", "march-low", "address", "address-low", "check-bits", "registers"],
}
SILENT = {("fulmar", "registers"): "", ("dunlin", "registers"): "", ("sandpiper", "registers"): "OK\n"}


def library_of(library, machine: str) -> list[str]:
    """Return the names of the self-tests of a machine."""
    found = (library.PROGRAMS / machine).glob("selftest-*.asm")
    return sorted(path.stem.removeprefix("selftest-") for path in found)


@pytest.mark.parametrize(("machine", "name"), [(m, n) for m, names in QUICK.items() for n in names])
def test_a_healthy_machine_passes(library, machine, name) -> None:
    """On the walking engine."""
    ran = library.run_program(
        load_machine(machine), f"selftest-{name}", FEWER[machine], engine=library.WALKER
    )
    expected = SILENT.get((machine, name), "END\n" if name == "rope-from-core" else "GOOD\n")
    assert ran.printed == expected
    assert ran.result.stop.kind == "halt"
    assert not ran.alarms
    assert not ran.result.restarts


@pytest.mark.parametrize("machine", QUICK)
def test_every_self_test_says_what_it_finds_destroys_and_reports(library, machine) -> None:
    names = library_of(library, machine)
    assert len(names) >= 10
    for name in names:
        path = library.PROGRAMS / machine / f"selftest-{name}.asm"
        head = path.read_text(encoding="ascii").partition("\n\n")[0]
        assert head.startswith(f"; machine: {machine}\n")
        for heading in HEADINGS:
            assert re.search(rf"^; {heading}: ", head, re.MULTILINE), f"{path.name}: {heading}"
        assembly = library.assembled(load_machine(machine), path)
        assert not assembly.warnings, path.name


# --- fulmar


def fulmar_with(library, name: str, store: str, table, **limits):
    machine = load_machine("fulmar")
    return library.run_program(
        machine, f"selftest-{name}", plan=library.altered(machine, store, table), **limits
    )


def test_two_wrong_bits_slip_through_parity_and_are_compared(library) -> None:
    ran = fulmar_with(library, "core-march", "core", library.stuck_cells([0o1234], 17, ones=0b11))
    assert ran.printed == "BAD 1234 000000 000003\n"
    assert not ran.alarms


def test_one_wrong_bit_restarts_and_is_reported_from_the_registers(library) -> None:
    ran = fulmar_with(library, "core-march", "core", library.stuck_cells([0o1234], 17, zeros=0o100000))
    assert ran.printed == "RST 1234 177777 077777\n"
    assert ran.alarms == {"parity": 1}
    assert ran.result.stop.kind == "halt"


def test_the_background_march_finds_a_stuck_parity_cell_that_the_plain_one_cannot(library) -> None:
    """Zeros and ones have the same parity in a word of 16 bits: the parity cell never changes."""
    table = library.stuck_cells([0o40], 17, ones=1 << 16)
    fewer = {".word 3777": ".word 0077", ".word 4000\n": ".word 0100\n"}
    machine = load_machine("fulmar")
    plan = library.altered(machine, "core", table)
    assert library.run_program(machine, "selftest-core-march", fewer, plan).printed == "GOOD\n"
    ran = library.run_program(machine, "selftest-core-backgrounds", fewer, plan)
    assert ran.printed == "RST 0040 100000 100000\n"


def test_the_parity_test_finds_a_generator_that_is_stuck(library) -> None:
    every = library.stuck_cells(list(range(2048)), 17, zeros=1 << 16, entry=True)
    ran = fulmar_with(library, "parity", "core", every)
    assert ran.printed.startswith("RST 1000 ")
    assert ran.alarms == {"parity": 1}


def test_the_address_test_names_the_word_that_is_reached_twice(library) -> None:
    """Address bit 3 is always 0: word 0 also holds what was written for word 0o10, the last of the two."""
    moves = {a: a & ~0o10 for a in range(2048) if a & 0o10}
    ran = fulmar_with(library, "core-address", "core", library.moved_reads(moves))
    assert ran.printed == "BAD 0000 000000 000010\n"


def test_the_bank_test_names_the_bank_that_is_not_reached(library) -> None:
    """Bit 2 of the bank register reads as 0: bank 4 shows bank 0."""
    moves = {a: a & ~(4 << 10) for a in range(24576) if a >> 10 & 4}
    ran = fulmar_with(library, "bank-switch", "rope", library.moved_reads(moves))
    assert ran.printed == "BAD 0004 000004 000000\n"


WORD = 9 * 1024 + 5  # of the rope: bank 9 is in module 2


def word_of_bank_9(library) -> int:
    assembly = library.assembled(load_machine("fulmar"), library.PROGRAMS / "fulmar" / "gates.asm")
    return assembly.image.segments["rope"].cells[WORD][0]


def test_the_sums_name_bank_and_module(library) -> None:
    """Two ones of a word of bank 9 read 0, so that parity stays right."""
    word = word_of_bank_9(library)
    lowest = word & -word
    next_one = word ^ lowest
    table = library.stuck_cells([WORD], 17, zeros=lowest | next_one & -next_one)
    from_rope = fulmar_with(library, "rope-banks", "rope", table)
    assert from_rope.printed.startswith("BAD 0011 177777 ")
    from_core = fulmar_with(library, "rope-from-core", "rope", table)
    lines = from_core.printed.splitlines()
    assert [line[:17] for line in lines] == ["BAD 000011 177777", "MOD 000002 177777", "END"]
    assert lines[0].endswith(from_rope.printed.strip()[-6:])
    assert not from_core.alarms


def test_the_sums_from_core_go_on_after_a_restart(library) -> None:
    one = word_of_bank_9(library) & -word_of_bank_9(library)
    ran = fulmar_with(library, "rope-from-core", "rope", library.stuck_cells([WORD], 17, zeros=one))
    assert ran.printed == "RST 000011\nEND\n"
    assert ran.alarms == {"parity": 1}


def test_every_bank_of_the_rope_sums_to_negative_zero(library) -> None:
    """The sum of all words modulo 65535 is 0, which the end-around sum of words not all zero writes 177777."""
    for name in ("gates", "selftest-rope-banks", "selftest-rope-from-core", "selftest-bank-switch"):
        assembly = library.assembled(load_machine("fulmar"), library.PROGRAMS / "fulmar" / f"{name}.asm")
        cells = assembly.image.segments["rope"].cells
        for bank in range(24):
            words = [cells.get(bank * 1024 + at, (0, 0))[0] for at in range(1024)]
            assert sum(words) > 0
            assert sum(words) % 65535 == 0, (name, bank)


@pytest.mark.parametrize(
    ("broken", "check"),
    [
        ('does = ["extra = acc"]|does = ["extra = acc & 0o177776"]', 1),
        ('does = ["index = acc[11..0]"]|does = ["index = acc[11..0] & 0o3777"]', 3),
        ('does = ["link = acc[11..0]"]|does = ["link = acc[11..0] & 0o7776"]', 4),
        ('does = ["bank = acc[4..0]"]|does = ["bank = acc[4..0] & 0o17"]', 5),
        ('"acc = acc + word"|"acc = wrap_add(acc, word)"', 6),
    ],
)
def test_the_register_test_shows_which_check_failed(library, broken, check) -> None:
    """A machine file in which one register or the adder is broken."""
    text = (library.PROGRAMS.parent / "emu" / "machines" / "fulmar.toml").read_text(encoding="utf-8")
    old, new = broken.split("|")
    assert text.count(old) == 1
    ran = library.run_program(
        parse_machine(Source("fulmar.toml", text.replace(old, new))), "selftest-registers"
    )
    assert ran.result.lamps["panel"] == check


# --- dunlin


def test_dunlin_lists_the_bad_words_and_lamps_how_it_ended(library) -> None:
    machine = load_machine("dunlin")
    plan = library.altered(machine, "core", library.stuck_cells([0o1100], 12, ones=0o20))
    ran = library.run_program(machine, "selftest-march", FEWER["dunlin"], plan)
    assert ran.printed == "BAD 1100 0000 0020\n" * 3
    assert ran.result.lamps["mark"] == 1
    many = library.altered(machine, "core", library.stuck_cells(list(range(0o1000, 0o1200)), 12, zeros=1))
    ran = library.run_program(machine, "selftest-march", FEWER["dunlin"], many)
    assert ran.printed.splitlines() == [f"BAD {0o1000 + n:04o} 7777 7776" for n in range(8)]
    assert ran.result.lamps["mark"] == 2


def test_the_two_dunlin_tests_look_at_all_of_core_between_them(library) -> None:
    """A stuck bit anywhere is found by the one or the other (a sample of words)."""
    machine = load_machine("dunlin")
    for word in (0o0777, 0o0000, 0o7000, 0o7777):
        plan = library.altered(machine, "core", library.stuck_cells([word], 12, ones=0o4000, zeros=0))
        name = "selftest-address" if word >= 0o1000 else "selftest-address-low"
        where = (
            {"FIRST = 1000": f"FIRST = {word & 0o7700:o}", "LAST = 7777": f"LAST = {word | 0o77:o}"}
            if word >= 0o1000
            else {"FIRST = 0000": f"FIRST = {word & 0o7700:o}", "LAST = 6777": f"LAST = {word | 0o77:o}"}
        )
        ran = library.run_program(machine, name, where, plan)
        assert f"BAD {word:04o}" in ran.printed


# --- sandpiper


def test_sandpiper_mends_one_wrong_bit_and_stops_at_two(library) -> None:
    machine = load_machine("sandpiper")
    bits = machine.store("chips").bits
    one = library.altered(machine, "chips", library.stuck_cells([0x444], bits, ones=1 << 7))
    ran = library.run_program(machine, "selftest-march", FEWER["sandpiper"], one)
    assert ran.printed == "GOOD\n"
    assert ran.alarms == {"mended": 3}, "three of five reads of the word want a 0 there"
    two = library.altered(machine, "chips", library.stuck_cells([0x444], bits, ones=1 << 7 | 1 << 9))
    ran = library.run_program(machine, "selftest-march", FEWER["sandpiper"], two)
    assert ran.alarms == {"memory": 1}
    assert ran.result.stop.kind == "alarm-halt"


def test_sandpiper_names_the_words_that_are_reached_twice(library) -> None:
    machine = load_machine("sandpiper")
    moves = {a: a & ~0x40 for a in range(0x400, 0x500) if a & 0x40}
    plan = library.altered(machine, "chips", library.moved_reads(moves))
    ran = library.run_program(machine, "selftest-address", FEWER["sandpiper"], plan)
    assert ran.printed.splitlines()[0] == "BAD 000400 ff0400 bf0440"
    assert len(ran.printed.splitlines()) == 8
    assert not ran.alarms


# --- the worst pattern is that of the board


@pytest.mark.parametrize(("machine", "first", "last"), [("fulmar", 0, 0o3777), ("dunlin", 0o1000, 0o7777)])
def test_the_worst_pattern_has_ones_where_the_sense_wire_of_the_board_runs_one_way(
    library, machine, first, last
):
    """All zeros and all ones by the parity of the address bits that the board file calls its winding."""
    board = library.PROGRAMS.parent / "faults" / "boards" / "files" / f"{machine}.board.toml"
    stores = tomllib.loads(board.read_text(encoding="utf-8"))["store"]
    winding = next(store["winding"] for store in stores if store["store"] == "core")
    bits = [int(bit) for bit in winding.split(",")]
    ran = library.run_program(
        load_machine(machine), "selftest-worst" if machine == "dunlin" else "selftest-core-worst"
    )
    words = ran.words("core")[first : last + 1]
    ways = [sum(address >> bit & 1 for bit in bits) & 1 for address in range(first, last + 1)]
    by_way = {way: {word for word, w in zip(words, ways, strict=True) if w == way} for way in (0, 1)}
    full = (1 << ran.assembly.machine.word.bits) - 1
    assert by_way in ({0: {0}, 1: {full}}, {0: {full}, 1: {0}})
