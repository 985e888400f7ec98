"""The reader of declared tables: what it builds, and every message with its place."""

import datetime as dt
from typing import Any, Literal

import pytest
from attrs import frozen

from emu.errors import InputError, Problems
from emu.fromtoml import build, header_of, key_path
from emu.schema import describe, fields_of, key, markdown, own_path
from emu.tomlfile import TomlPath, parse
from emu.where import Source

NAME = r"[a-z][a-z0-9-]*"


@frozen
class Word:
    bits: int = key(doc="Data bits.", low=4, high=60, unit="bits")
    arithmetic: Literal["twos", "ones"] = key(default="twos", doc="How numbers are held.")
    base: int = key(default=8, choices=(2, 8, 10, 16), doc="Base of what is printed.")


@frozen
class Register:
    name: str = key(doc="Its name.", pattern=NAME, pattern_rule="a small-letter name")
    bits: int = key(doc="Its width.", low=1, high=64)
    zero: int | None = key(default=None, doc="The hard-wired zero.", low=0)
    count: int = key(default=1, doc="How many.", check=lambda n: "" if n & (n - 1) == 0 else "a power of two")
    path: TomlPath = own_path()


@frozen
class Stop:
    at: int = key(doc="Where it stopped.")
    path: TomlPath = own_path()


@frozen
class Dump:
    file: str = key(doc="The file.")
    kind: str = key(doc="Always dump.")


@frozen
class Machine:
    word: Word = key(doc="The word.")
    registers: tuple[Register, ...] = key(name="register", default=(), doc="The registers.")
    times: tuple[float, ...] = key(default=(), doc="Times.", low=0, most=3, unit="µs")
    exact: bool = key(default=False, doc="Whether.")
    day: dt.date | None = key(default=None, doc="The day.")
    either: int | str = key(default=0, doc="A number or a name.", high=9)
    labels: dict[str, str] = key(default={}, doc="Free names.")
    seen: tuple[Stop | Dump, ...] = key(default=(), doc="Seen.", variants={"stop": Stop, "dump": Dump})
    anything: Any = key(default=None, doc="Unread.")
    offset: int = key(default=0, doc="An address.", low=0, high=0o7777)


GOOD = """\
x-mine = { free = true }
times = [1, 2.5]
exact = true
day = 2024-05-01
either = "name"
anything = [1, [2]]
notes = "remarks"
[word]
bits = 16
arithmetic = "ones"
x-other = 1
[[register]]
name = "acc"
bits = 16
[[register]]
name = "r"
bits = 16
zero = 0
count = 4
[labels]
a = "b"
"quoted key" = "c"
[[seen]]
kind = "stop"
at = 0o17
[[seen]]
kind = "dump"
file = "f"
"""


def read(text: str, cls: type = Machine) -> tuple[Any, Problems]:
    source = Source("m.toml", text)
    problems = Problems(source)
    return build(cls, parse(source), problems), problems


def test_a_right_file_becomes_the_instances_it_describes():
    made, problems = read(GOOD)
    assert problems.found == []
    assert made == Machine(
        word=Word(bits=16, arithmetic="ones"),
        registers=(Register(name="acc", bits=16), Register(name="r", bits=16, zero=0, count=4)),
        times=(1.0, 2.5),
        exact=True,
        day=dt.date(2024, 5, 1),
        either="name",
        labels={"a": "b", "quoted key": "c"},
        seen=(Stop(at=15), Dump(file="f", kind="dump")),
        anything=[1, [2]],
    )
    assert [type(t) for t in made.times] == [float, float]


def test_objects_know_their_path_so_that_later_rules_can_give_places():
    made, _ = read(GOOD)
    document = parse(Source("m.toml", GOOD))
    register = made.registers[1]
    assert register.path == ("register", 1)
    place = document.place(key_path(register, "count"))
    assert GOOD.splitlines()[place.line - 1] == "count = 4"
    assert key_path(made.seen[0], "at") == ("seen", 0, "at")


WORD = "[word]\nbits = 16\n"
MESSAGES = [
    # text, place, beginning of the headline after the place, hint
    ("", "1:1", "the top of the file lacks the key 'word' [missing-key]", "add [word]: The word."),
    ("[word]\n", "1:1", "[word] lacks the key 'bits' [missing-key]", "add bits = ..: Data bits."),
    (
        "[word]\nbist = 1\nbits = 16\n",
        "2:1",
        "[word] has no key 'bist' [unknown-key]",
        "did you mean 'bits'?",
    ),
    (
        WORD + "zzzzz = 1\n",
        "3:1",
        "[word] has no key 'zzzzz' [unknown-key]",
        "known here: bits, arithmetic, base",
    ),
    (
        '[word]\nbits = "16"\n',
        "2:8",
        "'bits' must be an integer; given the string \"16\" [wrong-type]",
        "write 16 without quotes",
    ),
    (
        "[word]\nbits = true\n",
        "2:8",
        "'bits' must be an integer; given the truth value true [wrong-type]",
        "",
    ),
    (
        "[word]\nbits = 16.0\n",
        "2:8",
        "'bits' must be an integer; given the number 16.0 [wrong-type]",
        "write 16",
    ),
    (
        "exact = 1\n" + WORD,
        "1:9",
        "'exact' must be true or false; given the number 1 [wrong-type]",
        "write true",
    ),
    (
        'exact = "no"\n' + WORD,
        "1:9",
        "'exact' must be true or false; given the string \"no\" [wrong-type]",
        "write false",
    ),
    ("word = 16\n", "1:8", "'word' must be a table; given the number 16 [wrong-type]", ""),
    (
        "[[word]]\nbits = 16\n",
        "1:1",
        "'word' must be a table; given a list of tables [wrong-type]",
        "write the header once, with single brackets: [word]",
    ),
    (
        WORD + '[register]\nname = "a"\nbits = 1\n',
        "3:1",
        "'register' must be a list of tables; given a table [wrong-type]",
        "write the header with double brackets: [[register]]",
    ),
    (
        "times = 2\n" + WORD,
        "1:9",
        "'times' must be an array, each a number; given the number 2 [wrong-type]",
        "write it in brackets: [2]",
    ),
    (
        "times = [1, 'a']\n" + WORD,
        "1:13",
        "entry 2 of 'times' must be a number; given the string \"a\" [wrong-type]",
        "",
    ),
    (
        "day = '2024-05-01'\n" + WORD,
        "1:7",
        "'day' must be a date; given the string \"2024-05-01\" [wrong-type]",
        "",
    ),
    (
        "day = 2024-05-01T10:00:00\n" + WORD,
        "1:7",
        "'day' must be a date; given the time 2024-05-01T10:00:00 [wrong-type]",
        "",
    ),
    (
        "either = 1.5\n" + WORD,
        "1:10",
        "'either' must be an integer or a string; given the number 1.5 [wrong-type]",
        "",
    ),
    (
        "either = 12\n" + WORD,
        "1:10",
        "'either' must be at most 9; given 12 [out-of-range]",
        "the nearest allowed is 9",
    ),
    (
        "[word]\nbits = 65\n",
        "2:8",
        "'bits' must be from 4 to 60 bits; given 65 [out-of-range]",
        "the nearest allowed is 60",
    ),
    (
        "offset = 0o10000\n" + WORD,
        "1:10",
        "'offset' must be from 0o0 to 0o7777; given 0o10000 [out-of-range]",
        "the nearest allowed is 0o7777",
    ),
    (
        "times = [-1e-3]\n" + WORD,
        "1:10",
        "entry 1 of 'times' must be at least 0 µs; given -1e-3 [out-of-range]",
        "the nearest allowed is 0",
    ),
    (
        "times = [nan]\n" + WORD,
        "1:10",
        "entry 1 of 'times' must be at least 0 µs; given nan [out-of-range]",
        "",
    ),
    (
        "times = [inf]\n" + WORD,
        "1:10",
        "entry 1 of 'times' must be at least 0 µs; given inf [out-of-range]",
        "",
    ),
    (
        "times = [1, 2, 3, 4]\n" + WORD,
        "1:9",
        "'times' must have from 0 to 3 entries; given 4 [wrong-count]",
        "",
    ),
    (
        WORD + 'arithmetic = "one"\n',
        "3:14",
        '\'arithmetic\' must be one of "twos", "ones"; given "one" [bad-choice]',
        "did you mean 'ones'?",
    ),
    (WORD + "base = 3\n", "3:8", "'base' must be one of 2, 8, 10, 16; given 3 [bad-choice]", ""),
    (
        WORD + '[[register]]\nname = "A"\nbits = 1\n',
        "4:8",
        "'name' must be a small-letter name; given \"A\" [bad-value]",
        "",
    ),
    (
        WORD + '[[register]]\nname = "a"\nbits = 1\ncount = 3\n',
        "6:9",
        "'count' must be a power of two; given 3 [bad-value]",
        "",
    ),
    (
        WORD + '[[register]]\nname = "a"\nbits = 1\n[[register]]\nname = "a"\nbits = 2\n',
        "7:8",
        'no two [[register]] may have the same name; "a" is given again [duplicate-name]',
        "",
    ),
    (
        WORD + '[[register]]\nname = "a"\nbits = 1\n[[register]]\nname = "b"\nbist = 2\nbits = 2\n',
        "8:1",
        "[[register]] 2 has no key 'bist' [unknown-key]",
        "did you mean 'bits'?",
    ),
    (
        WORD + "[labels]\na = 1\n",
        "4:5",
        "'a' must be a string; given the number 1 [wrong-type]",
        'write it in quotes: "1"',
    ),
    (
        WORD + "[[seen]]\nat = 1\n",
        "3:1",
        "[[seen]] 1 lacks the key 'kind' [missing-key]",
        'add kind = one of "stop", "dump"',
    ),
    (
        WORD + '[[seen]]\nkind = "stp"\n',
        "4:8",
        '\'kind\' must be one of "stop", "dump"; given "stp" [bad-choice]',
        "did you mean 'stop'?",
    ),
    (
        WORD + "[[seen]]\nkind = 1\n",
        "4:8",
        "'kind' must be a string; given the number 1 [wrong-type]",
        'write it in quotes: "1"',
    ),
    (
        WORD + '[[seen]]\nkind = "stop"\nta = 1\nat = 2\n',
        "5:1",
        "[[seen]] 1 has no key 'ta' [unknown-key]",
        "did you mean 'at'?",
    ),
    (
        WORD + "seen = [1]\n",
        "3:1",
        "[word] has no key 'seen' [unknown-key]",
        "did you mean 'base'?",
    ),
    ("seen = [1]\n" + WORD, "1:9", "entry 1 of 'seen' must be a table; given the number 1 [wrong-type]", ""),
]


@pytest.mark.parametrize(("text", "place", "told", "hint"), MESSAGES)
def test_each_slip_has_its_message_and_place(text: str, place: str, told: str, hint: str):
    _, problems = read(text)
    assert [p.headline for p in problems.found] == [f"m.toml:{place}: error: {told}"]
    assert problems.found[0].hint == hint


def test_a_duplicate_points_at_the_first():
    _, problems = read(WORD + '[[register]]\nname = "a"\nbits = 1\n[[register]]\nname = "a"\nbits = 2\n')
    (note,) = problems.found[0].notes
    assert (note.place.line, note.place.column) == (4, 8)


def test_all_problems_come_at_once_in_order():
    text = 'exact = "x"\n[word]\nbits = 99\nbase = 7\n[[register]]\nbits = 0\n[labels]\na = []\n'
    made, problems = read(text)
    with pytest.raises(InputError) as caught:
        problems.raise_if_errors()
    codes = [(p.code.slug, p.place.line) for p in caught.value.problems]
    assert codes == [
        ("wrong-type", 1),
        ("out-of-range", 3),
        ("bad-choice", 4),
        ("missing-key", 5),
        ("out-of-range", 6),
        ("wrong-type", 8),
    ]
    assert made is None  # the word has no usable width


def test_the_best_is_built_in_spite_of_problems():
    made, problems = read(WORD + 'base = 7\n[[register]]\nname = "a"\nbits = 1\n[[register]]\nname = "b"\n')
    assert len(problems.errors) == 2
    assert made.word.base == 8
    assert [r.name for r in made.registers] == ["a"]


def test_inline_tables_and_arrays_of_them_read_like_headers():
    made, problems = read(
        'word = { bits = 16 }\nregister = [{ name = "a", bits = 1 }, { name = "b", bits = 2 }]\n'
    )
    assert problems.found == []
    assert [r.path for r in made.registers] == [("register", 0), ("register", 1)]


def test_a_part_of_a_document_can_be_read_alone():
    source = Source("m.toml", "[machine.word]\nbits = 16\n")
    problems = Problems(source)
    assert build(Word, parse(source), problems, ("machine", "word")) == Word(bits=16)
    assert build(Word, parse(source), problems, ("machine", "word", "bits")) is None
    assert [p.code.slug for p in problems.found] == ["wrong-type"]
    with pytest.raises(KeyError):
        build(Word, parse(source), problems, ("machine", "wrod"))


def test_a_flood_of_unknown_keys_is_bounded_and_counted():
    text = WORD + "".join(f"key{i} = 1\n" for i in range(50_000))
    _, problems = read(text)
    assert len(problems.found) == problems.limit
    assert problems.dropped == 50_000 - problems.limit


def test_control_characters_of_a_file_do_not_reach_the_message():
    _, problems = read(WORD + '"\u009b31m" = 1\narithmetic = "\u009b31m"\n')
    assert all(p.headline.isprintable() for p in problems.found)
    assert len(problems.found) == 2


def test_headers_are_named_as_they_are_written():
    assert header_of(()) == "the top of the file"
    assert header_of(("word",)) == "[word]"
    assert header_of(("register", 1)) == "[[register]] 2"
    assert header_of(("register", 1, "example")) == "[register.example] of entry 2"


def test_the_reference_table_has_every_key_of_every_table():
    rows = {(r.table, r.key): r for r in describe(Machine)}
    assert {key for table, key in rows if table == ""} == set(fields_of(Machine))
    assert {table for table, _ in rows} == {
        "",
        "[word]",
        "[[register]]",
        '[[seen]] with kind = "stop"',
        '[[seen]] with kind = "dump"',
    }
    bits = rows["[word]", "bits"]
    assert (bits.required, bits.type, bits.accepts, bits.doc) == (
        True,
        "an integer",
        "from 4 to 60 bits",
        "Data bits.",
    )
    base = rows["[word]", "base"]
    assert (base.required, base.default, base.accepts) == (False, "8", "one of 2, 8, 10, 16")
    assert rows["[[register]]", "name"].accepts == "a small-letter name"
    assert rows["", "times"].accepts == "at least 0 µs; at most 3 entries"
    assert rows["", "exact"].default == "false"
    assert rows["", "register"].type == "a list of tables"


def test_the_reference_table_as_markdown():
    text = markdown(describe(Word))
    assert text.startswith("### Top of the file\n\n| key | type |")
    assert "| `bits` | an integer | required | from 4 to 60 bits | Data bits. |" in text.splitlines()
    assert (
        '| `arithmetic` | a string | `"twos"` | one of "twos", "ones" | How numbers are held. |'
        in text.splitlines()
    )
    assert markdown(describe(Machine)).count("\n### ") == 4


def test_a_file_of_one_huge_line_does_not_fill_the_screen():
    _, problems = read("word = {bits = 16" + "".join(f", key{i} = {i}" for i in range(20_000)) + "}\n")
    assert len(problems.found) == problems.limit
    assert all(len(p.render()) < 800 for p in problems.found)


def test_a_type_that_toml_does_not_have_is_refused_where_it_is_declared():
    @frozen
    class Wrong:
        a: complex = key(doc="No such thing in TOML.")

    with pytest.raises(TypeError, match="complex"):
        fields_of(Wrong)
