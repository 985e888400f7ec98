"""What people write of a run, judged against symptoms made by hand."""

import pytest

from emu.load import load_machine
from faults.case.model import Alarm, Failed, Hung, Passed, Printed, Restarts, Stop
from faults.predictions.programs import judge_of
from faults.symptoms import AlarmSeen, LoopSeen, Symptoms

MACHINE = load_machine("fulmar")


def symptoms(
    text="BAD 0017 1 2\n", stop="halt", alarms=(), restarts=0, loop=None, lamps=(), time_ns=10**9, pc=0o6150
):
    outputs = tuple((1, ord(c)) for c in text)
    return Symptoms(stop, pc, loop, alarms, restarts, outputs, lamps, time_ns)


RESTARTING = symptoms(
    "", "loop", (AlarmSeen("watchdog", -1, 5, "", 0),), -1, LoopSeen(0o4000, 0o4010, 2 * 10**9, 1), time_ns=0
)


@pytest.mark.parametrize(
    ("entry", "seen", "passed", "chance"),
    [
        (Passed(program="p"), symptoms(), True, 1.0),
        (Passed(program="p"), symptoms(), False, 0.0),
        (Failed(program="p"), symptoms(), False, 1.0),
        (Failed(program="p"), symptoms(), True, 0.0),
        (Failed(program="p", text="BAD 0017"), symptoms(), False, 1.0),
        (Failed(program="p", text="BAD ??17"), symptoms(), False, 1.0),
        (Failed(program="p", text="BAD  0017  1"), symptoms(), False, 1.0),
        (Failed(program="p", text="BAD 0018"), symptoms(), False, 0.0),
        (Failed(program="p", runs=5, failures=2), symptoms(), False, 0.0),
        (Hung(program="p"), symptoms(), False, 0.0),
        (Hung(program="p"), RESTARTING, False, 0.5),
        (Hung(program="p", within="4000..4020"), RESTARTING, False, 0.5),
        (Hung(program="p", within="5000..5020"), RESTARTING, False, 0.0),
        (Restarts(program="p", every="about 2 s"), RESTARTING, False, 1.0),
        (Restarts(program="p", every="about 5 s"), RESTARTING, False, 0.0),
        (Restarts(program="p", count=30, within="60 s"), RESTARTING, False, 1.0),
        (Restarts(program="p", count=300, within="60 s"), RESTARTING, False, 0.0),
        (Restarts(program="p", count="none"), symptoms(), False, 1.0),
        (Alarm(program="p", alarm="watchdog", count="many"), RESTARTING, False, 0.8),
        (Alarm(program="p", alarm="watchdog", count=1), RESTARTING, False, 0.1),
        (Alarm(program="p", alarm="watchdog", count=3), RESTARTING, False, 0.025),
        (Alarm(program="p", alarm="watchdog", count="1..3"), RESTARTING, False, 0.175),
        (Restarts(program="p", count="at least 2"), RESTARTING, False, 0.8),
        (Alarm(program="p", alarm="parity", count="none"), RESTARTING, False, 1.0),
        (Alarm(program="p", alarm="parity", count="some"), RESTARTING, False, 0.0),
        (Printed(program="p", text="BAD 0017 1 2"), symptoms(), False, 1.0),
        (Printed(program="p", text="BAD", whole=False), symptoms(), False, 1.0),
        (Printed(program="p", text="BAD"), symptoms(), False, 0.0),
        (Printed(program="p", text=""), symptoms(), False, 0.0),
        (Printed(program="p", text=""), RESTARTING, False, 1.0),
        (
            Stop(program="p", lamps="accumulator=0017?7"),
            symptoms(lamps=(("accumulator", 0o1737),)),
            False,
            1.0,
        ),
        (
            Stop(program="p", lamps="accumulator=001777"),
            symptoms(lamps=(("accumulator", 0o1737),)),
            False,
            0.0,
        ),
        (Stop(program="p", lamps="panel=?", address="6150"), symptoms(lamps=(("panel", 0),)), False, 1.0),
        (Stop(program="p", lamps="panel=?", address="6147"), symptoms(lamps=(("panel", 0),)), False, 1.0),
        (Stop(program="p", lamps="panel=?", address="6100"), symptoms(lamps=(("panel", 0),)), False, 0.0),
    ],
)
def test_how_likely_an_entry_is(entry, seen, passed, chance):
    judged = judge_of(entry, MACHINE).look(seen, passed)
    assert judged.chance == pytest.approx(chance)
    assert judged.reason


def test_a_slip_of_one_digit_is_told_from_another_number():
    entry = Failed(program="p", text="BAD 0016 1 2")
    assert judge_of(entry, MACHINE).look(symptoms(), False).wrong == 1
    assert judge_of(Failed(program="p", text="WORSE 1"), MACHINE).look(symptoms(), False).wrong == -1


def test_a_first_alarm_at_an_address_behind_a_window():
    seen = symptoms(alarms=(AlarmSeen("parity", 1, 5, "rope", 0o2017),))
    for first, chance in (("4017", 1.0), ("6017", 0.0), ("40?7", 1.0), ("4016", 0.0)):
        entry = Alarm(program="p", alarm="parity", count=1, first=first)
        assert judge_of(entry, MACHINE).look(seen, False).chance == chance


def test_who_misreads_so_many_runs_writes_any_number_of_failures():
    """The chances of all that could be written of 20 runs, read wrongly, sum as those of one run do."""
    machine = load_machine("fulmar")
    judges = [judge_of(Failed(program="x", runs=20, failures=k), machine) for k in range(1, 21)]
    (one,) = [judge_of(Failed(program="x"), machine)]
    assert sum(j.misread for j in judges) == pytest.approx(one.misread)
    assert sum(j.uniform for j in judges) == pytest.approx(one.uniform)
