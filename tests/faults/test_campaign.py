"""Campaigns: exact against running everything from power-up, the same however cut up, and resumable."""

import contextlib
import hashlib
import os
import re
import signal
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np
import pytest
from attrs import evolve

from emu.assemble import assemble
from emu.engine.seen import write_record
from emu.engine.walker import Walker
from emu.errors import InputError
from emu.load import parse_machine
from emu.where import Source
from faults.boards import load_board
from faults.campaign import CampaignStoppedError, get_ready, kept_pairs, run_campaign
from faults.fault import Fault
from faults.grade import WHY, Grader, Verdict, smallest_set
from faults.kinds import all_kinds
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.records import symptoms_of_record, without_times
from faults.results import MAGIC, ResultsFile, index_of, packed, unpacked
from faults.screen import Reason
from faults.symptoms import symptoms_of
from faults.universe import FaultList, Listed, Universe, universe_of
from faults.worker import kernels_of, prepared, run_chunk
from faults.workings import workings_digest
from faults.workload import Conditions, Grouping, Job, Program

MACHINE = """
format = "machine/1"
name = "tern"
doc = "A machine of thirty-two words, small enough to try everything."
[word]
bits = 8
arithmetic = "twos"
base = 8
numbering = "lsb0"
[address]
bits = 5
[[register]]
name = "acc"
bits = 8
[[register]]
name = "at"
bits = 5
[[register]]
name = "pc"
bits = 5
[fetch]
counter = "pc"
start = 0
step = 1
unknown = "alarm stray"
[[store]]
name = "rom"
words = 24
protection = "none"
writable = false
destructive = false
cycle_ns = 1000
doc = "Programs."
[[store]]
name = "ram"
words = 8
protection = "odd"
writable = true
destructive = true
alarm = "parity"
cycle_ns = 1000
doc = "What is tested."
[[window]]
first = 0
last = 23
store = "rom"
[[window]]
first = 24
last = 31
store = "ram"
[[alarm]]
name = "parity"
action = "PARITY"
[[alarm]]
name = "stray"
action = "halt"
RESTART
[watchdog]
period_ns = 400000
alarm = "parity"
[[port]]
number = 1
name = "printer"
direction = "out"
bits = 7
shows = "character"
[[lamp]]
name = "acc"
shows = "acc"
[[lamp]]
name = "parity"
shows = "alarm:parity"
[[field]]
letter = "a"
name = "address"
kind = "address"
[[field]]
letter = "n"
name = "number"
kind = "number"
[[instruction]]
name = "read"
bits = "000 aaaaa"
does = ["acc = M[at]", "at = at + a"]
example = { text = "read 1", word = 1 }
[[instruction]]
name = "write"
bits = "001 aaaaa"
does = ["M[at] = acc", "at = at + a"]
example = { text = "write 1", word = 0o41 }
[[instruction]]
name = "point"
bits = "010 aaaaa"
does = ["at = a"]
example = { text = "point 3", word = 0o103 }
[[instruction]]
name = "set"
bits = "011 nnnnn"
does = ["acc = extend(n, 8)"]
example = { text = "set 3", word = 0o143 }
[[instruction]]
name = "flip"
bits = "100 nnnnn"
does = ["acc = ~acc"]
example = { text = "flip 0", word = 0o200 }
[[instruction]]
name = "back"
bits = "101 aaaaa"
does = ["if at != 0 { pc = a }"]
example = { text = "back 3", word = 0o243 }
[[instruction]]
name = "good"
bits = "110 aaaaa"
does = ["if acc != 0 { P[1] = 66; halt }", "pc = a"]
example = { text = "good 3", word = 0o303 }
[[instruction]]
name = "end"
bits = "111 nnnnn"
does = ["P[1] = 71", "halt"]
example = { text = "end 0", word = 0o340 }
"""
# writes all ones up, reads and clears them, reads zeros; at wraps to 0 after the last word
MARCH = """
        point 30
        set 0
        flip 0
fill:   write 1
        back fill
        point 30
look:   read 0
        flip 0
        good on
on:     write 1
        back look
        point 30
last:   read 1
        good next
next:   back last
        end 0
"""
# never reads what it writes; goes round for ever
ENDLESS = """
        point 30
        set 5
loop:   write 0
        set 3
        write 1
        back loop
        point 30
        set 5
        read 1
        point 30
        back loop
"""


def tern(parity: str = "restart"):
    restart = '[restart]\naddress = 0\nclears = ["acc"]\ndelay_ns = 500\n' if parity == "restart" else ""
    return parse_machine(Source("tern.toml", MACHINE.replace("PARITY", parity).replace("RESTART", restart)))


def job(machine, text: str, **conditions: object) -> Job:
    image = assemble(Source("t.asm", text), machine).image
    return Job(machine, Program("t", image), Conditions(spare=200, watched=400, **conditions))


def every_fault(machine, region: tuple[int, int] | None = (6, 7)):
    """Return every fault of every kind, couplings of neighbouring cells too; cells: of the region only."""
    return universe_of(load_board(machine), kinds=list(all_kinds()), region=region)


def _exact(machine, text: str, power_up: str, region: tuple[int, int] | None) -> int:
    """Run every group from power-up by the readable engine; return how many there were."""
    universe, work = every_fault(machine, region), job(machine, text, power_up=power_up)
    campaign = run_campaign(universe, [work], workers=1, jit=False)
    limits = prepared(work, jit=False).profile.request
    for group, first in enumerate(campaign.grouping.first.tolist()):
        fault = universe.faults[first]
        result = Walker().run(evolve(limits, plan=plan_of(universe.board, fault)))
        record = campaign.records[campaign.seen[0, group]]
        told = symptoms_of_record(machine, record), symptoms_of(machine, result)
        assert record == write_record(machine, result), (fault, *told)
    return len(campaign.grouping)


CASES = [("halt", MARCH, "zeros"), ("restart", MARCH, "seeded"), ("restart", ENDLESS, "zeros")]


@pytest.mark.parametrize(("parity", "text", "power_up"), CASES)
def test_screening_is_exact_over_a_tiny_universe(parity: str, text: str, power_up: str) -> None:
    assert _exact(tern(parity), text, power_up, (6, 6)) > 200


@pytest.mark.slow
def test_screening_is_exact_over_the_whole_universe() -> None:
    assert _exact(tern(CASES[1][0]), *CASES[1][1:], None) > 7_000


def test_grade_equals_brute_force() -> None:
    machine = tern("halt")
    universe, work = every_fault(machine, (6, 6)), job(machine, MARCH)
    campaign = run_campaign(universe, [work], workers=1, jit=False)
    grade = Grader(campaign, re.compile("B")).grade()
    limits = prepared(work, jit=False).profile.request
    healthy = symptoms_of(machine, Walker().run(limits))
    found = reported = 0
    for fault in universe.faults:
        seen = symptoms_of(machine, Walker().run(evolve(limits, plan=plan_of(universe.board, fault))))
        found += without_times(seen) != without_times(healthy)
        reported += "B" in seen.printed(1)
    assert 0 < reported < found < len(universe)
    assert (grade.union.tally.found, grade.union.tally.reported) == (found, reported)
    assert sum(e.count for e in grade.union.escapes) == len(universe) - found
    assert sum(t.total for _, t in grade.union.by_kind) == len(universe)
    assert sum(t.found for _, t in grade.union.by_site) == found


def _content(campaign) -> str:
    parts = campaign.seen.tobytes() + campaign.reasons.tobytes() + b"|".join(campaign.records)
    return hashlib.sha256(parts).hexdigest()


def test_any_number_of_workers_gives_the_same_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("faults.workload.CELLS_PER_CHUNK", 32)
    monkeypatch.setattr("faults.workload.PLANS_PER_CHUNK", 16)
    machine = tern()
    universe, jobs = (
        every_fault(machine),
        [job(machine, MARCH), job(machine, MARCH, seed=3, power_up="seeded")],
    )
    one = run_campaign(universe, jobs, workers=1, jit=False)
    three = run_campaign(universe, jobs, workers=3, jit=False)
    with ThreadPoolExecutor(2) as pool:
        given = run_campaign(universe, jobs, executor=pool, jit=False)
    assert _content(one) == _content(three) == _content(given)


class Breaking(ThreadPoolExecutor):
    """An executor at which somebody presses Ctrl-C after a few chunks."""

    left = 5

    def submit(self, *args: object, **kwargs: object) -> "Future[object]":
        self.left -= 1
        if not self.left:
            raise KeyboardInterrupt
        return super().submit(*args, **kwargs)


def test_a_campaign_that_was_stopped_goes_on_where_it_was(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("faults.workload.CELLS_PER_CHUNK", 16)
    monkeypatch.setattr("faults.workload.PLANS_PER_CHUNK", 16)
    monkeypatch.setattr("faults.campaign.PER_WORKER", 1)
    machine = tern()
    universe, jobs = universe_of(load_board(machine)), [job(machine, MARCH)]
    whole = run_campaign(universe, jobs, workers=1, jit=False)
    file = tmp_path / "kept"
    with Breaking(1) as pool, pytest.raises(CampaignStoppedError) as stopped:
        run_campaign(universe, jobs, executor=pool, workers=1, results=file, jit=False)
    assert stopped.value.kept == file
    file.write_bytes(file.read_bytes() + b"part" + b"\0" * 50)  # killed while it wrote
    told = []
    again = run_campaign(universe, jobs, workers=1, results=file, watcher=told.append, jit=False)
    assert _content(again) == _content(whole)
    third = run_campaign(universe, jobs, workers=1, results=file, watcher=told.append, jit=False)
    assert _content(third) == _content(whole)
    assert third.runs == whole.runs
    assert told[-1].done == told[-1].total or told


def test_an_interrupt_that_is_lost_while_compiling_is_raised_afterwards(monkeypatch) -> None:
    """Python drops exceptions in what C calls back, and the compiler does call back."""

    def deaf(*_: object, **__: object) -> None:
        with contextlib.suppress(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr("faults.campaign.compile_kernel", deaf)
    monkeypatch.setattr(signal, "getsignal", lambda _: signal.default_int_handler)
    machine = tern()
    with pytest.raises(CampaignStoppedError):
        run_campaign(universe_of(load_board(machine), False), [job(machine, MARCH)], workers=1, jit=False)
    monkeypatch.setattr("faults.campaign.prepared", deaf)
    with pytest.raises(KeyboardInterrupt):
        get_ready([job(machine, MARCH)], jit=False)


def test_only_what_is_called_is_compiled() -> None:
    """Cells have a loop of their own; plans that only change words that last are run without one."""
    grouping = Grouping(every_fault(tern()))
    assert {kernel for chunk in grouping.cell_chunks() for kernel in kernels_of(chunk)} == {"cells"}
    assert {kernel for chunk in grouping.other_chunks() for kernel in kernels_of(chunk)} == {"tables", "full"}
    board = load_board(tern())
    for text, kernels in (("rom/data/3:stuck-1", set()), ("ram/cell/0o6/0:stuck-1", {"tables"})):
        chosen = Universe(board, FaultList((Listed((parse_fault(text, board),)),)))
        assert {k for chunk in Grouping(chosen).other_chunks() for k in kernels_of(chunk)} == kernels


def test_results_of_another_program_are_not_used(tmp_path) -> None:
    machine, file = tern(), tmp_path / "kept"
    universe = universe_of(load_board(machine), False)
    run_campaign(universe, [job(machine, MARCH)], workers=1, results=file, jit=False)
    other = job(machine, MARCH.replace("end 0", "end 1"))
    fresh = run_campaign(universe, [other], workers=1, jit=False)
    assert _content(run_campaign(universe, [other], workers=1, results=file, jit=False)) == _content(fresh)


def test_an_outcome_survives_packing_and_a_torn_file_is_cut(tmp_path) -> None:
    machine = tern()
    universe, work = universe_of(load_board(machine), False), job(machine, MARCH)
    run_campaign(universe, [work], workers=1, results=tmp_path / "kept", jit=False)
    with ResultsFile(tmp_path / "kept") as kept:
        names = list(kept.known)
        outcome = kept.get(names[0])
    assert outcome is not None
    assert packed(unpacked(packed(outcome))) == packed(outcome)
    data = (tmp_path / "kept").read_bytes()
    for cut in (3, len(MAGIC), len(MAGIC) + 7, len(data) - 1):
        (tmp_path / "torn").write_bytes(data[:cut])
        with ResultsFile(tmp_path / "torn") as torn:
            assert set(torn.known) <= set(names)
            assert len(torn.known) < len(names)
            torn.put(names[0], outcome)
        with ResultsFile(tmp_path / "torn") as torn:
            assert packed(torn.get(names[0])) == packed(outcome)  # type: ignore[arg-type]


def _small_parts(tmp_path, monkeypatch: pytest.MonkeyPatch):
    """Return a campaign of many parts as a function of the file that keeps them, and that file, filled."""
    monkeypatch.setattr("faults.workload.PLANS_PER_CHUNK", 8)
    machine = tern()
    universe, jobs = universe_of(load_board(machine), False), [job(machine, MARCH)]

    def run(file, **rest: object):
        told, said = [], []
        found = run_campaign(
            universe, jobs, workers=1, results=file, watcher=told.append, warn=said.append, jit=False, **rest
        )
        return _content(found), told[-1] if told else None, said

    file = tmp_path / "kept"
    run(file)
    return run, file


@pytest.mark.parametrize("where", ["mark", "length", "checksum", "id", "data", "first", "last"])
def test_one_flipped_byte_costs_one_part(where: str, tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    run, file = _small_parts(tmp_path, monkeypatch)
    whole, data = run(file)[0], bytearray(file.read_bytes())
    index = index_of(file)
    places = sorted(index.known.values())
    assert len(places) > 10
    assert not index.damaged
    start, length = places[{"first": 0, "last": -1}.get(where, len(places) // 2)]
    offsets = {
        "mark": -43,
        "length": -39,
        "checksum": -34,
        "id": -7,
        "first": 3,
        "last": 3,
        "data": length // 2,
    }
    data[start + offsets[where]] ^= 16
    file.write_bytes(data)
    assert len(index_of(file).known) == len(places) - 1
    content, last, said = run(file)
    assert content == whole
    assert last is not None
    assert 0 < last.total - last.kept <= 8  # one part was worked out again
    assert len(said) == 1
    assert f"{length + 44:,} bytes in 1 place" in said[0]
    assert f"the {len(places) - 1} whole parts are kept" in said[0]
    assert len(file.read_bytes()) == len(data)  # the damaged part is gone, a whole one is there
    again, last, said = run(file)
    assert (again, said) == (whole, [])
    assert last is None  # nothing was left to do


def test_files_that_are_joined_are_read_and_what_lies_between_is_not(
    tmp_path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, file = _small_parts(tmp_path, monkeypatch)
    data = file.read_bytes()
    places = sorted(index_of(file).known.values())
    middle = places[5][0] - 44
    joined = tmp_path / "joined"
    joined.write_bytes(MAGIC + data[middle:] + data[:middle])  # first line and all
    index = index_of(joined)
    assert len(index.known) == len(places)
    assert not index.damaged
    joined.write_bytes(data[:middle] + b"part" * 20 + data[middle:] + b"part")
    joined.chmod(0o640)
    before = joined.read_bytes()
    assert len(index_of(joined).damaged) == 2
    assert joined.read_bytes() == before  # a look changes nothing
    with ResultsFile(joined) as kept:
        assert len(kept.known) == len(places)
        assert "84 bytes in 2 places" in kept.damage
    assert joined.read_bytes() == data
    assert joined.stat().st_mode & 0o777 == 0o640
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_results_that_other_code_has_kept_are_not_used(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    run, file = _small_parts(tmp_path, monkeypatch)
    whole, last, _ = run(file)
    assert last is None  # all of it was kept
    monkeypatch.setattr("faults.workload.workings_digest", lambda: "another version")
    machine = tern()
    told = []
    universe = universe_of(load_board(machine), False)
    found = run_campaign(
        universe, [job(machine, MARCH)], workers=1, results=file, watcher=told.append, jit=False
    )
    assert _content(found) == whole
    assert told[-1].kept == 0


def test_a_worker_with_other_code_is_refused() -> None:
    machine = tern()
    chunk = next(Grouping(universe_of(load_board(machine), False)).other_chunks())
    assert run_chunk(chunk, [job(machine, MARCH)], jit=False, workings=workings_digest())
    with pytest.raises(InputError, match="cluster-version"):
        run_chunk(chunk, [job(machine, MARCH)], jit=False, workings="another version")


def test_a_plan_says_what_is_kept(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    run, file = _small_parts(tmp_path, monkeypatch)
    machine = tern()
    grouping = Grouping(universe_of(load_board(machine), False))
    grouping.complete()
    jobs = [job(machine, ENDLESS), job(machine, MARCH)]
    assert kept_pairs(grouping, jobs, file).tolist() == [0, len(grouping)]
    start, _ = sorted(index_of(file).known.values())[3]
    data = bytearray(file.read_bytes())
    data[start] ^= 1
    file.write_bytes(data)
    other, kept = kept_pairs(grouping, jobs, file).tolist()
    assert other == 0
    assert 0 < len(grouping) - kept <= 8  # one part
    assert file.read_bytes() == data
    assert kept_pairs(grouping, jobs, tmp_path / "none").tolist() == [0, 0]
    assert not (tmp_path / "none").exists()
    assert kept_pairs(grouping, jobs, None).tolist() == [0, 0]
    run(file)
    assert kept_pairs(grouping, jobs, file).tolist() == [0, len(grouping)]


@pytest.mark.skipif(os.name == "nt", reason="files are not locked there")
def test_two_campaigns_do_not_write_to_one_file(tmp_path) -> None:
    with ResultsFile(tmp_path / "kept"):
        before = (tmp_path / "kept").read_bytes()
        with pytest.raises(InputError, match="results-in-use"):
            ResultsFile(tmp_path / "kept")
        assert (tmp_path / "kept").read_bytes() == before
        assert not index_of(tmp_path / "kept").damaged  # but anybody may look
    with ResultsFile(tmp_path / "kept") as again:
        assert not again.known


def test_a_file_of_somebody_else_is_left_alone(tmp_path) -> None:
    for text in (b"x", b"corewright results/9\n" + bytes(50), MAGIC[:-1] + b"!"):
        (tmp_path / "theirs").write_bytes(text)
        with pytest.raises(InputError, match="not-results"):
            ResultsFile(tmp_path / "theirs")
        assert (tmp_path / "theirs").read_bytes() == text


def test_groups_are_those_of_the_universe() -> None:
    universe = every_fault(tern())
    grouping = Grouping(universe)
    grouping.complete()
    groups = universe.collapse()
    assert len(grouping) == len(groups)
    numbers = {f: i for i, f in enumerate(universe.faults)}
    for group in groups:
        assert len({int(grouping.of_fault[numbers[f]]) for f in group.faults}) == 1
    assert sorted(grouping.of_fault[grouping.first].tolist()) == list(range(len(grouping)))


def test_reasons_say_why_a_fault_shows_nothing() -> None:
    machine = tern("halt")
    universe, work = universe_of(load_board(machine)), job(machine, MARCH)
    campaign = run_campaign(universe, [work], workers=1, jit=False)
    numbers = {f: i for i, f in enumerate(universe.faults)}

    def reason(text: str) -> Reason:
        group = campaign.grouping.of_fault[numbers[parse_fault(text, universe.board)]]
        return Reason(int(campaign.reasons[0, group]))

    assert reason("rom/cell/0o27/0:stuck-1") is Reason.NEVER_READ
    assert reason("ram/cell/0o6/0:stuck-0") is Reason.NONE
    assert reason("rom/cell/0o0/4:stuck-1") is Reason.ONE_VALUE  # 'point 30' has that bit anyway


def test_a_fault_that_did_not_come_is_missed_by_chance() -> None:
    """Each answer is held against the readable engine, with the gate as it is and with the fault always there."""
    machine = tern("halt")
    board, work = load_board(machine), job(machine, MARCH)
    expected = {
        "ram/cell/0o6/0:stuck-0@0.000001%": Reason.CHANCE,  # drawn once in 100,000,000 accesses
        "ram/cell/0o6/0:stuck-0@open:1us,closed:1000s": Reason.CHANCE,
        "ram/cell/0o6/0:stuck-0@100%": Reason.NONE,
        "ram/cell/0o6/0:stuck-0@0.000001%@when:warm": Reason.ABSENT,  # it is cold
        "ram/cell/0o6/0:stuck-0@accesses:900000..900001": Reason.MASKED,  # no chance in that: it was too late
        "rom/cell/0o0/4:stuck-1@0.000001%": Reason.ONE_VALUE,  # it would not show if it came
        "rom/cell/0o27/0:stuck-1@0.000001%": Reason.NEVER_READ,
    }
    faults = tuple(parse_fault(text, board) for text in expected)
    campaign = run_campaign(Universe(board, FaultList((Listed(faults),))), [work], workers=1, jit=False)
    reasons = campaign.reasons[0, campaign.grouping.of_fault].tolist()
    assert dict(zip(expected, map(Reason, reasons), strict=True)) == expected
    limits = prepared(work, jit=False).profile.request
    healthy = symptoms_of(machine, Walker().run(limits))
    for fault, reason in zip(faults, expected.values(), strict=True):
        always = Fault(tuple(evolve(part, gates=()) for part in fault.parts))
        here, steady = (
            symptoms_of(machine, Walker().run(evolve(limits, plan=plan_of(board, f))))
            for f in (fault, always)
        )
        assert (here != healthy) == (reason is Reason.NONE)
        assert reason is not Reason.CHANCE or steady != healthy
        assert reason is not Reason.ONE_VALUE or steady == healthy
    escapes = {e.reason: e.count for e in Grader(campaign, re.compile("B")).grade().union.escapes}
    assert escapes.pop(Reason.CHANCE) == 2
    assert all(WHY[reason] for reason in Reason if reason is not Reason.NONE)


def test_gates_of_chance_can_be_taken_for_open() -> None:
    """An opened gate leaves the plan; the others stay, and what is there is what was there with it open."""
    board = load_board(tern())
    fault = parse_fault("ram/cell/0o6/0:stuck-0@5%@accesses:3..9 & ram/cell/0o7/1:stuck-1@20%", board)
    plan = plan_of(board, fault)
    left = parse_fault("ram/cell/0o6/0:stuck-0@accesses:3..9 & ram/cell/0o7/1:stuck-1", board)
    assert plan.with_open({"chance"}).digest == plan_of(board, left).digest
    assert plan.with_open({"contact"}) is plan


def test_only_some_groups_can_be_run_again() -> None:
    machine = tern()
    universe, work = universe_of(load_board(machine)), job(machine, MARCH)
    whole = run_campaign(universe, [work], workers=1, jit=False)
    only = np.arange(len(whole.grouping)) % 3 == 0
    part = run_campaign(universe, [work], only=only, grouping=whole.grouping, workers=1, jit=False)
    for group in range(len(whole.grouping)):
        wanted = whole.seen[0, group] if only[group] else whole.healthy[0]
        assert part.records[part.seen[0, group]] == whole.records[wanted]


def test_the_smallest_set_is_the_smallest() -> None:
    found = np.array([[1, 1, 0, 0, 0], [0, 1, 1, 0, 0], [0, 0, 1, 1, 0], [1, 0, 0, 1, 0]], bool)
    assert smallest_set(found, [5, 1, 5, 1]) == ((1, 3), True)  # two do it twice: the quicker pair
    assert smallest_set(np.zeros((2, 3), bool), [1, 1]) == ((), True)
    many = np.eye(20, dtype=bool)
    assert smallest_set(many, [1] * 20) == (tuple(range(20)), False)
    assert Verdict.ESCAPES == 0
