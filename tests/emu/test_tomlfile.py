"""Reading TOML: values, places, bounds, hostile files."""

import os
import time
import tomllib
from pathlib import Path

import pytest

from emu.errors import InputError, declared
from emu.tomlfile import (
    MAX_BYTES,
    MAX_DEPTH,
    MAX_INTEGER_BITS,
    MAX_VALUES,
    TomlDocument,
    parse,
    parse_bytes,
    read,
)
from emu.where import Source


def document(text: str) -> TomlDocument:
    return parse(Source("f", text))


def only_problem(text: str):
    with pytest.raises(InputError) as caught:
        document(text)
    (problem,) = caught.value.problems
    return problem


NASTY = r'''# a comment = "not a key"
"a \"quoted\" \u006bey" = 1   # with = a comment
'lit.eral' . b = [ 1, # one ] "
  [ "two ]", """th
ree""" ], { x = 1, y.z = [ {} ] },
]
"" = 1979-05-27 07:32:00
multi = """
first \
    folded
"" two quotes ""and three: ""\""""
literal = THREEit's
[not.a.table]
THREE
plain = 0xdead
'''.replace("THREE", "'" * 3)

NASTY_TABLES = """
[t . "u.v"] # dotted and quoted
k = '# no comment'
[[t.list]]
k = 1
[t.list.sub]
k = 2
[[t.list]]
k = 3
[[t.list.deep]]
k = 4
[[t.list.deep]]
k = 5
"""

WRITTEN = [
    (('a "quoted" key',), "1", 2),
    (("lit.eral", "b", 0), "1", 3),
    (("lit.eral", "b", 1, 0), '"two ]"', 4),
    (("lit.eral", "b", 2, "x"), "1", 5),
    (("lit.eral", "b", 2, "y", "z"), "[ {} ]", 5),
    (("lit.eral", "b", 2, "y", "z", 0), "{}", 5),
    (("",), "1979-05-27 07:32:00", 7),
    (("plain",), "0xdead", 15),
    (("t", "u.v"), '[t . "u.v"]', 17),
    (("t", "u.v", "k"), "'# no comment'", 18),
    (("t", "list", 0), "[[t.list]]", 19),
    (("t", "list", 0, "sub"), "[t.list.sub]", 21),
    (("t", "list", 0, "sub", "k"), "2", 22),
    (("t", "list", 1), "[[t.list]]", 23),
    (("t", "list", 1, "k"), "3", 24),
    (("t", "list", 1, "deep", 1), "[[t.list.deep]]", 27),
    (("t", "list", 1, "deep", 1, "k"), "5", 28),
]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize(("path", "written", "line"), WRITTEN)
def test_every_value_of_a_nasty_document_is_found(path, written: str, line: int, end: str):
    text = (NASTY + NASTY_TABLES).replace("\n", end)
    read_back = document(text)
    assert read_back.literal(path) == written
    assert read_back.place(path).line == line


def test_keys_have_places_of_their_own():
    read_back = document(NASTY + NASTY_TABLES)
    assert read_back.key_place(("lit.eral", "b")).column == 14
    assert read_back.key_place(("t", "u.v")).column == 6
    assert read_back.key_place(("t",)).line == 17
    assert read_back.key_place(("lit.eral", "b", 0)) == read_back.place(("lit.eral", "b", 0))
    place = read_back.key_place(('a "quoted" key',))
    assert (place.line, place.column, place.length) == (2, 1, len(r'"a \"quoted\" \u006bey"'))


def test_the_underline_of_a_value_of_several_lines_ends_with_its_first_line():
    place = document('a = """xy\nz"""\n').place(("a",))
    assert (place.line, place.column, place.length) == (1, 5, 5)


def test_what_is_not_written_has_the_place_of_what_holds_it():
    read_back = document("x = 1\n[a.b]\nc = 1\n")
    assert str(read_back.place(("a", "b", "nothing"))) == "f:2:1"
    assert str(read_back.place(("a",))) == "f:2:2"  # only implied: the word in the header
    assert str(read_back.place(())) == "f:1:1"
    assert str(read_back.place(("nothing",))) == "f:1:1"
    assert read_back.literal(("nothing",)) == ""


def test_an_empty_document_has_a_first_place():
    assert document("").root == {}
    assert str(document("").place(())) == "f:1:1"


@pytest.mark.parametrize("path", [("b",), ("a", "x"), ("a", 2), ("a", 0, 0), ("s", 0, "x")])
def test_a_path_that_leads_nowhere_is_a_key_error(path):
    with pytest.raises(KeyError):
        document('a = [1, 2]\ns = "x"\n').value(path)


def test_places_inside_strings():
    text = 'a = "acc = acc + M[a]"\n'
    place = document(text).string_place(("a",), 10, 4)
    assert text[place.column - 1 : place.column - 1 + place.length] == "+ M["
    assert str(document("a = 'b'\n").string_place(("a",), 99)) == "f:1:7"  # the closing quote
    assert str(document("a = 12\n").string_place(("a",), 1)) == "f:1:5"  # no string: its place


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_places_inside_strings_of_several_lines(end: str):
    text = "a = '''\none\ntwo'''\nb = \"\"\"x\\\n\n   y\n\\u0041z\"\"\"\n".replace("\n", end)
    read_back = document(text)
    assert read_back.value(("a",)) == "one\ntwo"
    assert [str(read_back.string_place(("a",), i)) for i in (0, 4, 6)] == ["f:2:1", "f:3:1", "f:3:3"]
    assert read_back.value(("b",)) == "xy\nAz"
    where = [str(read_back.string_place(("b",), i)) for i in range(5)]
    assert where == ["f:4:8", "f:6:4", "f:6:5", "f:7:1", "f:7:7"]


def test_read_opens_a_file_and_forgives_a_byte_order_mark(tmp_path: Path):
    file = tmp_path / "m.toml"
    file.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 2\r\n")
    read_back = read(file)
    assert read_back.root == {"a": 1, "b": 2}
    assert read_back.place(("b",)).file == str(file)
    assert read_back.place(("a",)).column == 5


@pytest.mark.parametrize("name", ["missing.toml", ".", "nul\0byte"])
def test_what_cannot_be_read_is_said(tmp_path: Path, name: str):
    with pytest.raises(
        InputError, match=r"the file must be readable; the system says: .+ \[cannot-read-file\]"
    ):
        read(os.path.join(tmp_path, name))  # noqa: PTH118  # a Path would lose the "."


@pytest.mark.parametrize(
    ("data", "place", "byte"),
    [
        (b"a = 1\nb = '\xff'\n", "f:2:6", "byte 11 (from 0) is 0xff"),
        (b"\x89PNG\r\n\x1a\n", "f:1:1", "byte 0 (from 0) is 0x89"),
        ("a = 'é".encode()[:-1], "f:1:6", "byte 5 (from 0) is 0xc3"),
        ("é = '".encode() + b"\xe9'", "f:1:6", "byte 6 (from 0) is 0xe9"),
        (b"a = '\xed\xa0\x80'", "f:1:6", "byte 5 (from 0) is 0xed"),  # a surrogate is no character
    ],
)
def test_what_is_not_utf8_is_refused_with_the_byte(data: bytes, place: str, byte: str):
    with pytest.raises(InputError) as caught:
        parse_bytes("f", data)
    assert (
        caught.value.problems[0].headline
        == f"{place}: error: a TOML file must be UTF-8 text; {byte} [not-utf8]"
    )


def test_utf16_is_recognised():
    with pytest.raises(InputError) as caught:
        parse_bytes("f", "a = 1".encode("utf-16"))
    assert caught.value.problems[0].hint == "this looks like UTF-16: save it as UTF-8"


def test_a_file_of_the_largest_size_is_read_and_one_byte_more_is_not():
    data = b"#" + b"x" * (MAX_BYTES - 1)
    assert parse_bytes("f", data).root == {}
    for attempt in (lambda: parse_bytes("f", data + b"x"), lambda: document("#" + "é" * (MAX_BYTES // 2))):
        with pytest.raises(InputError, match="file-too-big"):
            attempt()


def test_the_deepest_accepted_nesting_and_one_more():
    for before, after in (("[", "]"), ("{a=", "}")):
        core = "1" if before == "{a=" else ""
        deepest = MAX_DEPTH - 1  # the key itself is one step
        inside = MAX_DEPTH if before == "[" else deepest  # an empty array adds no step
        assert document("a = " + before * inside + core + after * inside).root
        assert (
            only_problem("a = " + before * (inside + 1) + core + after * (inside + 1)).code.slug
            == "nesting-too-deep"
        )
    assert document(".".join(["a"] * MAX_DEPTH) + " = 1").root
    problem = only_problem("x = 1\n" + ".".join(["a"] * (MAX_DEPTH + 1)) + " = 1")
    assert (problem.code.slug, str(problem.place)) == ("nesting-too-deep", "f:2:1")
    assert only_problem("[" + ".".join(["a"] * MAX_DEPTH) + "]\nb = 1").code.slug == "nesting-too-deep"


def test_many_dots_in_text_are_no_nesting():
    assert document("a = '" + "." * 500 + "'  # " + "." * 500).root


def test_integers_up_to_the_bound_and_beyond():
    most = (1 << MAX_INTEGER_BITS) - 1
    assert document(f"a = {most}\nb = -{most}").root == {"a": most, "b": -most}
    problem = only_problem(f"x = 1\na = [0, {most + 1}]")
    assert problem.headline == (
        "f:2:9: error: an integer may have at most 128 bits; this one has 129 bits [integer-too-big]"
    )
    assert "131,072 bits" in only_problem("a = 0x" + "f" * 32768).message
    assert "100,000 digits" in only_problem("x = 1\na.b = -1_" + "0" * 99_999).message


def test_the_number_of_values_is_bounded():
    assert len(document("a = [" + "0," * (MAX_VALUES - 1) + "]").root["a"]) == MAX_VALUES - 1
    assert only_problem("a = [" + "0," * MAX_VALUES + "]").code.slug == "too-many-values"


HALF = MAX_BYTES // 2
HOSTILE = {
    "arrays in arrays": "a = " + "[" * (MAX_BYTES - 4),
    "closed arrays": "a = " + "[" * (HALF - 4) + "]" * (HALF - 4),
    "tables in tables": "a = " + "{a=" * (MAX_BYTES // 3 - 4),
    "arrays and tables": "a = " + "[{a=" * (MAX_BYTES // 4 - 4),
    "dotted key": "a" + ".a" * (HALF - 4) + "=1",
    "dotted header": "[a" + ".a" * (HALF - 4) + "]",
    "dotted key in a table": "a = [{b" + ".a" * (HALF - 8) + "=1}]",
    "spaced dotted key": "a" + " . a" * (MAX_BYTES // 4 - 4) + "=1",
    "quoted dotted key": '""' + '.""' * (MAX_BYTES // 3 - 4) + "=1",
    "digits": "a = " + "1" * (MAX_BYTES - 4),
    "digits with underscores": "a = 1" + "_1" * (HALF - 4),
    "hexadecimal digits": "a = 0x" + "f" * (MAX_BYTES - 8),
    "open string of quotes": 'a = """' + '"\n' * (HALF - 8),
    "open literal of quotes": "a = '''" + "'\n" * (HALF - 8),
    "open string of escapes": 'a = "' + "\\\\" * (HALF - 8),
    "open literal": "a = '" + "x" * (MAX_BYTES - 8),
    "one long key": "a" * MAX_BYTES,
    "one long quoted key": '"' + "a" * (MAX_BYTES - 1),
    "keys": "".join(f"{i:x}=1\n" for i in range(130_000)),
    "tables": "".join(f"[{i:x}]\n" for i in range(125_000)),
    "list of tables": "[[a]]\n" * (MAX_BYTES // 6),
    "same table": "[a]\n" * (MAX_BYTES // 4),
    "elements": "a = [" + "1," * (HALF - 8) + "]",
    "open elements": "a = [" + "1," * (HALF - 8),
    "empty tables": "a = [" + "{}," * (MAX_BYTES // 3 - 8) + "]",
    "blanks": "a = [" + " \n" * (HALF - 8) + "x",
    "comments": "#\n" * (HALF - 8) + "x",
    "carriage returns": "\r" * MAX_BYTES,
    "nulls": "\0" * MAX_BYTES,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused_soon_and_with_a_place(name: str):
    text = HOSTILE[name]
    assert len(text) <= MAX_BYTES
    began = time.process_time()
    problem = only_problem(text)
    assert time.process_time() - began < 15  # seconds of processor time; a hang takes minutes
    assert problem.code.slug in {
        "toml-syntax",
        "nesting-too-deep",
        "integer-too-big",
        "too-many-values",
        "duplicate-key",
    }
    assert problem.place.line >= 1
    assert len(problem.render()) < 1200


def test_a_shallow_text_read_with_little_stack_left_is_not_called_deep():
    def dive(depth: int) -> object:
        try:
            return document("a = [[[[1]]]]").root if depth == 0 else dive(depth - 1)
        except RecursionError:
            return None

    assert dive(10) == {"a": [[[[1]]]]}
    assert any(dive(depth) is None for depth in range(850, 1000, 10))  # never an InputError


def test_every_example_provokes_its_own_code():
    checked = 0
    for slug, code in declared().items():
        if code.example_kind == "toml":
            assert only_problem(code.example).code.slug == slug
            checked += 1
        elif code.example_kind == "file-name":
            with pytest.raises(InputError, match=slug):
                read(code.example)
            checked += 1
    assert checked >= 5


def test_values_are_those_of_the_standard_reader():
    text = NASTY + NASTY_TABLES
    assert document(text).root == tomllib.loads(text)
