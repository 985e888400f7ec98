"""Every structural fault of small boards, against a model of lines, cores and chips (tests/oracles/wires.py)."""

import importlib.util
import itertools
import random
from functools import partial
from pathlib import Path

import pytest

from emu.errors import InputError
from emu.load import parse_machine
from emu.memory import EXTRA_CELLS, PlannedMemory
from emu.where import Source
from faults.boards import parse_board
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault
from faults.universe import universe_of

SPEC = importlib.util.spec_from_file_location("wires", Path(__file__).parents[1] / "oracles" / "wires.py")
wires = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(wires)

MACHINE = """
format = "machine/1"
name = "tern"
[word]
bits = 4
arithmetic = "twos"
base = 8
numbering = "lsb0"
[address]
bits = {lines}
[[register]]
name = "pc"
bits = {lines}
[fetch]
counter = "pc"
start = 0
[[alarm]]
name = "parity"
action = "lamp"
[[store]]
name = "store"
words = {words}
{protection}
writable = {writable}
destructive = {destructive}
cycle_ns = 1000
[[window]]
first = 0
last = {last}
store = "store"
[[instruction]]
name = "stop"
bits = "1111"
does = ["halt"]
example = {{ text = "stop", word = 15 }}
"""
BITS = ["0", "1", "2", "3", "parity"]
BARE = BITS[:4]


def board_of(lines, writable, destructive, table, *, words=0, bits=BITS, nets=""):
    def yes(b):
        return str(b).lower()

    words = words or 1 << lines
    protection = 'protection = "odd"\nalarm = "parity"' if bits == BITS else 'protection = "none"'
    text = MACHINE.format(
        lines=lines, words=words, last=words - 1, writable=yes(writable), destructive=yes(destructive),
        protection=protection,
    )  # fmt: skip
    machine = parse_machine(Source("tern.toml", text))
    head = 'format = "board/1"\nmachine = "tern"\n[[store]]\nstore = "store"\n'
    unit = '[[stand-in]]\nstore = "store"\n'
    return parse_board(machine, Source("tern.board.toml", head + table + unit + nets))


def woven(*, parity_pair, nets=""):
    pair = f"parity_pair = {str(parity_pair).lower()}\n"
    board = board_of(
        5, False, False, 'built = "woven"\ncore = "0-2"\nstrand = "3"\nmodule = "4"\n' + pair, nets=nets
    )

    def oracle(faults, cells):
        return wires.Woven(
            "store", 32, BITS, faults, cells, core_bits=3, strands=2, modules=2, parity_pair=parity_pair
        )

    return board, oracle


def coincident(*, sections, nets=""):
    table = 'built = "coincident"\nx = "0-1"\ny = "2-4"\nx_drivers = ["0", "1"]\ny_drivers = ["2-3"]\nwinding = "0,2"\n'
    board = board_of(5, True, True, table + ('section = "4"\n' if sections else ""), nets=nets)
    banks = {"x": {"a": (1, 2), "b": (2, 2)}, "y": {"a": (1, 4)}}

    def oracle(faults, cells):
        return wires.Coincident(
            "store", 32, BITS, faults, cells, columns=4, rows=8, banks=banks, sections=2 if sections else 1
        )

    return board, oracle


def chips(*, multiplexed, undriven, nets=""):
    table = f'built = "chips"\ncolumn = "0-1"\nline = "2-3"\nrow = "4"\nmultiplexed = {str(multiplexed).lower()}\n'
    inverted = 'inverted = "1,3"\n' if multiplexed else ""
    board = board_of(
        5, True, False, table + f'undriven = "{undriven}"\nrefresh = true\n{inverted}', nets=nets
    )

    def oracle(faults, cells):
        return wires.Chips(
            "store",
            32,
            BITS,
            faults,
            cells,
            lines=4,
            columns=4,
            rows=2,
            multiplexed=multiplexed,
            undriven=undriven,
            inverted=0b1010 if multiplexed else 0,
        )

    return board, oracle


# stores whose words fill a part of their addresses only: beyond them nothing answers


def woven_in_part(*, modules):
    split = 'core = "0-1"\nstrand = "2"\nmodule = "3-4"\n' if modules else 'core = "0-2"\nstrand = "3-4"\n'
    board = board_of(5, False, False, f'built = "woven"\n{split}', words=24)
    shape = (
        {"core_bits": 2, "strands": 2, "modules": 3}
        if modules
        else {"core_bits": 3, "strands": 3, "modules": 1}
    )

    def oracle(faults, cells):
        return wires.Woven("store", 24, BITS, faults, cells, parity_pair=False, **shape)

    return board, oracle


def coincident_in_part():
    table = 'built = "coincident"\nx = "0-1"\ny = "2-4"\nx_drivers = ["0", "1"]\ny_drivers = ["3-4"]\nwinding = "0,2"\n'
    board = board_of(5, True, True, table, words=24)
    banks = {"x": {"a": (1, 2), "b": (2, 2)}, "y": {"a": (2, 4)}}  # three of four drivers

    def oracle(faults, cells):
        return wires.Coincident("store", 24, BITS, faults, cells, columns=4, rows=6, banks=banks, sections=1)

    return board, oracle


def chips_in_part(*, undriven):
    table = f'built = "chips"\ncolumn = "0-1"\nline = "2"\nrow = "3-4"\nundriven = "{undriven}"\n'
    board = board_of(5, True, False, table, words=24)

    def oracle(faults, cells):
        return wires.Chips(
            "store", 24, BITS, faults, cells, lines=2, columns=4, rows=3, multiplexed=False, undriven=undriven
        )

    return board, oracle


BOARDS = {
    "woven": partial(woven, parity_pair=False),
    "woven with a parity pair": partial(woven, parity_pair=True),
    "coincident": partial(coincident, sections=False),
    "coincident in sections": partial(coincident, sections=True),
    "chips, zeros": partial(chips, multiplexed=False, undriven="zeros"),
    "chips, ones": partial(chips, multiplexed=True, undriven="ones"),
    "chips, residue": partial(chips, multiplexed=True, undriven="residue"),
    "three modules of four": lambda: woven_in_part(modules=True),
    "three strands of four": lambda: woven_in_part(modules=False),
    "six Y lines of eight": coincident_in_part,
    "three rows of chips of four, zeros": lambda: chips_in_part(undriven="zeros"),
    "three rows of chips of four, ones": lambda: chips_in_part(undriven="ones"),
    "three rows of chips of four, residue": lambda: chips_in_part(undriven="residue"),
}


def disagreement(board, oracle, fault, seed):
    """Return the first read on which plan and wires differ, as text; "" for none."""
    plan = plan_of(board, fault)
    plan.check()
    rng = random.Random(seed)
    words, patterns = board.shapes[0].words, 1 << board.shapes[0].bits
    cells = [rng.randrange(patterns) for _ in range(words)]
    planned = PlannedMemory(plan, [cells + [0] * EXTRA_CELLS])
    text = fault_text(fault, board)
    real = oracle(text, cells)
    steps = [(a, False) for a in range(words)]
    if board.shapes[0].writable:
        steps += [(a, True) for a in range(words)] + [(a, False) for a in range(words)]
    rng.shuffle(steps)
    for number, (address, write) in enumerate(steps):
        word = rng.randrange(patterns)
        planned.begin(0)
        arrived = planned.bus(address)
        if arrived >= words:  # no window of the machine leads to the store
            continue
        if write:
            planned.write(0, arrived, word)
            real.write(address, word)
            continue
        given, wanted = planned.read(0, arrived), real.read(address)
        if given != wanted:
            return f"{text}: step {number}, address {address}: plan {given:05b}, wires {wanted:05b}"
    return ""


def structural(board):
    faults = list(universe_of(board, cells=True).faults)
    return [f for f in faults if "/cell/" not in f.parts[0].sites[0]]


def single_faults(name, first, step):
    board, oracle = BOARDS[name]()
    faults = structural(board)
    assert len(faults) > 100
    wrong = [d for i, f in enumerate(faults[first::step]) if (d := disagreement(board, oracle, f, i))]
    assert not wrong, "\n".join(wrong[:20]) + f"\n{len(wrong)} of {len(faults)}"


@pytest.mark.parametrize("name", BOARDS)
def test_some_structural_faults(name):
    single_faults(name, 3, 13)


@pytest.mark.slow
@pytest.mark.parametrize("name", BOARDS)
def test_every_structural_fault(name):
    single_faults(name, 0, 1)


def tiny_woven(*, parity_pair):
    pair = f"parity_pair = {str(parity_pair).lower()}\n"
    board = board_of(3, False, False, 'built = "woven"\ncore = "0-1"\nstrand = "2"\n' + pair)

    def oracle(faults, cells):
        return wires.Woven(
            "store", 8, BITS, faults, cells, core_bits=2, strands=2, modules=1, parity_pair=parity_pair
        )

    return board, oracle


def tiny_coincident():
    board = board_of(
        3, True, True, 'built = "coincident"\nx = "0"\ny = "1-2"\ny_drivers = ["1"]\nwinding = "0,1"\n'
    )

    def oracle(faults, cells):
        banks = {"x": {}, "y": {"a": (1, 2)}}
        return wires.Coincident("store", 8, BITS, faults, cells, columns=2, rows=4, banks=banks, sections=1)

    return board, oracle


def tiny_chips(*, undriven):
    table = f'built = "chips"\ncolumn = "0"\nline = "1"\nrow = "2"\nundriven = "{undriven}"\nrefresh = true\n'
    board = board_of(3, True, False, table)

    def oracle(faults, cells):
        return wires.Chips(
            "store", 8, BITS, faults, cells, lines=2, columns=2, rows=2, multiplexed=False, undriven=undriven
        )

    return board, oracle


TINY = {
    "woven": lambda: tiny_woven(parity_pair=False),
    "woven with a parity pair": lambda: tiny_woven(parity_pair=True),
    "coincident": tiny_coincident,
    "chips, zeros": lambda: tiny_chips(undriven="zeros"),
    "chips, ones": lambda: tiny_chips(undriven="ones"),
    "chips, residue": lambda: tiny_chips(undriven="residue"),
}


def least_woven():
    """Three strands of four: the addresses of the fourth reach nothing."""
    board = board_of(3, False, False, 'built = "woven"\ncore = "0"\nstrand = "1-2"\n', words=6, bits=BARE)

    def oracle(faults, cells):
        return wires.Woven(
            "store", 6, BARE, faults, cells, core_bits=1, strands=3, modules=1, parity_pair=False
        )

    return board, oracle


def least_coincident():
    board = board_of(2, True, True, 'built = "coincident"\nx = "0"\ny = "1"\nwinding = "0,1"\n', bits=BARE)

    def oracle(faults, cells):
        banks = {"x": {}, "y": {}}
        return wires.Coincident("store", 4, BARE, faults, cells, columns=2, rows=2, banks=banks, sections=1)

    return board, oracle


def least_chips():
    table = 'built = "chips"\ncolumn = "0"\nline = "1"\nundriven = "ones"\n'
    board = board_of(2, True, False, table, bits=BARE)

    def oracle(faults, cells):
        return wires.Chips(
            "store", 4, BARE, faults, cells, lines=2, columns=2, rows=1, multiplexed=False, undriven="ones"
        )

    return board, oracle


LEAST = {  # small enough to try every pair
    "woven": least_woven,
    "coincident": least_coincident,
    "chips": least_chips,
}


def pairs_of(made, chosen):
    """Return what is wrong among the chosen pairs of single faults, how many were judged, how many refused."""
    board, oracle = made()
    wrong, judged, refused = [], 0, 0
    for one, other in chosen(list(itertools.combinations(structural(board), 2))):
        try:
            found = disagreement(board, oracle, one & other, judged)
        except InputError:
            refused += 1
            continue
        judged += 1
        if found:
            wrong.append(found)
    return wrong, judged, refused


NOTHING_THERE = {
    "three rows of four, ones": lambda: chips_in_part(undriven="ones"),
    "three rows of four, residue": lambda: chips_in_part(undriven="residue"),
    "two rows, residue": lambda: tiny_chips(undriven="residue"),
}


def judge_pairs_that_reach_nothing(name, first, step):
    """Judge pairs of address lines and select lines, which may lead to where nothing answers."""

    def near(one):
        return one.parts[0].sites[0].split("/")[1] in {"address", "row"}

    def chosen(pairs):
        return [(one, other) for one, other in pairs if near(one) and near(other)][first::step]

    wrong, judged, refused = pairs_of(NOTHING_THERE[name], chosen)
    assert not wrong, "\n".join(wrong[:20]) + f"\n{len(wrong)} of {judged}"
    assert judged > 20
    assert refused > 5


@pytest.mark.parametrize("name", NOTHING_THERE)
def test_some_pairs_that_reach_nothing(name):
    judge_pairs_that_reach_nothing(name, 1, 4 if name.startswith("two") else 23)


@pytest.mark.slow
@pytest.mark.parametrize("name", NOTHING_THERE)
def test_pairs_that_reach_nothing(name):
    judge_pairs_that_reach_nothing(name, 0, 1 if name.startswith("two") else 4)


def judge_pairs(name, count):
    wrong, judged, refused = pairs_of(TINY[name], lambda pairs: random.Random(count).sample(pairs, count))
    assert not wrong, "\n".join(wrong[:20]) + f"\n{len(wrong)} of {judged}"
    assert refused < judged / 4, "most pairs can be foretold"


@pytest.mark.parametrize("name", TINY)
def test_some_pairs(name):
    judge_pairs(name, 60)


@pytest.mark.slow
@pytest.mark.parametrize("name", TINY)
def test_many_pairs(name):
    judge_pairs(name, 400)


@pytest.mark.slow
@pytest.mark.parametrize("name", LEAST)
def test_every_pair(name):
    wrong, judged, refused = pairs_of(LEAST[name], lambda pairs: pairs)
    assert not wrong, "\n".join(wrong[:20]) + f"\n{len(wrong)} of {judged}"
    assert refused < judged / 4, "most pairs can be foretold"


NETS = '[[net]]\nname = "n"\nfeeds = {feeds}\neffect = "{effect}"\n'


@pytest.mark.parametrize(
    ("name", "effect", "kind", "feeds"),
    [
        ("coincident", "dead", "open", ["store/x/1", "store/y/2"]),
        ("coincident", "dead", "dead", ["store/y-driver-a/0", "store/y-driver-a/2"]),
        ("coincident", "dead", "dead", ["store/rewrite"]),
        ("coincident", "read-ones", "stuck-1", ["store/sense/1", "store/sense/3"]),
        ("coincident", "read-zeros", "open", ["store/sense/0", "store/sense/parity"]),
        ("chips, zeros", "dead", "dead", ["store/chip/0/1", "store/chip/1/2"]),
        ("chips, ones", "dead", "dead", ["store/chip/0/1", "store/chip/1/2"]),
        ("chips, residue", "dead", "dead", ["store/chip/0/1", "store/chip/1/2"]),
        ("chips, residue", "dead", "dead", ["store/row/0"]),
        ("woven", "dead", "dead", ["store/module/0", "store/strand/1"]),
        ("woven", "read-ones", "stuck-1", ["store/wire/0/1/2", "store/sense/0"]),
    ],
)
def test_a_net_that_is_open_does_what_all_that_it_feeds_do_without_it(name, effect, kind, feeds):
    built, oracle = BOARDS[name](nets=NETS.format(feeds=feeds, effect=effect).replace("'", '"'))
    apart = " & ".join(f"{site}:{kind}" for site in feeds)
    net = parse_fault("net/n:open", built)
    assert plan_of(built, net).digest == plan_of(built, parse_fault(apart, built)).digest
    assert not disagreement(built, lambda _, cells: oracle(apart, cells), net, 7)


def test_the_model_can_tell_faults_apart():
    """The comparison must be able to fail: wires with another fault than the plan's do not agree with it."""
    board, oracle = BOARDS["coincident"]()
    faults = [f for f in structural(board) if f.parts[0].kind in {"open", "dead"}]
    told = 0
    for one, other in itertools.pairwise(faults):
        text = fault_text(other, board)
        told += bool(disagreement(board, lambda _, cells, text=text: oracle(text, cells), one, 0))
    assert told > 0.9 * (len(faults) - 1)
