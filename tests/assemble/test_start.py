"""``.start here`` means the line it stands on."""

from emu.assemble import assemble
from emu.load import load_machine
from emu.where import Source


def test_here_on_a_start_line_is_the_next_word() -> None:
    text = "; machine: dunlin\n.at 0o1000\n.word 1\n.start here\nset 1\nstop 0\n"
    assert assemble(Source("start.asm", text), load_machine("dunlin")).image.entry == 0o1001
