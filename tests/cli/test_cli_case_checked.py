"""A case that does not fit its machine is told as bad input by every command that reads it, and when an entry is added."""

import pytest

from faults.cli.exits import Exit


@pytest.fixture
def wrong(cli, tmp_path):
    path = tmp_path / "c.toml"
    assert cli("case", "new", path, "fulmar", "-q").code == Exit.DONE
    with path.open("a", encoding="utf-8") as stream:
        stream.write('[[entry]]\nkind = "stop"\nprogram = "gates"\nlamps = "accumulater=17"\n')
    return path


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("stop", "program=gates", "lamps=accumulater=17"), "accumulator"),
        (("stop", "program=gates", "lamps=counter=1234567"), "12 bits holds"),
        (("stop", "program=gates", "lamps=parity=7"), "holds 0 to 0o1"),
        (("passed", "program=gatez"), "gates"),
        (("passed", "program=gates", "runs=-3"), "from 1 to"),
        (("passed", "program=gates", "when=2026-11-31"), "there must be such a day"),
        (("measured", "site=rope/address/12", "ohms=-5"), "at least 0"),
    ],
)
def test_an_entry_that_does_not_fit_is_refused_and_nothing_changed(cli, tmp_path, given, said):
    path = tmp_path / "c.toml"
    cli("case", "new", path, "fulmar", "-q")
    before = path.read_bytes()
    told = cli("case", "add", path, *given)
    assert told.code == Exit.BAD_INPUT
    assert said in told.err
    assert f"c.toml:{before.count(10) + 2 + len(given)}:" in told.err
    assert path.read_bytes() == before


def test_what_was_wrong_before_does_not_hold_up_an_entry(cli, wrong):
    told = cli("case", "add", wrong, "passed", "program=gates")
    assert told.code == Exit.DONE
    assert "something else is wrong" in told.err


@pytest.mark.parametrize("command", [("match", "--no-next"), ("next",), ("case", "check")])
def test_reading_says_so_too(cli, wrong, command):
    told = cli(*command, wrong)
    assert told.code == Exit.BAD_INPUT
    assert "[case-unknown-name]" in told.err


DUMP = '[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "rope.oct"\nprogram = "gates"\n'


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("rope.oct", b"words 16 base octal\n0: 000001 00000\n", "rope.oct:2:11"),
        ("rope.oct", bytes(range(256)) * 4, "looks like raw bytes"),
        ("rope.oct", b"", "at least one word"),
        ("rope.bin", b"\1\2\3", "takes 2 bytes"),
    ],
    ids=["short word", "raw bytes called text", "empty", "odd"],
)
def test_a_check_reads_the_files_as_match_would(cli, tmp_path, name, data, said):
    path = tmp_path / "c.toml"
    cli("case", "new", path, "fulmar", "-q")
    (tmp_path / name).write_bytes(data)
    told = cli("case", "add", path, "dump", "store=rope", f"file={name}", "program=gates")
    assert told.code == Exit.BAD_INPUT
    assert said in told.err
    path.write_text(path.read_text() + DUMP.replace("rope.oct", name))
    for command in (("case", "check"), ("match",)):
        told = cli(*command, path)
        assert told.code == Exit.BAD_INPUT
        assert said in told.err


def test_a_file_that_was_perhaps_cut_short_is_a_warning(cli, tmp_path):
    path = tmp_path / "c.toml"
    cli("case", "new", path, "fulmar", "-q")
    (tmp_path / "rope.oct").write_text("words 16 base octal\n0: 000001 000002")
    path.write_text(path.read_text() + DUMP)
    told = cli("case", "check", path)
    assert told.code == Exit.DONE
    assert "may be cut short" in told.err
