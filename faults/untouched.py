"""Whether a plan's words are used at all: told from one profile of the healthy run, without following it."""

import numpy as np

from emu.engine.contract import RunRequest, RunResult
from emu.engine.profile import NEVER, RunProfile, profile_run
from emu.memory import MemoryPlan
from faults.watch import Watched, reach_of


def watched_if_untouched(
    request: RunRequest, healthy: RunResult, *, jit: bool | None = None
) -> Watched | None:
    """Return what a close watch would note if the request's plan is never touched; None if it may be.

    ``healthy``: the run without the plan, finished; then the faulty run is the same, access for access.
    ``jit``: as for ``profile_run``.
    """
    assert request.plan is not None, "there is a plan to look for"
    plan = request.plan.under(request.conditions)
    if _used(plan, profile_run(request, snapshots=1, jit=jit)):
        return None
    accesses = healthy.fetches + healthy.reads + healthy.writes
    return Watched(accesses, 0, {}, (), (0,) * len(plan.shapes), healthy.stop.kind != "steps", healthy.steps)


def _used(plan: MemoryPlan, profile: RunProfile) -> bool:
    touched, bases = profile.touched("both"), profile.layout.bases
    for store, reach in enumerate(reach_of(plan)):
        mine = touched[bases[store] : bases[store] + len(reach)]
        if np.any(reach & (mine != NEVER)):
            return True
    moved = [mode.bus_moved for mode in plan.modes if len(mode.bus_moved)]
    return any(not len(profile.buses) or bool(np.any(profile.buses[m])) for m in moved)
