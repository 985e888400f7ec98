"""A store that was read after a program ran on the machine as it is: what each suspect leaves in it.

The program runs under every suspect, from where it can first matter, and what it leaves is read through the
suspect once more. Exact where the program comes to an end; one that goes round for ever leaves what it had
when the run was broken off.
"""

from collections.abc import Sequence

import numpy as np
from attrs import define, field

from faults.fault import Fault
from faults.predictions.dumps import Misfit, Words, misfit_of
from faults.predictions.evidence import Observed
from faults.predictions.plans import BEYOND
from faults.predictions.reading import readings
from faults.predictions.runs import ProgramRuns


@define(eq=False)
class Leftovers:
    """One dump after a run, against what suspects leave; each distinct plan is run once."""

    dump: Observed
    runs: ProgramRuns
    _wrong: dict[str, int] = field(factory=dict, init=False)

    def misfit(self, faults: Sequence[Fault | None], digests: Sequence[str]) -> Misfit:
        """Compare the dump with what is read under each fault (None: a healthy machine)."""
        dump = self.dump
        both = dump.known & dump.sure

        def off(fault: Fault | None) -> Words:
            differs: Words = (dump.words ^ self.read(fault)) & both
            return differs

        for place, (fault, digest) in enumerate(zip(faults, digests, strict=True)):
            if place % 256 == 0:
                self.runs.progress(f"{dump.after}, what it leaves", place, len(faults))
            if digest not in self._wrong:
                beyond = digest == BEYOND
                self._wrong[digest] = int(np.count_nonzero(off(None if beyond else fault)))
        wrong = np.array([self._wrong[d] for d in digests], np.int64)
        return misfit_of(dump, wrong, lambda number: off(faults[number]))

    def read(self, fault: Fault | None) -> Words:
        """Return what the last reading gives after the program ran under a fault (int64[words])."""
        plan, cells = self.runs.plans.plan(fault), self.runs.left(fault, self.dump.store)
        if plan is None:
            return cells
        return readings(plan, self.dump.store, cells, self.dump.dump.repeat, written=False)
