"""Which engine is taken, where generated modules lie, and how words are decoded."""

from random import Random

import pytest
from attrs import evolve

from emu.engine import compiled
from emu.engine.choose import choose_engine
from emu.engine.conformance import draw_request
from emu.engine.conformance_machines import draw_machine
from emu.engine.decoding import _one_by_one, decoding_tree
from emu.engine.generate import module_text
from emu.engine.walker import decoded
from emu.load import load_machine
from emu.spec import InstructionSpec


@pytest.fixture
def request_of():
    rng = Random(1)
    return draw_request(rng, draw_machine(rng))


def test_short_runs_walk_and_long_ones_are_compiled(request_of, monkeypatch) -> None:
    monkeypatch.setattr(compiled, "have_numba", lambda: True)
    short, long = (evolve(request_of, max_steps=n) for n in (1000, 10_000_000))
    assert choose_engine(short).engine.name == "walker"
    assert choose_engine(long).engine.name == "compiled"
    assert choose_engine(long, "walker").engine.name == "walker"
    assert choose_engine(short, "compiled").engine.name == "compiled"
    assert "10,000,000 instructions" in choose_engine(long).why


def test_without_numba_one_line_says_so(request_of, monkeypatch) -> None:
    monkeypatch.setattr(compiled, "have_numba", lambda: False)
    choice = choose_engine(evolve(request_of, max_steps=10_000_000))
    assert choice.engine.name == "generated"
    assert "\n" not in choice.notice
    assert "numba" in choice.notice
    assert choose_engine(evolve(request_of, max_steps=10)).notice == ""


def test_the_cache_folder(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert compiled.cache_folder() == tmp_path / "corewright"
    path = compiled._written("corewright_x", "x = 1\n")
    assert path is not None
    path.write_text("x = 2\n")
    assert compiled._written("corewright_x", "x = 1\n") == path
    assert path.read_text() == "x = 1\n", "what does not match is written anew"
    monkeypatch.setenv("XDG_CACHE_HOME", str(path))  # a file: nothing can be written there
    assert compiled._written("corewright_x", "x = 1\n") is None


def test_text_depends_on_the_machine_alone() -> None:
    fulmar = load_machine("fulmar")
    assert module_text(fulmar) == module_text(load_machine("fulmar"))
    assert module_text(fulmar) != module_text(evolve(fulmar, step=2))


def test_names_of_a_machine_file_cannot_become_code() -> None:
    machine = draw_machine(Random(5))
    hostile = tuple(evolve(i, name="x'\n    import os  # ") for i in machine.instructions)
    named = evolve(machine, instructions=hostile, doc="\n'''", name='"""')
    text = module_text(named)
    assert "\n    import os" not in text
    compile(text, "text", "exec")


def walk(tree: list[int], word: int) -> int:
    at = 0
    while at >= 0:
        at = tree[at + 2 + (word >> tree[at] & tree[at + 1])]
    return -at - 2


@pytest.mark.parametrize("seed", range(16))
def test_a_decoding_tree_finds_what_the_list_finds(seed) -> None:
    rng = Random(seed)
    bits = rng.choice([17, 24, 40])
    machine = draw_machine(rng)
    specs = []
    for number in range(rng.randint(1, 25)):
        mask = rng.getrandbits(bits) & rng.getrandbits(bits) | 1 << rng.randrange(bits)
        specs.append(
            InstructionSpec(str(number), "", mask, rng.getrandbits(bits) & mask, (), "", (), (), "", 0)
        )
    machine = evolve(machine, instructions=tuple(specs), instruction_bits=bits)
    trees = [decoding_tree(machine), _one_by_one(machine.instructions)]
    for _ in range(200):
        word = rng.getrandbits(bits)
        if rng.random() < 0.8:
            spec = rng.choice(specs)
            word = word & ~spec.mask | spec.match
        found, _ = decoded(machine, word)
        wanted = specs.index(found) if found is not None else -1
        assert [walk(tree, word) for tree in trees] == [wanted, wanted]
