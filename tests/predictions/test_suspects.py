"""The suspects keep the prior of every family whole, and do not miss the few members that programs touch."""

from functools import cache

import numpy as np
import pytest

from emu.load import load_machine
from faults.boards import load_board
from faults.predictions.clues import Clues
from faults.predictions.suspects import SuspectMaker
from faults.priors import load_priors
from faults.sites import CellBit


@cache
def maker(name):
    return SuspectMaker(load_board(load_machine(name)), load_priors())


def word_of(one, suspect):
    role = one.board.site(suspect.fault.parts[0].sites[0]).role
    return role.cell if isinstance(role, CellBit) else None


CLUES = {
    "nothing known": Clues(),
    "an address named": Clues({0: frozenset({5, 77})}),
    "two programs": Clues(touched={0: (np.arange(40), np.arange(30, 2000))}),
    "both": Clues({0: frozenset({5, 35})}, touched={0: (np.arange(40), np.arange(30, 2000))}),
}


@pytest.mark.parametrize("name", ["fulmar", "dunlin", "sandpiper"])
@pytest.mark.parametrize("clues", CLUES)
def test_members_and_weights_of_the_sample_add_up_to_the_universe(name, clues):
    one = maker(name)
    found = one.suspects(CLUES[clues])
    assert sum(s.stands_for for s in found.all) - 1 == found.universe
    texts = [s.hypothesis.fault for s in found.all]
    assert len(set(texts)) == len(texts)
    for block in one.blocks:
        kinds = {p.kind for p in block.fault(0).parts}
        family = getattr(block, "family", None)
        if family is None:
            continue
        whole = sum(one.weight(block.fault(n)) for n in (0, len(block) - 1)) / 2 * len(block)
        mine = [
            s.hypothesis.weight
            for s in found.all[:-1]
            if s.fault.parts[0].kind in kinds
            and s.fault.parts[0].sites[0].startswith(f"{family.prefix}/")
            and s.fault.parts[0].sites[0].count("/") == family.prefix.count("/") + len(family.dimensions)
        ]
        assert sum(mine) == pytest.approx(whole)


def test_words_that_programs_touch_have_a_sample_of_their_own():
    """Ten words of 65,536 are touched: a sample of all words would hardly hold one cell of them."""
    one = maker("sandpiper")
    touched = np.arange(4000, 4010)
    words = [word_of(one, s) for s in one.suspects(Clues(touched={0: (touched,)})).all[:-1]]
    assert sum(w in touched for w in words if w is not None) == 10 * 30 * 2  # all cells of so few words
    unaware = [word_of(one, s) for s in one.suspects(Clues()).all[:-1]]
    assert sum(w in touched for w in unaware if w is not None) < 10


def test_the_same_clues_make_the_same_suspects():
    one = maker("dunlin")
    first, again = (one.suspects(CLUES["both"]) for _ in range(2))
    assert [s.hypothesis for s in first.all] == [s.hypothesis for s in again.all]
