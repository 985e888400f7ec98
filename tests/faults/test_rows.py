"""Rows that are alike are found whatever the hash does."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from faults import rows
from faults.rows import alike

values = st.sampled_from([0.0, -0.0, 0.5, 1.0, math.nan])


@pytest.mark.parametrize("mix", [rows._MIX, np.uint64(0), np.uint64(1) << np.uint64(63)])
@given(table=st.lists(st.tuples(values, st.integers(-2, 2), values), max_size=12))
def test_groups_are_those_of_equal_rows(mix, table):
    columns = [
        np.array([r[0] for r in table], float),
        np.array([r[1] for r in table], int),
        np.array([r[2] for r in table], float),
    ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rows, "_MIX", mix)  # 0: every hash collides
        group, first = alike(columns, len(table))
    seen = {}
    for number, row in enumerate(table):
        name = tuple("nan" if x != x else x + 0.0 for x in row)
        assert group[number] == seen.setdefault(name, len(seen))
    assert len(first) == len(seen)
    assert all(group[f] == n for n, f in enumerate(first))


def test_without_columns_all_rows_are_alike():
    group, first = alike([], 3)
    assert (group.tolist(), first.tolist()) == ([0, 0, 0], [0])
