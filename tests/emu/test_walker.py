"""The course of an instruction, step by step, on a machine small enough to work out by hand.

Expected values are worked out from docs/reference/engine.md and the machine file below.
"""

from random import Random

import pytest
from attrs import evolve

from emu.codes import encode
from emu.compose import Lowered, Masks, compose
from emu.engine.compiled import CompiledEngine
from emu.engine.conformance import draw_request
from emu.engine.conformance_machines import draw_machine
from emu.engine.contract import RunRequest, RunResult, Stop
from emu.engine.walker import Walker
from emu.image import MemoryImage, ProgramImage
from emu.load import parse_machine
from emu.memory import shapes_of
from emu.where import Source

TEXT = """
format = "machine/1"
name = "wren"
doc = "Eight bits, three for the instruction, five for an address."
[word]
bits = 8
arithmetic = "twos"
base = 8
numbering = "lsb0"
[address]
bits = 5
unmapped_alarm = "stray"
[[register]]
name = "acc"
bits = 8
[[register]]
name = "ticks"
bits = 8
[[register]]
name = "ion"
bits = 1
reset = 1
[[register]]
name = "pc"
bits = 5
[fetch]
counter = "pc"
start = 0
step = 1
unknown = "halt"
[[store]]
name = "core"
words = 16
protection = "odd"
destructive = true
alarm = "parity"
cycle_ns = 10
[[store]]
name = "rope"
words = 8
writable = false
cycle_ns = 1
[[window]]
first = 0
last = 15
store = "core"
[[window]]
first = 16
last = 23
store = "rope"
[[alarm]]
name = "parity"
action = "restart"
[[alarm]]
name = "stray"
action = "lamp"
[[alarm]]
name = "late"
action = "halt"
[restart]
address = 8
clears = ["acc"]
delay_ns = 100
[watchdog]
period_ns = 5000
alarm = "late"
[[timer]]
name = "tick"
period_ns = 1000
enable = "ion"
does = ["ticks = ticks + 1"]
[[port]]
number = 1
name = "out"
direction = "out"
bits = 4
[[port]]
number = 2
name = "in"
direction = "in"
bits = 8
[[lamp]]
name = "acc"
shows = "acc"
[[lamp]]
name = "parity"
shows = "alarm:parity"
[[lamp]]
name = "restarts"
shows = "restarts"
[[field]]
letter = "a"
name = "address"
kind = "address"
[[instruction]]
name = "load"
bits = "001 aaaaa"
does = ["acc = M[a]"]
example = { text = "load 0o17", word = 0o057 }
[[instruction]]
name = "store"
bits = "010 aaaaa"
does = ["M[a] = acc"]
example = { text = "store 0o17", word = 0o117 }
[[instruction]]
name = "jump"
bits = "011 aaaaa"
does = ["pc = a"]
extra_ns = 3
example = { text = "jump 0o17", word = 0o157 }
[[instruction]]
name = "send"
bits = "100 00000"
does = ["P[1] = acc"]
example = { text = "send", word = 0o200 }
[[instruction]]
name = "take"
bits = "100 00001"
does = ["acc = P[2]"]
example = { text = "take", word = 0o201 }
[[instruction]]
name = "count"
bits = "101 00000"
does = ["acc = acc + 1"]
example = { text = "count", word = 0o240 }
[[instruction]]
name = "rearm"
bits = "101 00001"
does = ["rearm"]
example = { text = "rearm", word = 0o241 }
[[instruction]]
name = "stop"
bits = "110 00000"
does = ["halt"]
example = { text = "stop", word = 0o300 }
[[instruction]]
name = "both"
bits = "110 00001"
does = ["alarm parity", "alarm parity", "halt"]
example = { text = "both", word = 0o301 }
"""
LOAD, STORE, JUMP, SEND, TAKE, COUNT, REARM, STOP, BOTH = (
    0o040,
    0o100,
    0o140,
    0o200,
    0o201,
    0o240,
    0o241,
    0o300,
    0o301,
)


@pytest.fixture(scope="module")
def wren():
    return parse_machine(Source("wren.toml", TEXT))


@pytest.fixture(params=["walker", "generated"])
def engine(request):
    return Walker() if request.param == "walker" else CompiledEngine(jit=False)


def program(wren, words, stored=None, **given) -> RunRequest:
    """Return a run of words from address 0 of core; ``stored`` puts raw stored words beside them."""
    cells = {i: encode("odd", 8, w) for i, w in enumerate(words)} | (stored or {})
    image = ProgramImage({"core": MemoryImage.certain(9, cells)})
    return RunRequest(wren, image, **given)


def test_time_counts_and_registers(wren, engine) -> None:
    result = engine.run(program(wren, [COUNT, STORE | 12, LOAD | 16, STORE | 17, STOP]))
    assert result.stop == Stop("halt", 4)
    assert (result.steps, result.fetches, result.reads, result.writes) == (5, 5, 1, 2)
    assert result.time_ns == 5 * 10 + 10 + 1 + 1
    assert result.memory[0][12] == encode("odd", 8, 1)
    assert result.memory[1].tolist() == [0] * 8, "the rope cannot be written"
    assert result.registers == {"acc": 0, "ticks": 0, "ion": 1, "pc": 5}


def test_events_in_order(wren, engine) -> None:
    events = engine.run(program(wren, [COUNT, STORE | 12, LOAD | 31, SEND, STOP], trace=True)).events
    told = [(e.kind, e.step, e.access, e.time_ns, e.pc, e.store, e.address, e.word, e.detail) for e in events]
    assert told == [
        ("fetch", 0, 0, 0, 0, 0, 0, COUNT, ""),
        ("fetch", 1, 1, 10, 1, 0, 1, STORE | 12, ""),
        ("write", 1, 2, 20, 1, 0, 12, 1, ""),
        ("fetch", 2, 3, 30, 2, 0, 2, LOAD | 31, ""),
        ("alarm", 2, 4, 40, 2, -1, 0, 0, "stray"),
        ("fetch", 3, 4, 40, 3, 0, 3, SEND, ""),
        ("output", 3, 5, 50, 3, -1, 1, 0, ""),
        ("fetch", 4, 5, 50, 4, 0, 4, STOP, ""),
        ("stop", 5, 6, 60, 4, -1, 0, 0, "halt"),
    ]


def test_a_wrong_instruction_word_is_not_executed_and_restarts(wren, engine) -> None:
    wrong = encode("odd", 8, STOP) ^ 1
    result = engine.run(program(wren, [COUNT], {1: wrong, 8: encode("odd", 8, STOP)}))
    assert result.stop == Stop("halt", 8)
    assert result.restarts == 1
    assert result.restart_times_ns == (20,)
    assert result.time_ns == 20 + 100 + 10
    assert result.registers["acc"] == 0, "cleared by the restart"
    tally = result.alarms[0]
    assert (tally.name, tally.count, tally.first_ns, tally.first_store, tally.first_address, tally.first_pc) == (
        "parity", 1, 10, 0, 1, 1,
    )  # fmt: skip
    assert result.lamps == {"acc": 0, "parity": 1, "restarts": 1}


def test_a_wrong_data_word_is_used_then_restarts(wren, engine) -> None:
    stored = {12: encode("odd", 8, 0o17) ^ 1, 8: encode("odd", 8, STOP)}
    result = engine.run(program(wren, [LOAD | 12, STOP], stored))
    assert (result.steps, result.restarts) == (2, 1)


def test_halt_comes_before_alarms(wren, engine) -> None:
    result = engine.run(program(wren, [BOTH]))
    assert result.stop == Stop("halt", 0)
    assert result.restarts == 0
    assert result.alarms[0].count == 2


def test_an_unknown_word_halts(wren, engine) -> None:
    assert engine.run(program(wren, [0o377])).stop == Stop("halt", 0)


def test_ports(wren, engine) -> None:
    words = [TAKE, SEND, JUMP | 0]
    result = engine.run(program(wren, words, inputs={2: (0o21, 0o303)}, max_outputs=4, stop_on_loop=False))
    assert [(p, w) for _, p, w in result.outputs] == [(1, 1), (1, 3), (1, 3), (1, 3)]
    assert result.stop.kind == "outputs"
    assert engine.run(program(wren, words, max_outputs=1)).outputs[0][2] == 0, "an empty port offers 0"


def test_a_loop_is_found_and_measured(wren, engine) -> None:
    # the first look, after the jump, takes the state; the second finds it again
    machine = evolve(wren, timers=())
    result = engine.run(program(machine, [REARM, JUMP | 0]))
    assert result.stop == Stop("loop", 0, 2, 2, 23, 0, 0, 1)
    assert (result.steps, result.time_ns) == (4, 46)


def test_clocks_that_run_on_are_no_loop(wren, engine) -> None:
    result = engine.run(program(wren, [REARM, JUMP | 0], max_steps=2000))  # the timer counts
    assert result.stop.kind == "steps"


def test_watchdog_and_timer(wren, engine) -> None:
    result = engine.run(program(wren, [JUMP | 0]))
    assert result.stop.kind == "alarm-halt"
    assert result.time_ns == 13 * 385, "the first boundary at or after 5000 ns"
    assert result.registers["ticks"] == 5
    assert result.alarms[0].name == "late"


def test_a_timer_that_is_late_ticks_once_a_boundary(wren, engine) -> None:
    machine = evolve(wren, timers=(evolve(wren.timers[0], period_ns=3),), watchdog=None)
    result = engine.run(program(machine, [COUNT, COUNT, COUNT, COUNT], max_steps=4, stop_on_loop=False))
    assert result.registers["ticks"] == 3
    assert result.time_ns == 40


@pytest.mark.parametrize(
    ("limit", "kind"),
    [
        ({"max_steps": 3}, "steps"),
        ({"max_time_ns": 25}, "time"),
        ({"max_restarts": 0}, "restarts"),
        ({"max_outputs": 0}, "outputs"),
    ],
)
def test_limits(wren, engine, limit, kind) -> None:
    result = engine.run(program(wren, [COUNT] * 6, **limit))
    assert result.stop.kind == kind
    assert result.steps == (3 if kind in {"steps", "time"} else 0)


def test_a_destructive_read_whose_rewrite_is_dead_loses_the_word(wren, engine) -> None:
    dead = Masks("50 x", 0, "write", clear_bits=0o400 | 1)
    plan = compose(shapes_of(wren.stores), [Lowered((dead,))])
    words = [LOAD | 12, LOAD | 12, STOP]
    result = engine.run(program(wren, words, {12: encode("odd", 8, 0o11)}, plan=plan))
    assert result.memory[0][12] & 1 == 0


@pytest.mark.parametrize("seed", range(60))
def test_what_is_called_a_loop_goes_round_for_ever(seed: int) -> None:
    rng = Random(seed)
    machine = draw_machine(rng)
    for _ in range(4):
        request = evolve(draw_request(rng, machine), stop_on_loop=True, max_steps=200, trace=False)
        looping = Walker().run(request)
        if looping.stop.kind == "loop":
            again = [
                _after(request, looping.stop.loop_from_step + k * looping.stop.loop_steps) for k in (1, 2, 3)
            ]
            states = {(tuple(r.registers.items()), tuple(tuple(m.tolist()) for m in r.memory)) for r in again}
            assert len(states) == 1
            times = [r.time_ns for r in again]
            assert times[2] - times[1] == times[1] - times[0] == looping.stop.loop_ns


def _after(request: RunRequest, steps: int) -> RunResult:
    free = evolve(
        request,
        stop_on_loop=False,
        max_steps=steps,
        max_time_ns=1 << 62,
        max_outputs=1 << 40,
        max_restarts=1 << 40,
    )
    return Walker().run(free)
