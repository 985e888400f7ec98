"""The test bench of the Ravensholm volunteers: a small machine with one store to be broken.

Its programs stand in a store of their own (`boot`) that stays healthy, so that what is seen comes from the
store under test (`work`) alone.
"""

from functools import cache

import numpy as np
import pytest
from attrs import frozen

from emu.assemble import assemble
from emu.engine.contract import RunRequest
from emu.image import MemoryImage, ProgramImage
from emu.load import parse_machine
from emu.where import Source
from faults.account import predict
from faults.boards.load import parse_board
from faults.dump import encoded, read_out
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.pattern import analyse

MACHINE = """
format = "machine/1"
name = "bench"
doc = "The test bench."
[word]
bits = 16
arithmetic = "twos"
base = 16
numbering = "lsb0"
[address]
bits = 16
[[register]]
name = "acc"
bits = 16
doc = "The accumulator."
[[register]]
name = "index"
bits = 16
doc = "The word under test."
[[register]]
name = "mark"
bits = 4
doc = "The number of the stop."
[[register]]
name = "pc"
bits = 16
doc = "The program counter."
[fetch]
counter = "pc"
start = 0xF000
step = 1
unknown = "halt"
[[store]]
name = "work"
words = {words}
protection = "{protection}"
writable = {writable}
destructive = {destructive}
alarm = "{alarm}"
cycle_ns = 1_000
doc = "The store under test."
[[store]]
name = "boot"
words = 64
protection = "none"
writable = false
destructive = false
cycle_ns = 1_000
doc = "Programs."
[[window]]
first = 0x0000
last = {last}
store = "work"
doc = "The store under test."
[[window]]
first = 0xF000
last = 0xF03F
store = "boot"
doc = "Programs."
[[alarm]]
name = "parity"
action = "halt"
doc = "The parity stop."
[[port]]
number = 1
name = "tape"
direction = "out"
bits = 16
doc = "Words that are punched."
[[lamp]]
name = "index"
shows = "index"
[[lamp]]
name = "mark"
shows = "mark"
[[field]]
letter = "j"
name = "target"
kind = "relative"
doc = "Where to go on."
[[field]]
letter = "n"
name = "number"
kind = "number"
doc = "A number."
[[instruction]]
name = "begin"
bits = "0000 0000 0000 0001"
does = ["index = 0"]
example = { text = "begin", word = 0x0001 }
doc = "Go to the first word."
[[instruction]]
name = "own"
bits = "0000 0000 0000 0010"
does = ["acc = index"]
example = { text = "own", word = 0x0002 }
doc = "Take the address of the word."
[[instruction]]
name = "put"
bits = "0000 0000 0000 0011"
does = ["M[index] = acc"]
example = { text = "put", word = 0x0003 }
doc = "Write the word."
[[instruction]]
name = "get"
bits = "0000 0000 0000 0100"
does = ["acc = M[index]"]
example = { text = "get", word = 0x0004 }
doc = "Read the word."
[[instruction]]
name = "skip-if-own"
bits = "0000 0000 0000 0101"
does = ["if acc == index { skip }"]
example = { text = "skip-if-own", word = 0x0005 }
doc = "Skip if the accumulator holds the address."
[[instruction]]
name = "next"
bits = "0000 0000 0000 0110"
does = ["index = index + 1", "if index == {words} { skip }"]
example = { text = "next", word = 0x0006 }
doc = "Go to the next word; skip after the last."
[[instruction]]
name = "punch"
bits = "0000 0000 0000 0111"
does = ["P[1] = acc"]
example = { text = "punch", word = 0x0007 }
doc = "Punch the accumulator."
[[instruction]]
name = "skip-if-zero"
bits = "0000 0000 0000 1000"
does = ["if acc == 0 { skip }"]
example = { text = "skip-if-zero", word = 0x0008 }
doc = "Skip if the accumulator is zero."
[[instruction]]
name = "set"
bits = "0001 0000 nnnnnnnn"
does = ["acc = extend(n, 16)"]
example = { text = "set 5", word = 0x1005 }
doc = "Set the accumulator."
[[instruction]]
name = "jump"
bits = "0010 0000 jjjjjjjj"
does = ["pc = pc + widen(j, 16)"]
example = { text = "jump 7", word = 0x2006 }
doc = "Go on at the address."
[[instruction]]
name = "stop"
bits = "0011 0000 0000 nnnn"
does = ["mark = n", "halt"]
example = { text = "stop 3", word = 0x3003 }
doc = "Halt and show the number."
"""

# Marks: 1 all was right, 2 something was wrong.
PROGRAMS = {
    "at-once": """
        begin
again:  own
        put
        get
        skip-if-own
        jump    bad
        next
        jump    again
        stop    1
bad:    stop    2
""",
    "fill-first": """
        begin
fill:   own
        put
        next
        jump    fill
        begin
check:  get
        skip-if-own
        jump    bad
        next
        jump    check
        stop    1
bad:    stop    2
""",
    "zeros": """
        begin
fill:   set     0
        put
        next
        jump    fill
        begin
check:  get
        skip-if-zero
        jump    bad
        next
        jump    check
        stop    1
bad:    stop    2
""",
    "scan": """
        begin
again:  get
        next
        jump    again
        stop    1
""",
    "punch": """
        begin
again:  get
        punch
        next
        jump    again
        stop    1
""",
}


@cache
def machine_of(words, protection, writable, destructive):
    text = MACHINE
    given = {
        "words": words,
        "protection": protection,
        "writable": str(writable).lower(),
        "destructive": str(destructive).lower(),
        "alarm": "parity" if protection in ("odd", "even") else "",
        "last": words - 1,
    }
    for name, value in given.items():
        text = text.replace("{" + name + "}", str(value))
    return parse_machine(Source("bench.toml", text))


@frozen(eq=False)
class Bench:
    """A machine with a board; faults are given in notation."""

    machine: object
    board: object

    @property
    def spec(self):
        return self.machine.stores[0]

    def plan(self, fault):
        return plan_of(self.board, parse_fault(fault, self.board))

    def words(self, data):
        """Stored words of data words, with right check bits."""
        return encoded(self.spec, np.asarray(list(data), np.int64))

    def dump(self, fault, data, **more):
        """Read the store through a fault; ``data``: the data words it holds."""
        return read_out(self.machine, 0, self.plan(fault), self.words(data), **more)

    def pattern(self, fault, data, **more):
        return analyse(self.dump(fault, data, **more).evidence())

    def image(self, program, data=()):
        assembled = assemble(Source(program, PROGRAMS[program]), self.machine).image
        segments = dict(assembled.segments)
        if len(data):
            segments["work"] = MemoryImage.of_words(16, [int(w) for w in data])
        return ProgramImage(segments, assembled.entry)

    def predict(self, fault, program, data=(), *, conditions=(), seed=0, **more):
        """Predict what the program shows with a fault."""
        image = self.image(program, data)
        request = RunRequest(
            self.machine, image, self.plan(fault), conditions=frozenset(conditions), seed=seed
        )
        return predict(request, fault=fault, **more)


@pytest.fixture
def bench():
    """Return a function that makes a bench: a store of so many words on a board of some way of building."""

    def make(board, words, *, protection="none", writable=True, destructive=False):
        machine = machine_of(words, protection, writable, destructive)
        text = f'format = "board/1"\nmachine = "bench"\n{board}'
        return Bench(machine, parse_board(machine, Source("bench.board.toml", text)))

    return make
