"""The place of every key and value, over generated documents.

Oracles: the standard library's reader (values) and tomli-w, an independent writer.
"""

import datetime as dt
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.errors import InputError
from emu.tomlfile import TomlDocument, parse
from emu.tomlplaces import MAX_DEPTH, character_offset, scan
from emu.where import Source

CHARACTERS = st.characters(exclude_categories=["Cs"])
TEXTS = st.text(CHARACTERS, max_size=12) | st.text(st.sampled_from("\"'\\\n\t#=[]{}. ab"), max_size=12)
KEYS = st.sampled_from(["a", "b", "c-d", "0", "x y", ""]) | TEXTS
LEAVES = (
    st.integers(-(2**64), 2**64)
    | st.booleans()
    | st.floats(allow_nan=False)
    | TEXTS
    | st.dates(min_value=dt.date(1000, 1, 1))
    | st.datetimes(min_value=dt.datetime(1000, 1, 1))  # noqa: DTZ001  # a local date and time, as TOML has them
    | st.times()
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3),
    max_leaves=10,
)
DOCUMENTS = st.dictionaries(KEYS, VALUES, max_size=5)


def every_path(node: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    items = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for step, value in items:
        yield (*path, step), value
        yield from every_path(value, (*path, step))


def check_places(document: TomlDocument) -> None:
    """Read back what stands at every place with the standard reader."""
    text = document.source.text
    lines = text.split("\n")
    for path, value in every_path(document.root):
        written = document.literal(path)
        if not isinstance(value, dict | list):
            assert tomllib.loads(f"v = {written}")["v"] == value
        elif isinstance(value, dict) and written.startswith("["):
            assert tomllib.loads(written)  # a header, on a line of its own
        place = document.place(path)
        assert lines[place.line - 1][place.column - 1 :].startswith(written.split("\n")[0].rstrip("\r"))
        if isinstance(path[-1], str):
            key = document.key_place(path)
            spelled = lines[key.line - 1][key.column - 1 : key.column - 1 + key.length]
            if key.length < 80:  # longer ones are not underlined to their end
                assert tomllib.loads(f"{spelled} = 1") == {path[-1]: 1}


def line_ends_survive(node: Any) -> bool:
    """Whether a document holds no carriage return, which a text with Windows line ends cannot keep apart."""
    return not any("\r" in str(s) for p, v in every_path(node) for s in (*p, v))


@given(DOCUMENTS)
@settings(max_examples=150)
def test_places_in_documents_of_another_writer(data: dict[str, Any]):
    for text in (tomli_w.dumps(data), tomli_w.dumps(data, multiline_strings=True)):
        document = parse(Source("f", text))
        assert document.root == tomllib.loads(text)
        check_places(document)


@st.composite
def spelled_value(draw: st.DrawFn, value: Any) -> str:
    """Write a value in one of the ways TOML allows."""
    space = draw(st.sampled_from(["", " ", "\t"]))
    if isinstance(value, dict):
        inside = [f"{draw(spelled_key(k))}{space}={space}{draw(spelled_value(v))}" for k, v in value.items()]
        return "{" + space + ("," + space).join(inside) + space + "}"
    if isinstance(value, list):
        gap = draw(st.sampled_from(["", " ", "\n", " # ] a comment\n\t"]))
        inside = [gap + draw(spelled_value(v)) + gap for v in value]
        trailing = "," if inside and draw(st.booleans()) else ""
        return "[" + ",".join(inside) + trailing + gap + "]"
    return (
        draw(spelled_string(value))
        if isinstance(value, str)
        else tomli_w.dumps({"v": value})[4:].rstrip("\n")
    )


@st.composite
def spelled_string(draw: st.DrawFn, value: str) -> str:
    ways = [tomli_w.dumps({"v": value})[4:].rstrip("\n")]
    printable = all(c == "\t" or (ord(c) >= 32 and ord(c) != 127) for c in value)
    if printable and "'" not in value:
        ways.append(f"'{value}'")
    if "'''" not in value and all(c in "\t\n" or (ord(c) >= 32 and ord(c) != 127) for c in value):
        ways.append(f"'''\n{value}'''")
    escaped = "".join(f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08X}" for c in value)
    ways += [f'"{escaped}"', f'"""{escaped}"""', f'"""\\\n   \n  {escaped}\\   \n """']
    return draw(st.sampled_from(ways))


@st.composite
def spelled_key(draw: st.DrawFn, name: str) -> str:
    ways = ['"' + "".join(f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}" for c in name) + '"']
    if name and all(c.isascii() and (c.isalnum() or c in "-_") for c in name):
        ways.append(name)
    if all(c == "\t" or (ord(c) >= 32 and ord(c) != 127 and c != "'") for c in name):
        ways.append(f"'{name}'")
    return draw(st.sampled_from(ways))


@st.composite
def spelled_table(draw: st.DrawFn, table: dict[str, Any], above: list[str]) -> list[str]:
    """Write a table as lines: values, dotted keys or inline tables first, then headers."""
    lines, below = [], []
    for name, value in table.items():
        key = draw(spelled_key(name))
        way = draw(st.sampled_from(["inline", "header", "dotted"]))
        if isinstance(value, dict) and value and way == "dotted":
            for inner, held in value.items():
                dot = draw(st.sampled_from([".", " . ", "\t."]))
                lines.append(f"{key}{dot}{draw(spelled_key(inner))} = {draw(spelled_value(held))}")
        elif isinstance(value, dict) and way == "header":
            below.append(f"[{' . '.join([*above, key])}]")
            below += draw(spelled_table(value, [*above, key]))
        elif (
            isinstance(value, list) and value and all(isinstance(v, dict) for v in value) and way == "header"
        ):
            for entry in value:
                below.append(f"[[ {'.'.join([*above, key])} ]] # [[comment]]")
                below += draw(spelled_table(entry, [*above, key]))
        else:
            lines.append(f"  {key} = {draw(spelled_value(value))}\t# = 'comment'")
        if draw(st.booleans()):
            lines.append(draw(st.sampled_from(["", "  ", "# [a] comment = 1"])))
    return lines + below


@given(st.data(), DOCUMENTS, st.booleans())
@settings(max_examples=120)
def test_places_in_documents_written_in_every_way(data: st.DataObject, tree: dict[str, Any], windows: bool):
    text = "\n".join(data.draw(spelled_table(tree, [])))
    assert tomllib.loads(text) == tree
    document = parse(Source("f", text.replace("\n", "\r\n") if windows and line_ends_survive(tree) else text))
    assert document.root == tree
    check_places(document)
    assert document.index.stopped is None


@given(
    st.data(),
    DOCUMENTS,
    st.integers(0, 10_000),
    st.sampled_from([*list("\"'\\\n\r#=[]{}., 0a_-"), '"""', "'''"]),
)
@settings(max_examples=150)
def test_damaged_documents_are_refused_with_a_place_or_fully_indexed(
    data: st.DataObject, tree: dict[str, Any], where: int, put: str
):
    text = "\n".join(data.draw(spelled_table(tree, [])))
    at = where % (len(text) + 1)
    damaged = text[:at] + put + text[at + data.draw(st.integers(0, 2)) :]
    try:
        document = parse(Source("f", damaged))
    except InputError as error:
        (problem,) = error.problems
        assert 1 <= problem.place.line <= damaged.count("\n") + 1
        assert problem.place.column >= 1
        with pytest.raises(tomllib.TOMLDecodeError):
            tomllib.loads(damaged)
        return
    assert document.index.stopped is None
    check_places(document)


@given(st.text(st.sampled_from("\"'\\\n\r\t#=[]{}., 0a_-:T"), max_size=40))
@settings(max_examples=400)
def test_the_scan_of_any_text_ends_and_reads_on_where_the_standard_reader_does(text: str):
    index = scan(text)
    try:
        tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError):
        return
    assert index.stopped is None


@given(TEXTS, st.data())
def test_each_character_of_a_string_has_its_offset(value: str, data: st.DataObject):
    literal = data.draw(spelled_string(value))
    quotes = 3 if literal[:3] in {'"""', "'''"} else 1
    offsets = [character_offset(literal, i) for i in range(len(value) + 1)]
    assert offsets == sorted(set(offsets))
    assert offsets[-1] == len(literal) - quotes or "\\" in literal[offsets[-1] :]
    for offset, following, character in zip(offsets, offsets[1:], value, strict=False):
        piece = literal[offset:following]
        piece = (
            piece.split("\\ ")[0] if literal[0] == '"' and piece.endswith(" ") and len(piece) > 6 else piece
        )
        read = tomllib.loads(f'v = """{piece}"""')["v"] if literal[0] == '"' and piece != "\n" else piece
        assert read == character


def test_the_scan_stops_at_the_bound_of_depth():
    index = scan("a = " + "[" * (MAX_DEPTH + 5))
    assert (index.too_deep, index.stopped) == (True, len("a = ") + MAX_DEPTH)
    index = scan("a = 1\nb = [1\n")
    assert (index.too_deep, index.stopped) == (False, 10)
