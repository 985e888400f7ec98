"""A dump after a run: what a suspect leaves is what the walker and a reading word by word leave, bit for bit."""

import numpy as np
import pytest

from emu.engine.contract import RunRequest
from emu.engine.walker import Walker
from emu.memory import EXTRA_CELLS, PlannedMemory
from emu.where import Source
from faults.case.load import load_case, parse_case
from faults.diagnose import diagnose
from faults.dump import scattered
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault
from faults.predictions.dumps import dump_misfit
from faults.predictions.evidence import observed_dump
from faults.predictions.leftovers import Leftovers
from faults.predictions.scene import scene_of
from faults.predictions.workshop import Workshop
from faults.universe import universe_of

MACHINE = """
format = "machine/1"
name = "turn"
doc = "A machine of one core store."
word = { bits = 12, arithmetic = "twos", base = 8, numbering = "lsb0" }
address = { bits = 6 }
register = [{ name = "acc", bits = 12 }, { name = "place", bits = 6 }, { name = "pc", bits = 6 }]
fetch = { counter = "pc", start = 0 }
store = [{ name = "core", words = 64, protection = "odd", alarm = "parity", destructive = true, cycle_ns = 5000 }]
window = [{ first = 0, last = 63, store = "core" }]
alarm = [{ name = "parity", action = "halt" }]
lamp = [{ name = "acc", shows = "acc" }, { name = "place", shows = "place" }]
field = [{ letter = "a", name = "address", kind = "address" }]

"""
INSTRUCTIONS = {
    "load": ("0001 -- aaaaaa", "acc = M[a]", "load 5", 0o0405),
    "store": ("0010 -- aaaaaa", "M[a] = acc", "store 5", 0o1005),
    "jump": ("0011 -- aaaaaa", "pc = a", "jump 5", 0o1405),
    "if-zero": ("0100 -- aaaaaa", "if zero(acc) { pc = a }", "if-zero 5", 0o2005),
    "point": ("0101 -- aaaaaa", "place = a", "point 5", 0o2405),
    "take": ("0110 00 000000", "acc = extend(place, 12)", "take", 0o3000),
    "put": ("0110 00 000001", "M[place] = acc", "put", 0o3001),
    "on": ("0110 00 000010", "place = place + 1", "on", 0o3002),
    "differ": ("0110 00 000011", "acc = acc ^ M[place]", "differ", 0o3003),
    "stop": ("0110 00 000100", "halt", "stop", 0o3004),
}
BOARD = 'format = "board/1"\nmachine = "turn"\n[[store]]\nstore = "core"\nbuilt = "coincident"\nx = "0-2"\ny = "3-5"\n'
PROGRAM = """
        point   30
fill:   take
        put
        on
        take
        if-zero read
        jump    fill
read:   point   30
next:   take
        differ
        if-zero right
        store   wrong
        stop
right:  on
        take
        if-zero good
        jump    next
good:   stop
wrong:  .word   0
"""
ENDLESS = "begin:  on\n        take\n        store   seen\n        jump    begin\nseen:   .word   0\n"
CASE = (
    'format = "case/1"\nmachine = "turn.toml"\n[[entry]]\nkind = "dump"\nstore = "core"\nfile = "read.lst"\n'
)


@pytest.fixture
def bench(tmp_path):
    tables = "".join(
        f'[[instruction]]\nname = "{n}"\nbits = "{b}"\ndoes = ["{d}"]\nexample = {{ text = "{t}", word = {w} }}\n'
        for n, (b, d, t, w) in INSTRUCTIONS.items()
    )
    files = {"turn.toml": MACHINE + tables, "turn.board.toml": BOARD, "look.asm": PROGRAM, "go.asm": ENDLESS}
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


def scene_in(folder, words, more='program = "look.asm"\n'):
    rows = "\n".join(f"{a:02o}: {w:04o}" for a, w in words)
    (folder / "read.lst").write_text(f"words 12 base octal\n{rows}\n", encoding="utf-8")
    return scene_of(parse_case(Source(str(folder / "case.toml"), CASE + more)))


def left_by_hand(scene, plan):
    """What the walker, which shares no code with the engine of the runs, leaves, read by the definition."""
    run = Walker().run(RunRequest(scene.machine, scene.program("look.asm").image, plan, max_steps=200_000))
    cells = [[*run.memory[0].tolist(), *[0] * EXTRA_CELLS]]
    memory = PlannedMemory(plan, cells)
    return np.array([memory.read(0, a) for a in range(64)])


def test_what_a_suspect_leaves_is_what_the_walker_leaves(bench):
    scene = scene_in(bench, [(0, 0)])
    dump = observed_dump(scene, 0, scene.case.entries[0])
    assert dump.after == "look.asm"
    workshop = Workshop(scene.board, scene.priors, cached=False)
    left = Leftovers(dump, workshop.runs(scene.program("look.asm")))
    listed = list(universe_of(scene.board).faults)
    chosen = np.random.default_rng(5).choice(len(listed), 60, replace=False)
    lines = [f for f in listed if f.parts[0].sites[0].startswith(("core/x", "core/sense", "core/inhibit"))]
    different = 0
    for fault in [*(listed[i] for i in chosen), *lines]:
        expected = left_by_hand(scene, plan_of(scene.board, fault))
        np.testing.assert_array_equal(left.read(fault), expected, fault_text(fault, scene.board))
        different += bool(np.any(expected != dump.expected))
    assert different > 40


def test_words_that_nobody_put_there_are_not_compared(bench):
    scene = scene_in(bench, [(0, 0)])
    dump = observed_dump(scene, 0, scene.case.entries[0])
    sure = np.flatnonzero(dump.sure)
    assert sure.tolist() == [*range(0o23), *range(0o30, 0o100)]
    loaded = scene_in(bench, [(0, 0)], 'program = "look.asm"\nloaded = true\n')
    dump = observed_dump(loaded, 0, loaded.case.entries[0])
    assert not dump.after
    assert np.flatnonzero(dump.sure).tolist() == [*range(0o23)]


def test_what_a_program_without_end_has_altered_is_not_compared(bench):
    scene = scene_in(bench, [(0, 0)], 'program = "go.asm"\n')
    dump = observed_dump(scene, 0, scene.case.entries[0])
    assert np.flatnonzero(dump.sure).tolist() == [0, 1, 2, 3]


@pytest.mark.parametrize("text", ["core/sense/3:open", "core/y/5:open"])
def test_a_partial_dump_after_a_run_tells_the_fault(bench, text):
    scene = scene_in(bench, [(0, 0)])
    fault = parse_fault(text, scene.board)
    read = left_by_hand(scene, plan_of(scene.board, fault)) & 0o7777
    scene_in(bench, [(a, int(read[a])) for a in range(0o47, 0o63)])
    (bench / "case.toml").write_text(CASE + 'program = "look.asm"\n', encoding="utf-8")
    found = diagnose(load_case(bench / "case.toml"))
    assert found.ranking.rank_of(text) == 1
    assert found.ranking.outcome not in ("nothing", "misread")
    loaded = CASE + 'program = "look.asm"\nloaded = true\n'
    (bench / "case.toml").write_text(loaded, encoding="utf-8")
    assert diagnose(load_case(bench / "case.toml")).predicted.unused  # nothing said what was there


@pytest.mark.parametrize("text", ["core/address/2:stuck-0", "core/address/2:stuck-1", "core/data/5:open"])
def test_a_fill_was_written_through_the_fault(bench, text):
    # a line that is stuck while the store is filled: the last word written to a cell stays, whichever level
    scene = scene_in(bench, [(0, 0)])
    filled = scattered(scene.machine, 0)
    fault = parse_fault(text, scene.board)
    memory = PlannedMemory(plan_of(scene.board, fault), [[0] * (64 + EXTRA_CELLS)])
    for address, word in enumerate(filled.tolist()):
        memory.write(0, address, word)
    read = [memory.read(0, address) & 0o7777 for address in range(64)]
    rows = "\n".join(f"{a:02o}: {w & 0o7777:04o}" for a, w in enumerate(filled.tolist()))
    (bench / "fill.lst").write_text(f"words 12 base octal\n{rows}\n", encoding="utf-8")
    wrong = {}
    for more in ("filled = true\n", ""):
        scene = scene_in(bench, enumerate(read), f'expected = "fill.lst"\n{more}')
        dump = observed_dump(scene, 0, scene.case.entries[0])
        assert dump.written == bool(more)
        workshop = Workshop(scene.board, scene.priors, cached=False)
        book = workshop.book(0, dump.expected, written=dump.written)
        wrong[bool(more)] = int(dump_misfit(dump, book, [fault], [workshop.plans.digest(fault)]).wrong[0])
    assert wrong[True] == 0
    assert bool(wrong[False]) == (text == "core/address/2:stuck-0")
