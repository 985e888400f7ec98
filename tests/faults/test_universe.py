"""Universes: what they list, that they are lazy, and that groups are those of equal plans."""

import itertools
import random
import time

import pytest

from emu.load import load_machine
from faults.boards import load_board
from faults.kinds import all_kinds
from faults.lower import plan_of, single_cell_form
from faults.notation import fault_text, parse_fault
from faults.universe import group_key, universe_of

BOARDS = {name: load_board(load_machine(name)) for name in ("dunlin", "fulmar", "sandpiper")}
FULMAR = BOARDS["fulmar"]


def test_sizes_of_fulmar():
    """A few thousand faults of the structure, tens of thousands with the cells."""
    assert 3_000 < len(universe_of(FULMAR, cells=False)) < 10_000
    assert 50_000 < len(universe_of(FULMAR)) < 100_000
    counts = universe_of(FULMAR).counts()
    assert counts["stuck-0"] - universe_of(FULMAR, cells=False).counts()["stuck-0"] == 2048 * 17


@pytest.mark.parametrize("name", BOARDS)
def test_counts_are_what_is_listed(name):
    universe = universe_of(BOARDS[name], cells=False)
    listed: dict[str, int] = {}
    for fault in universe.faults:
        kind = fault_text(fault).rpartition(":")[2]
        listed[kind] = listed.get(kind, 0) + 1
    assert universe.counts() == dict(sorted(listed.items()))
    assert len(universe) == sum(listed.values())


def test_no_fault_is_listed_twice():
    faults = list(universe_of(FULMAR).faults)
    assert len(set(faults)) == len(faults)


@pytest.mark.parametrize("name", BOARDS)
def test_every_listed_fault_reads_back(name):
    universe = universe_of(BOARDS[name], kinds=list(all_kinds()))
    rng = random.Random(5)
    for number in rng.sample(range(len(universe)), 300):
        fault = universe.faults[number]
        assert parse_fault(fault_text(fault), BOARDS[name]) == fault


def test_walking_and_indexing_agree():
    universe = universe_of(FULMAR, kinds=["stuck", "inverts", "refuses"], region=(0, 3))
    walked = list(universe.faults)
    assert [universe.faults[i] for i in range(len(universe))] == walked
    assert universe.faults[-1] == walked[-1]
    assert universe.faults[2:5] == walked[2:5]
    with pytest.raises(IndexError):
        universe.faults[len(universe)]


def test_restricted_to_store_kind_and_region():
    faults = universe_of(FULMAR, stores=["core"], kinds=["stuck-1"], region=(0o17, 0o20)).faults
    texts = [fault_text(f) for f in faults]
    assert all(t.startswith("core/") and t.endswith(":stuck-1") for t in texts)
    assert sum("/cell/" in t for t in texts) == 2 * 17
    assert not [t for t in texts if "/cell/" in t and "0o0017" not in t and "0o0020" not in t]
    assert set(universe_of(FULMAR, kinds=["shorted"], cells=False).counts()) == {
        "shorted-and",
        "shorted-or",
    }


def test_what_is_not_common_is_listed_only_if_named():
    assert not any(k.startswith(("inverts", "refuses")) for k in universe_of(FULMAR).counts())
    assert universe_of(FULMAR, kinds=["refuses"]).counts()["refuses-rise"] == 2048 * 17


def test_sandpiper_cells_are_never_spelled_out():
    began = time.process_time()
    universe = universe_of(BOARDS["sandpiper"], kinds=list(all_kinds()))
    assert len(universe) > 10_000_000
    assert universe.faults[len(universe) - 1].parts[0].kind
    assert time.process_time() - began < 2


def test_small_forms_are_what_the_plans_hold():
    rng = random.Random(6)
    faults = universe_of(FULMAR, stores=["core"], kinds=["stuck"]).faults
    cells = [f for f in rng.sample(faults, 400) if "/cell/" in f.parts[0].sites[0]]
    assert len(cells) > 300
    for fault in cells[:40]:
        form = single_cell_form(FULMAR, fault)
        table = plan_of(FULMAR, fault).modes[0].tables[form.store]
        assert table.masked.tolist() == [form.cell]
        found = [int(a[0]) for a in (table.out_and, table.out_or, table.in_and, table.in_or)]
        assert found == list(form[2:])
        assert group_key(FULMAR, fault) == tuple(form)


def test_no_small_form_for_what_is_more_than_a_stuck_cell():
    for text in (
        "core/cell/0o17/3:stuck-1@5%",
        "core/cell/0o17/3:refuses-rise",
        "core/cell/0o17/3:stuck-1 & core/cell/0o20/3:stuck-1",
        "core/sense/3:stuck-1",
    ):
        assert single_cell_form(FULMAR, parse_fault(text, FULMAR)) is None


def test_groups_are_those_of_equal_plans():
    universe = universe_of(BOARDS["dunlin"], cells=False)
    groups = universe.collapse()
    assert sum(len(g.faults) for g in groups) == len(universe)
    by_digest: dict[str, set[str]] = {}
    for fault in itertools.islice(universe.faults, 0, None, 5):
        by_digest.setdefault(plan_of(BOARDS["dunlin"], fault).digest, set()).add(fault_text(fault))
    where = {fault_text(f): i for i, g in enumerate(groups) for f in g.faults}
    for members in by_digest.values():
        assert len({where[m] for m in members}) == 1
    assert len({min(where[m] for m in members) for members in by_digest.values()}) == len(by_digest)


def test_faults_that_cannot_be_told_apart_are_one_group():
    universe = universe_of(FULMAR, cells=False, stores=["rope"], kinds=["open", "dead", "stuck"])
    groups = [{fault_text(f) for f in g.faults} for g in universe.collapse()]
    module = next(g for g in groups if "rope/module/2:dead" in g)
    assert module == {"rope/module/2:dead", "rope/set/2:open", "rope/reset/2:open"}
    line = next(g for g in groups if "rope/address/10:open" in g)
    assert "rope/address/10:stuck-1" in line, "an open line drifts to 1 unless the board file says otherwise"


def test_every_listed_fault_of_the_structure_lowers():
    for board in BOARDS.values():
        for fault in itertools.islice(universe_of(board, cells=False).faults, 0, None, 23):
            plan = plan_of(board, fault)
            plan.check()
            assert not plan.healthy, fault_text(fault)
