"""Listing and name table: golden pages, and the image read back from the listing."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.assemble import assemble, render_listing, render_symbols
from emu.codes import verify
from emu.load import load_machine
from emu.where import Source

FOLDER = Path(__file__).parent
FILES = {"table.asm": "table:  .word 5, 7\n"}


def open_include(name):
    return Source(name, FILES[name])


def build(machine, name):
    text = (FOLDER / f"{name}.asm").read_text(encoding="utf-8")
    return assemble(Source(f"{name}.asm", text), machine, open_include)


@pytest.mark.parametrize("name", ["tern", "rail"])
def test_golden(name, machines):
    assembly = build(machines[name], name)
    got = render_listing(assembly) + "\n" + render_symbols(assembly)
    golden = FOLDER / f"{name}.listing"
    if not golden.exists() or golden.read_text(encoding="utf-8") != got:
        golden.with_suffix(".listing.new").write_text(got, encoding="utf-8")
    assert got == golden.read_text(encoding="utf-8")


def read_back(listing, machine, banks):
    """Read the words out of a listing of a machine of base 8 with one check digit: an independent reader."""
    stores = {}
    last = None
    for line in listing.splitlines()[2:]:
        found = re.match(r" *(?:(\d+):)?([0-7]{4})  ([0-7]{4})(?:  ([01]))?(?: |$)", line)
        if found:
            bank, address = int(found[1] or 0), int(found[2], 8)
            store, index = ("rope", bank * 32 + address - 0o4000) if address >= 0o4000 else ("core", address)
            last = (store, index, int(found[3], 8))
            stores.setdefault(store, {})[index] = last[2]
            if found[4]:
                stored = int(found[4]) << 12 | last[2]
                assert verify("odd", 12, stored).status == "ok"
        more = re.match(r" *to (?:\d+:)?([0-7]{4})$", line.rstrip())
        if more and last:
            end = int(more[1], 8) - (0o4000 - banks * 32 if last[0] == "rope" else 0)
            stores[last[0]].update(dict.fromkeys(range(last[1], end + 1), last[2]))
        if re.match(r" *[0-7]{4} +\d+  .*reserve", line):
            last = None
    return stores


def test_banks_are_in_the_base_of_the_machine():
    source = Source("p.asm", ".bank 0d_23\n.at 0o4000\nlast: stop\n")
    assembly = assemble(source, load_machine("fulmar"))
    assert "27:4000  007402  0" in render_listing(assembly)
    assert "last  27:4000" in render_symbols(assembly)


statements = st.one_of(
    st.lists(st.integers(0, 4095), min_size=1, max_size=5).map(
        lambda v: ".word " + ", ".join(f"0d{n}" for n in v)
    ),
    st.tuples(st.integers(1, 9), st.integers(0, 4095)).map(lambda t: f".fill 0d{t[0]}, 0d{t[1]}"),
    st.integers(1, 9).map(lambda n: f".reserve 0d{n}"),
    st.integers(-128, 127).map(lambda n: f"set {'-' * (n < 0)}0d{abs(n)}"),
    st.just("; a comment"),
    st.just('.text "gate"'),
)


@settings(max_examples=50, deadline=None)
@given(st.lists(statements, max_size=12))
def test_the_words_of_the_listing_are_the_image(tern, lines):
    assembly = assemble(Source("p.asm", "\n".join(lines)), tern)
    image = {name: {i: w for i, w, _ in seg.words()} for name, seg in assembly.image.segments.items()}
    assert read_back(render_listing(assembly), tern, 0) == image
