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
    first, written = _starts(profile, faults, cells)
    active = first != NEVER
    rows = np.column_stack([cells, faults[:, 2:], first, written])
    order = np.flatnonzero(active)
    order = order[np.argsort(first[order], kind="stable")]
    found = _run(profile, np.ascontiguousarray(rows[order]))
    healthy = _run(profile, np.array([[-1, 0, 0, 0, 0, NEVER, NEVER]], np.int64))[0]
    results = np.tile(healthy, (len(faults), 1))
    results[order] = found
    return CellOutcomes(results[:, 0], int(healthy[0]), active, results[:, 1], results[:, 2])


def _starts(profile: RunProfile, faults: Ints, cells: Ints) -> tuple[Ints, Ints]:
    """Return where each run begins, and since when the cell holds what the masks let in (NEVER: from then).

    A stuck cell, whose masks are alike on both ways, shows nothing until it is first *read* wrong: what it
    held before is made good when the run begins. Only the search for loops could have seen the difference
    earlier, so this does not hold where all but memory recurred in the meantime.
    """
    plain = profile.mask_effects(faults[:, 0], cells, faults[:, 2:])
    stuck = np.all(faults[:, 2:4] == faults[:, 4:6], axis=1)
    through = np.full((len(faults), 4), -1)
    through[:, 1] = through[:, 3] = 0
    read, write = through.copy(), through
    read[:, :2], write[:, 2:] = faults[:, 2:4], faults[:, 4:6]
    seen = profile.mask_effects(faults[:, 0], cells, read)
    written = profile.mask_effects(faults[:, 0], cells, write)
    near = np.append(profile.near, NEVER)
    after = np.minimum(np.searchsorted(near, written, side="right"), len(near) - 1)
    following = near[after]  # the first such look after the write
    if len(profile.near) and profile.near_overflows:
        following = np.minimum(following, np.maximum(written, profile.near[-1]))
    early = stuck & ((following > seen) | (following == NEVER))
    return np.where(early, seen, plain), np.where(early, written, NEVER)


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
    past = profile.pasts.get(int(run.st[run.place("PAST_STEPS")]), run.mem)
    run.st[run.place("SHOW_PAST")] = 1
    past = past.copy()
    arrays: tuple[Any, ...] = (compiled.zeros(2 * cells), compiled.zeros(cells))
    found, flat = compiled.zeros(3 * count), compiled.form(rows.reshape(-1))
    kernel, constants = compiled.module.run_batch, run.constants
    for start in range(0, count, _CHUNK):
        end = min(start + _CHUNK, count)
        kernel(run.st, work, run.mem, past, run.out, *constants, *arrays, flat, start, end, found)
    return np.asarray(found, np.int64).reshape(-1, 3)
