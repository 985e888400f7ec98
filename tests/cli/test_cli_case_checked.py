"""A case that does not fit its machine is told as bad input by every command that reads it, and when an entry is added."""

import pytest

from faults.cli.exits import Exit


@pytest.fixture
def wrong(cli, tmp_path):
    path = tmp_path / "c.toml"
    assert cli("case", "new", path, "fulmar", "-q").code == Exit.DONE
    told = cli("case", "add", path, "stop", "program=gates", "lamps=accumulater=17")
    return path, told


def test_adding_says_what_is_wrong_and_where(wrong):
    path, told = wrong
    assert told.code == Exit.BAD_INPUT
    assert "[case-unknown-name]" in told.err
    assert "accumulator" in told.err
    assert 'lamps = "accumulater=17"' in path.read_text()


@pytest.mark.parametrize("command", [("match", "--no-next"), ("next",), ("case", "check")])
def test_reading_says_so_too(cli, wrong, command):
    path, _ = wrong
    told = cli(*command, path)
    assert told.code == Exit.BAD_INPUT
    assert "[case-unknown-name]" in told.err
