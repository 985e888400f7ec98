"""``.start here`` means the line it stands on."""

from pathlib import Path

import pytest

from emu.assemble import assemble
from emu.errors import InputError
from emu.load import load_machine
from emu.where import Source


def test_here_on_a_start_line_is_the_next_word() -> None:
    text = "; machine: dunlin\n.at 0o1000\n.word 1\n.start here\nset 1\nstop 0\n"
    assert assemble(Source("start.asm", text), load_machine("dunlin")).image.entry == 0o1001


def test_a_program_starts_at_a_whole_word_where_words_take_several_addresses() -> None:
    machine = load_machine(Path(__file__).parent / "rail.toml")
    unit = machine.windows[0].unit
    assert unit > 1
    first = machine.windows[0].first
    assert assemble(Source("s.asm", f".start 0d_{first + unit}\n"), machine).image.entry == first + unit
    with pytest.raises(InputError) as caught:
        assemble(Source("s.asm", f".start 0d_{first + 1}\n"), machine)
    assert [problem.code.slug for problem in caught.value.problems] == ["asm-odd-address"]
