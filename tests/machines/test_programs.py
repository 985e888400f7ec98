"""The operational programs print what they should, and fulmar adds as the Internet checksum asks."""

import math
from itertools import permutations

import pytest

from emu.load import load_machine

OPERATIONAL = [("fulmar", "gates"), ("dunlin", "tides"), ("sandpiper", "logger")]


@pytest.mark.parametrize("engine", ["WALKER", "GENERATED"])
@pytest.mark.parametrize(("machine", "name"), OPERATIONAL)
def test_an_operational_program_prints_its_log(library, machine, name, engine) -> None:
    ran = library.run_program(load_machine(machine), name, engine=getattr(library, engine))
    expected = library.PROGRAMS / machine / f"{name}.expected"
    assert ran.printed == expected.read_text(encoding="ascii")
    assert ran.result.stop.kind == "halt"
    assert not ran.alarms
    assert not ran.result.restarts
    assert not ran.assembly.warnings


def test_the_gates_move_one_at_a_time_outer_ones_first(library) -> None:
    ran = library.run_program(load_machine("fulmar"), "gates")
    moved = [word for _, port, word in ran.result.outputs if port == 2 and word]
    lower, raised = [0o200, 0o2, 0o40, 0o10], [0o100, 0o1, 0o20, 0o4]  # gates 4, 1, 3, 2
    assert moved == [*lower, *lower, *raised, *raised]
    last = [word for _, port, word in ran.result.outputs if port == 2][-1]
    assert last == 0, "the motors are left at rest"


def test_a_core_failure_restarts_the_gate_sequence_with_motors_at_rest(library) -> None:
    machine = load_machine("fulmar")
    core = machine.store("core")
    plan = library.altered(machine, "core", library.stuck_cells([1], core.bits, ones=1))  # the word `sea`
    ran = library.run_program(machine, "gates", plan=plan, max_restarts=3)
    assert ran.result.stop.kind == "restarts"
    assert ran.alarms == {"parity": 3}
    assert "RESTART 001\n" in ran.printed
    assert "RESTART 002\n" in ran.printed
    assert "RESTART 003\n" not in ran.printed
    restarted = ran.result.restart_times_ns[0]
    first = next((port, word) for time, port, word in ran.result.outputs if time > restarted)
    assert first == (2, 0)


def test_a_hanging_gate_sequence_is_restarted_by_the_watchdog(library) -> None:
    changes = {"\nnext_round:\n        rearm\n": "\nnext_round:\n        jump next_round\n"}
    ran = library.run_program(load_machine("fulmar"), "gates", changes, max_restarts=1, stop_on_loop=False)
    assert ran.alarms == {"watchdog": 1}
    assert 2_000_000_000 <= ran.result.restart_times_ns[0] < 2_010_000_000


def test_the_tide_table_is_the_sum_of_its_waves(library) -> None:
    """The heights against a sum of sines with the true periods (12.4206, 12 and 12.6583 hours).

    The program's angles gain a rounded 1/4096 of a turn each hour and its sine has 64 steps: a few centimetres.
    """
    printed = library.run_program(load_machine("dunlin"), "tides").printed
    heights = {int(line[:2]): int(line[2:]) for line in printed.splitlines()}
    assert list(heights) == list(range(24))
    waves = [(156, 12.4206, 1310), (52, 12, 620), (30, 12.6583, 2900)]
    for hour, height in heights.items():
        hours = 3 * 24 + hour
        exact = sum(a * math.sin(2 * math.pi * (start / 4096 + hours / period)) for a, period, start in waves)
        assert abs(height - exact) < 14


def test_the_logger_averages_six_readings(library) -> None:
    """The lines that the log is expected to hold, against the readings (the program is run by the test above)."""
    folder = library.PROGRAMS / "sandpiper"
    offered = library.inputs_for(load_machine("sandpiper"), folder / "logger.inputs")[3]
    readings = [word - (1 << 24) if word >> 23 else word for word in offered]
    lines = (folder / "logger.expected").read_text(encoding="ascii").splitlines()
    means = [line for line in lines if line.startswith("MEAN")]
    for line, group in zip(means, (readings[:6], readings[6:12]), strict=True):
        mean = math.trunc(sum(group) / 6)
        assert line == f"MEAN {mean:+05d} HIGHEST {max(group):+05d} LOWEST {min(group):+05d}"


def fulmar_sum(library, words) -> int:
    """Add words with fulmar's `add`, from the left, and return the accumulator."""
    table = ", ".join(f"0o{word:o}" for word in words)
    adds = "\n".join(f"add words + 0d{number}" for number in range(1, len(words)))
    text = f"; machine: fulmar\n.at 6000\nload words\n{adds}\nstop\nwords: .word {table}\n"
    acc = library.run_text(load_machine("fulmar"), text).result.registers["acc"]
    assert isinstance(acc, int)
    return acc


def test_the_worked_example_of_rfc_1071(library) -> None:
    """RFC 1071 (Braden, Borman, Partridge, 1988), section 3: 0001 f203 f4f5 f6f7 add up to ddf2, in any order;
    the byte-swapped words add up to the byte-swapped sum f2dd.
    """
    words = (0x0001, 0xF203, 0xF4F5, 0xF6F7)
    assert {fulmar_sum(library, order) for order in permutations(words)} == {0xDDF2}
    swapped = [word >> 8 | (word & 0xFF) << 8 for word in words]
    assert fulmar_sum(library, swapped) == 0xF2DD


def test_the_header_checksum_that_is_shown_everywhere(library) -> None:
    """The IPv4 header 4500 0073 0000 4000 4011 b861 c0a8 0001 c0a8 00c7, a widely used worked example."""
    header = [0x4500, 0x0073, 0x0000, 0x4000, 0x4011, 0xB861, 0xC0A8, 0x0001, 0xC0A8, 0x00C7]
    assert fulmar_sum(library, header) == 0xFFFF
    assert fulmar_sum(library, [w for w in header if w != 0xB861]) == 0xFFFF ^ 0xB861


@pytest.mark.parametrize(
    ("words", "total"),
    [
        ((0, 0), 0),  # +0 comes only from +0 and +0
        ((0, 0xFFFF), 0xFFFF),
        ((0xFFFF, 0xFFFF), 0xFFFF),
        ((0xFFFF, 1), 1),
        ((0x1234, 0xEDCB), 0xFFFF),  # a word and its complement
        ((0x7FFF, 0x7FFF), 0xFFFE),
        ((0x8000, 0x8000), 0x0001),
    ],
)
def test_negative_zero(library, words, total) -> None:
    """Ones' complement with an additive adder, by definition."""
    assert fulmar_sum(library, words) == total
