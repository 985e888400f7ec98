"""What the head of a self-test says that it finds, it finds: held against a grade over the sites named there.

The kinds are those that the heads name in the trade's words; ``parity`` is left out where the head says so.
"""

import re

import pytest
from attrs import evolve, frozen

from emu.engine.compiled import CompiledEngine, have_numba
from emu.engine.contract import RunRequest
from emu.load import load_machine
from emu.shipped import find_program
from faults.boards import load_board
from faults.campaign import run_campaign
from faults.cli.reading import read_program
from faults.grade import Grader, Verdict
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault
from faults.universe import universe_of
from faults.workload import Job, Program

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not have_numba(), reason="thousands of long runs: needs the extra 'fast'"),
]
LINES = "open|stuck-[01]|shorted-(or|and)|dead|always-on"
SELECTION = rf"core/([xy]|address|[xy]-(driver|write)-[ab])/.*:({LINES})"
CLAIMS = {
    "fulmar": {
        "core-address": SELECTION,
        "core-backgrounds": rf"core/(sense|inhibit|data|rewrite|address|[xy])\b.*:({LINES})",
        "core-checker": r"core/(data|sense)/(?!parity).*:(stuck-[01]|shorted-(or|and))",
        "core-march": rf"{SELECTION}|core/rewrite:.*|core/(sense|inhibit|data)/(?!parity)[^+]*:({LINES})",
        "core-walking": rf"core/(sense|inhibit|data)/(?!parity).*:({LINES})",
        "core-worst": r"core/strobe:.*|core/sense/(?!parity).*:weak-(ones|zeros)",
        "parity": r"core/(sense|inhibit|data)/parity:(open|stuck-[01]|always-on)",
        "bank-switch": rf"rope/address/(1[0-4])(\+1[0-4])?:({LINES}|swapped)",
        "rope-banks": rf"rope/(sense|strobe|module|inhibit)\b.*:({LINES})|rope/address/[0-9]:({LINES})",
        "rope-from-core": rf"rope/(sense|strobe|module|inhibit)\b.*:({LINES})|rope/address/[0-9]:({LINES})",
    },
    "dunlin": {
        "address": rf"(core|bus)/address/.*:({LINES})",
        "march": rf"(core|bus)/address/.*:({LINES})|core/rewrite.*|core/(sense|data)/[^+]*:(open|stuck-[01])",
        "checker": r"core/(data|sense)/.*:(stuck-[01]|shorted-(or|and))",
        "walking": rf"core/(sense|inhibit|data)/.*:({LINES})",
        "worst": r"core/strobe.*|core/sense/.*:weak-(ones|zeros)",
    },
}
MISSED = {
    ("fulmar", "rope-banks", r"rope/address/1[0-4]:stuck-0"),  # a bank in the place of another sums as well
    ("fulmar", "core-march", r"core/sense/parity:stuck-1"),  # the parity bit is 1 all the time
    ("fulmar", "core-walking", r"core/sense/parity:stuck-0"),  # here it is 0
}


@frozen
class Graded:
    """The faults of a machine's structure, and which of them each self-test finds."""

    faults: tuple[str, ...]
    found: dict[str, set[str]]


@pytest.fixture(scope="module", params=sorted(CLAIMS))
def graded(request) -> tuple[str, Graded]:
    machine = load_machine(request.param)
    board = load_board(machine)
    universe = universe_of(board, cells=False)
    jobs = [
        Job(
            machine, Program(name, read_program(machine, str(find_program(machine.name, f"selftest-{name}"))))
        )
        for name in CLAIMS[machine.name]
    ]
    campaign = run_campaign(universe, jobs, workers=2)
    texts = tuple(fault_text(fault, board) for fault in universe.faults)
    of_fault = campaign.grouping.of_fault
    rows = (row[of_fault] != Verdict.ESCAPES for row in Grader(campaign).verdicts)
    found = {
        job.program.name: {text for text, seen in zip(texts, row.tolist(), strict=True) if seen}
        for job, row in zip(jobs, rows, strict=True)
    }
    return machine.name, Graded(texts, found)


def test_every_fault_that_a_head_names_is_found(graded) -> None:
    machine, grade = graded
    for name, claim in CLAIMS[machine].items():
        named = {text for text in grade.faults if re.fullmatch(claim, text)}
        assert len(named) > 3, name
        assert not named - grade.found[name], (name, sorted(named - grade.found[name])[:10])


def test_what_a_head_says_is_not_found_is_not(graded) -> None:
    machine, grade = graded
    for of, name, pattern in MISSED:
        if of == machine:
            named = {text for text in grade.faults if re.fullmatch(pattern, text)}
            assert named
            assert not named & grade.found[name], name


RETENTION = {  # a word that is right until the pause has begun; at first fulmar holds ones, the others zeros
    "fulmar": ("selftest-core-retention", "core/cell/0o1234/3:stuck-0", "1234"),
    "dunlin": ("selftest-retention", "core/cell/0o1234/3:stuck-1", "1234"),
    "sandpiper": ("selftest-retention", "chips/cell/0x1234/3:stuck-1 & chips/cell/0x1234/4:stuck-1", ""),
}


@pytest.mark.parametrize("name", RETENTION)
def test_a_word_that_is_lost_during_the_pause_is_reported(name: str) -> None:
    """Two bits of a word of sandpiper, for one would be mended; there the alarm halts the machine."""
    program, text, address = RETENTION[name]
    machine = load_machine(name)
    board, image = load_board(machine), read_program(machine, str(find_program(name, program)))
    request = RunRequest(machine, image, max_steps=100_000_000, stop_on_loop=False)
    healthy = CompiledEngine().run(request)
    assert healthy.time_ns > 4_000_000_000  # two pauses of two seconds
    begun = (healthy.fetches + healthy.reads + healthy.writes) // 4
    late = " & ".join(f"{part}@accesses:{begun}..{1 << 40}" for part in text.split(" & "))
    result = CompiledEngine().run(evolve(request, plan=plan_of(board, parse_fault(late, board))))
    printed = "".join(chr(word) for _, port, word in result.outputs if port == 1)
    if address:
        assert re.match(rf"(BAD|RST) {address} ", printed)
    else:
        assert [(a.name, a.count, a.first_address) for a in result.alarms] == [("memory", 1, 0x1234)]
    early = " & ".join(f"{part}@accesses:0..1000" for part in text.split(" & "))
    result = CompiledEngine().run(evolve(request, plan=plan_of(board, parse_fault(early, board))))
    assert "".join(chr(word) for _, port, word in result.outputs if port == 1) == "GOOD\n"
