"""What ``--json`` prints is what the declared schemas say, for every command that is here."""

import json

import pytest

from emu.load import load_machine
from faults.cli.pages import import_declaring_modules, present_commands
from faults.cli.schemas import check_against, declare_schema, declared_schemas, mismatches

CASES = [
    (["machines"], "machines/1"),
    (["machines", "fulmar"], "machine/1"),
    (["machines", "dunlin"], "machine/1"),
    (["info"], "info/1"),
    (["assemble", "fulmar", "gates"], "assemble/1"),
    (["assemble", "dunlin", "{bad}", "--check"], "check/1"),
    (["disassemble", "dunlin", "{right}"], "disassemble/1"),
    (["run", "fulmar", "gates", "--trace", "40"], "run/1"),
    (["run", "dunlin", "{forever}"], "run/1"),
    (["pattern", "{left}", "{right}"], "pattern/1"),
    (["pattern", "{left}", "{right}", "--again", "{left}"], "pattern/1"),
    (["pattern", "--failing", "{list}"], "pattern/1"),
    (["march", "March C-"], "march/1"),
    (["march", "MATS+", "--cells", "8", "--bits", "4"], "march/1"),
    (["march", "--names"], "march-names/1"),
]
FILES = {
    "bad": "; machine: dunlin\n        jmup here\n\N{GRINNING FACE} x\n",
    "left": "words 12 base octal\n0: 0001 0002 0003 0004 0005 0006 0007 0010\n",
    "right": "words 12 base octal\n0: 0001 0003 0003 0005 0005 0007 0007 0011\n",
    "list": "0o17 0o37\n",
    "forever": "        .at 0o200\nagain:  jump again\n",
}


@pytest.fixture
def files(tmp_path):
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    (tmp_path / "bad.asm").write_text(FILES["bad"])
    return {name: tmp_path / name for name in FILES}


@pytest.mark.parametrize(
    ("arguments", "schema"), CASES, ids=lambda value: value if isinstance(value, str) else None
)
def test_printed_objects_are_of_their_schema(cli, files, arguments, schema):
    told = cli(*(a.format(**files) for a in arguments), "--json")
    printed = json.loads(told.out)
    assert printed["schema"] == schema
    assert check_against(declared_schemas()[schema], printed) == ()
    assert next(iter(printed)) == "schema"


def test_errors_are_of_their_schema(cli):
    told = cli("machines", "fulmer", "--json")
    assert check_against(declared_schemas()["errors/1"], json.loads(told.err)) == ()
    told = cli("run", "--json")
    assert check_against(declared_schemas()["errors/1"], json.loads(told.err)) == ()


def test_every_schema_of_these_commands_is_printed_here():
    import_declaring_modules()
    ours = {"machines", "assemble", "disassemble", "run", "pattern", "march", "info"}
    modules = {f"faults.cli.{name}" for name in ours}
    assert set(present_commands()) >= ours
    assert modules
    printed = {schema for _, schema in CASES} | {"errors/1"}
    declared_here = {"machines/1", "machine/1", "info/1", "assemble/1", "check/1", "disassemble/1", "run/1",
                     "pattern/1", "march/1", "march-names/1", "errors/1"}  # fmt: skip
    assert printed == declared_here
    assert declared_here <= set(declared_schemas())


def test_numbers_stand_beside_text_in_the_machines_base(cli):
    printed = json.loads(cli("machines", "fulmar", "--json").out)
    word = load_machine("fulmar").word
    assert printed["start"] == 0o6000
    assert printed["start_text"] == "0o6000"
    for instruction in printed["instructions"]:
        assert word.parse(instruction["example_word_text"]) == instruction["example_word"]


def test_ranges_of_an_editor_count_from_0_in_utf16(cli, files):
    told = cli("assemble", "dunlin", files["bad"], "--check", "--json")
    assert told.code == 3
    first, second = json.loads(told.out)["diagnostics"][:2]
    assert first["range"] == {"start": {"line": 1, "character": 8}, "end": {"line": 1, "character": 12}}
    # one character outside the basic plane is two UTF-16 units (Unicode Standard, section 3.9)
    assert second["range"] == {"start": {"line": 2, "character": 0}, "end": {"line": 2, "character": 2}}


@pytest.mark.parametrize(
    ("shape", "value"),
    [
        ("int: n", "1"), ("int: n", True), ("int: n", None), ("text: t", 1), ("bool: b", 1), (["int: n"], {}),
        (["int: n"], [1, "2"]), ({"a": "int: n"}, {}), ({"a": "int: n"}, {"a": 1, "b": 2}), ({"*": "int: n"}, {"x": ""}),
        ({"a": {"b": "int: n"}}, {"a": 1}),
    ],
)  # fmt: skip
def test_the_check_of_a_shape_finds_what_is_wrong(shape, value):
    assert list(mismatches(shape, value))


@pytest.mark.parametrize(
    ("shape", "value"),
    [
        ("int?: n", None), ("number: n", 1), ("number: n", 1.5), ("any: a", [1]), (["int: n"], []),
        ({"a?": "int: n"}, {}), ({"a?": "int: n"}, {"a": 1}), ({"*": "text?: t"}, {"x": None, "y": "z"}),
    ],
)  # fmt: skip
def test_the_check_of_a_shape_accepts_what_is_right(shape, value):
    assert not list(mismatches(shape, value))


def test_a_schema_is_declared_once():
    with pytest.raises(ValueError, match="twice"):
        declare_schema("run/1", "again", {})
