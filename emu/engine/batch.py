"""Many runs that differ from a healthy one in a single cell, all inside compiled code.

Faults are taken in the order in which they can first matter. A reference machine advances through the healthy
run to just before that step; the faulty run starts from there, every cell that it changes is noted, and
afterwards taken back. So each fault costs no more than the run after it has struck.
"""

from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import frozen

from emu.engine.profile import NEVER, RunProfile

_CHUNK: Final = 2048  # runs between two looks at Ctrl-C
Ints = npt.NDArray[np.int64]


@frozen(eq=False)
class CellOutcomes:
    """What came of each fault, in the order given.

    ``seen`` (int64): a hash of everything a person can see of the run (how it stopped and when, or the
    loop; lamps; alarms with count and first; restarts; outputs): equal for equal symptoms, and different
    for different ones but for a chance of 2**-64. ``healthy`` is that of the healthy run. ``active``: the
    fault altered a word at least once (an inactive one was not run). ``stops``: a code of
    ``emu.engine.layout.STOP_KINDS``; ``steps``: instructions executed, power-up to stop.
    """

    seen: Ints
    healthy: int
    active: npt.NDArray[np.bool_]
    stops: Ints
    steps: Ints


def run_cell_faults(profile: RunProfile, faults: Ints) -> CellOutcomes:
    """Run faults that are one altered cell each.

    ``faults``: int64[n, 6] of store, cell, out_and, out_or, in_and, in_or: what leaves the cell is
    ``(x & out_and) | out_or``, what enters it ``(x & in_and) | in_or``.
    """
    faults = np.asarray(faults, np.int64).reshape(-1, 6)
    bases = np.array(profile.layout.bases, np.int64)
    cells = bases[faults[:, 0]] + faults[:, 1]
    first = profile.mask_effects(faults[:, 0], cells, faults[:, 2:])
    active = first != NEVER
    rows = np.column_stack([cells, faults[:, 2:], first])
    order = np.flatnonzero(active)
    order = order[np.argsort(first[order], kind="stable")]
    found = _run(profile, np.ascontiguousarray(rows[order]))
    healthy = _run(profile, np.array([[-1, 0, 0, 0, 0, NEVER]], np.int64))[0]
    results = np.tile(healthy, (len(faults), 1))
    results[order] = found
    return CellOutcomes(results[:, 0], int(healthy[0]), active, results[:, 1], results[:, 2])


def _run(profile: RunProfile, rows: Ints) -> Ints:
    """Return (seen, stop, steps) of every row, which are in order of their first step."""
    count = len(rows)
    if not count:
        return np.zeros((0, 3), np.int64)
    compiled = profile.compiled
    run = profile.reference(int(min(rows[0, 5], profile.result.steps)))
    run.st[run.place("OUTPUT_ROOM")] = 0  # outputs are hashed, not kept
    cells = profile.layout.bases[-1]
    work = run.st.copy()
    work[run.place("EPOCH")] = 0
    arrays: tuple[Any, ...] = (compiled.zeros(2 * cells), compiled.zeros(cells))
    found, flat = compiled.zeros(3 * count), compiled.form(rows.reshape(-1))
    kernel, constants = compiled.module.run_batch, run.constants
    for start in range(0, count, _CHUNK):
        end = min(start + _CHUNK, count)
        kernel(run.st, work, run.mem, run.out, *constants, *arrays, flat, start, end, found)
    return np.asarray(found, np.int64).reshape(-1, 3)
