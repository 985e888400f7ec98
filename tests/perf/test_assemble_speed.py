"""How long 10,000 lines take to assemble, list and disassemble. Reported, not gated; the aim is under 1 s."""

import pytest

from emu.assemble import assemble, disassemble_image, render_listing
from emu.load import load_machine
from emu.where import Source

pytestmark = pytest.mark.perf


@pytest.fixture(scope="module")
def program():
    lines = []
    for number in range(2000):
        lines += [
            f"part{number}: set r1, {number % 100} + 5 * 2   ; a comment",
            f"        load r2, part{number}",
            "        add r1, r2, r3",
            f"        .word part{number} + 1, 'A'",
            f"        jump-if-zero r1, part{number}",
        ]
    return load_machine("sandpiper"), Source("long.asm", "\n".join(lines))


def test_assemble_10k_lines(program, benchmark):
    machine, source = program
    assembly = benchmark(assemble, source, machine)
    assert sum(len(segment.cells) for segment in assembly.image.segments.values()) == 12_000


def test_list_10k_lines(program, benchmark):
    machine, source = program
    assert benchmark(render_listing, assemble(source, machine)).count("\n") > 10_000


def test_disassemble_12k_words(program, benchmark):
    machine, source = program
    image = assemble(source, machine).image
    assert (
        assemble(Source("a", benchmark(disassemble_image, machine, image)), machine).image.segments
        == image.segments
    )
