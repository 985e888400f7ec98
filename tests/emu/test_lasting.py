"""What a plan makes of the words of a store that never changes, against the readable memory."""

from random import Random

import numpy as np
import pytest

from emu.engine.lasting import altered_stores, concerned, given
from emu.gates import Gate
from emu.memory import EXTRA_CELLS, MemoryPlan, Mode, PlannedMemory, StoreShape, StoreTable, no_table
from emu.rules import Rule

ROM, RAM = StoreShape("rom", 24, 6, False, False), StoreShape("ram", 8, 6, True, True)
ACTIONS = ("set", "clear", "flip", "tie-or", "tie-and", "swap")


def drawn_table(rng: Random) -> StoreTable:
    moved = np.array(sorted(rng.sample(range(ROM.words), rng.choice([0, 6]))), np.int32)
    cells = ROM.words + EXTRA_CELLS
    rows = [sorted(rng.sample(range(cells), rng.choice([1, 2, 3]))) for _ in moved]
    filled = np.array([(r + r[-1:] * 2)[:3] for r in rows], np.int32).reshape(-1, 3)
    masked = np.array(sorted(rng.sample(range(ROM.words), rng.choice([0, 5, 24]))), np.int32)
    ands = np.array([rng.getrandbits(6) | 1 for _ in masked], np.int64)
    ors = ands & np.array([rng.getrandbits(6) for _ in masked], np.int64)
    return StoreTable(moved, filled, filled, masked, ands, ors, ands, ors, rng.choice(["or", "and"]))


def drawn_rule(rng: Random) -> Rule:
    mask, word = rng.getrandbits(3), rng.choice([0, 0, rng.getrandbits(6)])
    action = rng.choice(ACTIONS)
    bits = sum(1 << b for b in rng.sample(range(6), 2))
    return Rule(
        rng.choice(["sense", "bus"]), 0, action, bits, rng.choice(["read", "write", "both"]),
        mask, rng.getrandbits(3) & mask, word, rng.getrandbits(6) & word,
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(60))
def test_every_word_is_that_of_the_readable_memory_whatever_was_read_before(seed: int) -> None:
    rng = Random(seed)
    rules = tuple(sorted(drawn_rule(rng) for _ in range(rng.randrange(4))))
    plan = MemoryPlan((ROM, RAM), (Mode((drawn_table(rng), no_table(3)), rules),))
    cells = [rng.getrandbits(6) for _ in range(ROM.words)] + [0] * EXTRA_CELLS
    memory = PlannedMemory(plan, [cells, [0] * (RAM.words + EXTRA_CELLS)])
    order = [rng.randrange(ROM.words) for _ in range(80)]
    words = []
    for address in order:
        memory.begin(0)
        words.append(memory.read(0, address))
    content, asked = np.array(cells, np.int64), np.array(order, np.int64)
    assert altered_stores(plan) in {(), (0,)}
    assert given(plan, 0, content, asked).tolist() == words
    changed = {a for a, w in zip(order, words, strict=True) if w != cells[a]}
    assert changed <= set(concerned(plan, 0).tolist())


def test_what_looks_back_comes_and_goes_or_can_be_written_is_left_to_the_whole_plan() -> None:
    def of(*rules: Rule, gates: tuple[tuple[Gate, ...], ...] = ()) -> tuple[int, ...]:
        mode = Mode((no_table(), no_table()), rules)
        return altered_stores(MemoryPlan((ROM, RAM), (mode,) * (1 << len(gates)), gates))

    plain = Rule("sense", 0, "swap", 3)
    assert of(plain) == (0,)
    assert of(Rule("sense", 0, "set", 1, last_mask=1)) == ()
    assert of(Rule("bus", 0, "hold", 1)) == ()
    assert of(Rule("bus", 0, "set", 1), Rule("bus", 1, "set", 1)) == ()
    assert of(plain, gates=((Gate("chance", 7),),)) == ()
