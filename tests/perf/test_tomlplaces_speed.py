"""How long it takes to read, and to find the places of, a file of 5,000 tables."""

import pytest

from emu.tomlfile import parse
from emu.tomlplaces import scan
from emu.where import Source

TEXT = "".join(
    f'[[instruction]]\nname = "add{i}"\nbits = "0010 aaaaaaaaaaaa"\ndoes = ["acc = acc + M[a]"]\n'
    f'example = {{ text = "add 0o17", word = 0o020017 }}\ndoc = "Add the word."\n\n'
    for i in range(5000)
)


@pytest.mark.perf
def test_places_of_five_thousand_tables(benchmark):
    index = benchmark(scan, TEXT)
    assert index.stopped is None
    assert len(index.values) == 45_001


@pytest.mark.perf
def test_reading_five_thousand_tables(benchmark):
    document = benchmark(parse, Source("f", TEXT))
    assert len(document.root["instruction"]) == 5000
