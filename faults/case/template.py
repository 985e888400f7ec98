"""The text of a new case: enough comments that a first case takes five minutes."""

from collections.abc import Mapping
from typing import Final

EXAMPLES: Final[Mapping[str, str]] = {
    "stop": """\
# The machine stopped and the lamps were read, ? for a digit you could not read or are not sure of.
[[entry]]
kind = "stop"
program = "selftest-sum"
lamps = "counter=1234 accumulator=0017?7 parity=1"
""",
    "alarm": """\
# An alarm, with how often in what time: 14, "at least 3", "2..5", "many", "some", "none".
[[entry]]
kind = "alarm"
program = "selftest-sum"
alarm = "parity"
count = "at least 3"
within = "60 s"
""",
    "restarts": """\
# The machine started again by itself.
[[entry]]
kind = "restarts"
program = "selftest-sum"
every = "about 2 s"
""",
    "printed": """\
# What came out of the printer. An empty text says that nothing came.
[[entry]]
kind = "printed"
program = "selftest-sum"
text = "BAD 0017"
""",
    "passed": """\
# What WORKED is evidence as good as what failed, and often better. Write it down.
[[entry]]
kind = "passed"
program = "selftest-walk"
runs = 3
condition = "cold"
""",
    "failed": """\
# A test reported a failure, here in 3 of 20 runs.
[[entry]]
kind = "failed"
program = "selftest-walk"
runs = 20
failures = 3
""",
    "hung": """\
# A program never ended, or went round and round.
[[entry]]
kind = "hung"
program = "selftest-walk"
""",
    "dump": """\
# A store read out into a file, and what it should hold. Dump BEFORE you run anything that writes; else say
# program = "..", the one that ran, instead of expected.
[[entry]]
kind = "dump"
store = "rope"
file = "rope-first-reading.lst"
expected = "rope-expected.lst"
""",
    "addresses": """\
# Or only the failing addresses are known.
[[entry]]
kind = "addresses"
store = "rope"
failing = "4000 4010..4017"
""",
    "capture": """\
# What a logic analyser saw, as CSV.
[[entry]]
kind = "capture"
program = "selftest-sum"
file = "capture.csv"
columns = "time,address,data"
""",
    "measured": """\
# A meter (power OFF) or a scope at a place that `corewright faults` lists.
[[entry]]
kind = "measured"
site = "rope/address/10"
reading = "open"
instrument = "meter, lowest range"
""",
    "swap": """\
# Two cards changed places (power OFF), and the fault moved with the card, stayed, or was gone.
[[entry]]
kind = "swap"
moved = "A7"
to = "A9"
fault = "moved"
""",
    "mended": """\
# Something was mended. What is written above speaks of before, what is written below of after.
[[entry]]
kind = "mended"
what = "pushed card A7 home"
card = "A7"
""",
}
"""For each kind of entry an example with a remark."""

_HEAD: Final = """\
# A case: all that is known of one fault. Plain text; keep it with the dumps it names, and send the folder on.
#
# Write one [[entry]] for everything that was seen or done, in the order in which it happened. Numbers of the
# machine (words, addresses) are written as its panel shows them, or with 0o, 0x, 0b in front.
# Every entry may also say: when, condition, instrument, certainty (chance that it was read right, 0 to 1;
# 0.98 if not given), and notes = "anything you like".
#
# Before reaching in: unplug, let the supplies discharge, and follow your own rules for mains and for
# irreplaceable parts. Dump first, write later: the first reading may be the only one.
format = "case/1"
title = {title}
machine = {machine}
"""

_INVITE: Final = """
# ---- Copy what you need from below, remove the "# " in front of its lines, and change it to what you saw.
"""


def new_case(machine: str, title: str = "") -> str:
    """Return the text of a new case without entries, with a commented example of every kind."""
    head = _HEAD.format(title=_quoted(title), machine=_quoted(machine))
    return head + _INVITE + "".join("\n" + commented(text) for text in EXAMPLES.values())


def commented(example: str) -> str:
    """Return an example with every line made a comment; its remark gets a second mark."""
    return "".join(f"# {line}\n" for line in example.splitlines())


def _quoted(text: str) -> str:
    plain = "".join(c if c.isprintable() else " " for c in text)
    return '"' + plain.replace("\\", "\\\\").replace('"', '\\"') + '"'
