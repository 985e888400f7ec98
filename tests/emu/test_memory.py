"""Laws of memory plans: identity, invariants, order of composition, digests, gates."""

from itertools import permutations
from random import Random

import numpy as np
import pytest
from scipy import stats

from emu.compose import (
    Altered,
    BusAddresses,
    Lowered,
    Masks,
    PlanTooWideError,
    Selection,
    StoreAddresses,
    compose,
)
from emu.engine.conformance_machines import draw_machine
from emu.engine.conformance_plans import draw_plan
from emu.gates import CHANCE_ONE, Gate, GateClock, draw, dwell_table, is_open
from emu.memory import MemoryPlan, PlannedMemory, StoreShape, identity_plan, shapes_of
from emu.rules import Rule

SHAPE = StoreShape("core", 16, 5, destructive=False, writable=True)
CORE = StoreShape("core", 16, 5, destructive=True, writable=True)


def memory(plan: MemoryPlan, words: list[int], seed: int = 0) -> PlannedMemory:
    return PlannedMemory(plan, [[*words, 0, 0, 0]], seed)


def read(held: PlannedMemory, address: int) -> int:
    held.begin(0)
    return held.read(0, address)


def write(held: PlannedMemory, address: int, word: int) -> None:
    held.begin(0)
    held.write(0, address, word)


def one(*alterations, shape=SHAPE) -> MemoryPlan:
    return compose((shape,), [Lowered(alterations)])


@pytest.mark.parametrize("shape", [SHAPE, CORE])
def test_the_identity_is_a_memory(shape) -> None:
    rng, held = Random(1), memory(identity_plan((shape,)), [0] * 16)
    plain = [0] * 16
    for _ in range(500):
        address, word = rng.randrange(16), rng.randrange(32)
        if rng.random() < 0.5:
            write(held, address, word)
            plain[address] = word
        assert read(held, address) == plain[address]
    assert held.plan.healthy


@pytest.mark.parametrize("seed", range(80))
def test_drawn_plans_keep_the_invariants(seed: int) -> None:
    rng = Random(seed)
    machine = draw_machine(rng)
    for _ in range(5):
        plan = draw_plan(rng, machine)
        plan.check()
        plan.under(frozenset()).check()
        settled = plan.under(frozenset({"warm"}))
        settled.check()
        assert not any(g.kind == "condition" for group in settled.gates for g in group)


def test_check_refuses_a_broken_plan() -> None:
    plan = one(Masks("50 x", 0, "read", set_bits=1, cells=np.array([3, 5])))
    table = plan.modes[0].tables[0]
    table.masked[:] = table.masked[::-1].copy()
    with pytest.raises(AssertionError, match="ascend"):
        plan.check()


PARTS = [
    Lowered((StoreAddresses("10 line/1", 0, np.arange(16) & ~2),)),
    Lowered((StoreAddresses("10 line/2", 0, np.arange(16) | 4),)),
    Lowered((Masks("50 sense/1", 0, "read", set_bits=2),)),
    Lowered((Masks("50 sense/0", 0, "read", clear_bits=2),)),
    Lowered((Altered("60 tie", Rule("bus", 0, "tie-or", 3)),), (Gate("chance", 5),)),
    Lowered((BusAddresses("00 bus", np.arange(32) ^ 1),)),
]


def test_the_order_in_which_faults_are_named_does_not_matter() -> None:
    digests = {
        compose((SHAPE,), order).digest
        for order in permutations(PARTS, 4)
        if set(map(id, order)) == set(map(id, PARTS[:4]))
    }
    assert len(digests) == 1
    assert compose((SHAPE,), PARTS).digest == compose((SHAPE,), PARTS[::-1]).digest


def test_later_masks_win() -> None:
    plan = one(Masks("50 a", 0, "read", set_bits=2), Masks("51 b", 0, "read", clear_bits=2))
    assert read(memory(plan, [31] * 16), 0) == 29


def test_equal_behaviour_equal_digest() -> None:
    stuck = one(StoreAddresses("10 line", 0, np.arange(16) & ~8))
    by_selection = one(Selection("20 pick", 0, lambda rows: np.where(rows < 0, -1, rows & ~8)))
    doubled = one(Selection("20 pick", 0, lambda rows: np.hstack([rows & ~8, rows & ~8])))
    assert stuck.digest == by_selection.digest == doubled.digest
    assert stuck.digest != one(StoreAddresses("10 line", 0, np.arange(16) & ~4)).digest
    nothing = one(Masks("50 x", 0, "both", set_bits=0, clear_bits=0))
    assert nothing.digest == identity_plan((SHAPE,)).digest


def test_two_cells_at_once_are_written_both_and_read_as_or() -> None:
    plan = one(Selection("20 pick", 0, lambda rows: np.hstack([rows, np.where(rows == 1, 2, rows)])))
    held = memory(plan, [0, 1, 2, *[0] * 13])
    assert read(held, 1) == 3
    write(held, 1, 8)
    assert (read(held, 2), held.cells[0][:3]) == (8, [0, 8, 8])


def test_a_repeated_cell_counts_once() -> None:
    # cell 1 answers address 0; a row is filled up with its last cell, which must not flip its victim twice
    flip = Altered(
        "60 x", Rule("cell", 0, "couple", 4, cell=1, cell_bits=1, other=5, edge="rise", effect="flip")
    )
    plan = one(StoreAddresses("10 line", 0, np.where(np.arange(16) == 0, 1, np.arange(16))), flip)
    held = memory(plan, [0] * 16)
    write(held, 0, 1)
    assert held.cells[0][5] == 4


def test_nothing_selected_reads_zero_and_loses_writes() -> None:
    plan = one(Selection("20 pick", 0, lambda rows: np.where(rows == 3, -1, rows)), shape=CORE)
    held = memory(plan, [31] * 16)
    assert read(held, 3) == 0
    write(held, 3, 7)
    assert held.cells[0][3] == 31


def test_too_many_cells_are_refused() -> None:
    with pytest.raises(PlanTooWideError, match="at most 4 cells"):
        one(Selection("20 pick", 0, lambda rows: np.hstack([rows, *[(rows + i) % 16 for i in range(1, 5)]])))


def test_a_dead_rewrite_destroys_what_is_read() -> None:
    held = memory(one(Masks("50 x", 0, "write", clear_bits=31), shape=CORE), [21] * 16)
    assert (read(held, 0), read(held, 0), read(held, 1)) == (21, 0, 21)


# --- gates


def test_chance_is_as_often_as_it_says() -> None:
    # exact binomial test (scipy.stats.binomtest), 20,000 draws at 5 %; fixed seed, so it cannot flicker
    low = CHANCE_ONE // 20
    hits = sum(is_open(Gate("chance", low), GateClock(), 3, 0, i, 0, 0) for i in range(20_000))
    assert stats.binomtest(hits, 20_000, low / CHANCE_ONE).pvalue > 0.01


def test_draws_are_spread_over_all_bits() -> None:
    ones = np.zeros(64)
    for i in range(2000):
        word = draw(9, 1, i)
        ones += [word >> b & 1 for b in range(64)]
    chi = ((ones - 1000) ** 2 / 500).sum()
    assert stats.chi2(64).sf(chi) > 0.001


def test_dwell_times_have_their_mean_and_shape() -> None:
    table = np.array(dwell_table(1_000_000))
    assert abs(table.mean() / 1_000_000 - 1) < 0.01
    assert stats.kstest(table, "expon", args=(0, 1_000_000)).statistic < 0.01


def test_a_contact_is_closed_at_first_and_open_its_share_of_time() -> None:
    gate, clock = Gate("contact", 2_000, 8_000), GateClock()
    states = [is_open(gate, clock, 5, 0, 0, t, 0) for t in range(0, 4_000_000, 200)]
    assert not states[0]
    assert abs(np.mean(states) - 0.2) < 0.03
    late = GateClock()
    assert is_open(gate, late, 5, 0, 0, 3_999_800, 0) == states[-1], "no matter how often it was asked"


def test_window_and_after() -> None:
    window, after = Gate("window", 2, 4), Gate("after", 3, 1)
    assert [is_open(window, GateClock(), 0, 0, i, 0, 0) for i in range(6)] == [
        False,
        False,
        True,
        True,
        False,
        False,
    ]
    assert [is_open(after, GateClock(), 0, 0, 0, 0, a) for a in (1, 5, 2)] == [True, True, False]


def test_conditions_are_settled_before_the_run() -> None:
    stuck = Lowered((Masks("50 x", 0, "read", set_bits=1),), (Gate("condition", name="warm"),))
    plan = compose((SHAPE,), [stuck])
    assert plan.under(frozenset()).healthy
    assert read(memory(plan.under(frozenset({"warm"})), [0] * 16), 0) == 1


def test_shapes_come_from_the_stores() -> None:
    machine = draw_machine(Random(3))
    assert [s.bits for s in shapes_of(machine.stores)] == [s.bits for s in machine.stores]
