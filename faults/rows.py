"""Hypotheses that look alike: rows of a table that are equal in every column, found fast and exactly."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from faults.hypotheses import IntArray

_MIX = np.uint64(0x9E3779B97F4A7C15)
_SHIFT = np.uint64(29)
_NAN = np.uint64(0x7FF8000000000000)


def alike(columns: Sequence[npt.NDArray[Any]], rows: int) -> tuple[IntArray, IntArray]:
    """Group the rows that are equal in every column; NaN equals NaN.

    Returns ``(group, first)``: the group of each row (int64[rows], numbered in order of first appearance)
    and the first row of each group (int64[groups]). Hashes only propose: equality is checked.
    """
    codes = [_codes(column) for column in columns]
    mixed = np.zeros(rows, np.uint64)
    for code in codes:
        mixed = (mixed ^ code) * _MIX
        mixed ^= mixed >> _SHIFT
    _, first, group = np.unique(mixed, return_index=True, return_inverse=True)
    if any(bool(np.any(code != code[first[group]])) for code in codes):
        table = np.stack(codes, axis=1)
        _, first, group = np.unique(table, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(first)
    renamed = np.empty(len(first), np.int64)
    renamed[order] = np.arange(len(first))
    return renamed[group.reshape(-1)], first[order].astype(np.int64)


def _codes(column: npt.NDArray[Any]) -> npt.NDArray[np.uint64]:
    """Return a 64-bit code per entry: equal codes for equal values."""
    if column.dtype.kind == "f":
        floats = column.astype(np.float64) + 0.0  # -0.0 becomes 0.0
        return np.where(np.isnan(floats), _NAN, floats.view(np.uint64))
    return column.astype(np.int64).view(np.uint64)
