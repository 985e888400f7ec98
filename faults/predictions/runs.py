"""The symptoms of every suspect under a program, from a healthy run, from a cache, or by running it.

A plan that can never matter in the healthy run gives the healthy run's symptoms and is not run. What was run
once is kept on disk, by machine, image, inputs, limits, plan and our code, so that a second match is quick.
"""

import hashlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
from attrs import define, field

from emu.engine.choose import choose_engine
from emu.engine.compiled import cache_folder
from emu.engine.contract import RunRequest
from emu.engine.profile import NEVER, RunProfile, profile_run
from emu.memory import PLAN_FORMAT
from emu.spec import MachineSpec
from faults.fault import Fault
from faults.hypotheses import IntArray
from faults.predictions.keeping import keep_text, kept_text
from faults.predictions.plans import HEALTHY, Plans
from faults.predictions.programs import passes
from faults.predictions.scene import Program
from faults.symptoms import Symptoms, canonical, from_canonical, symptoms_of
from faults.workings import workings_digest

MOST_STEPS: Final = 3_000_000
LONGER: Final = 3
MOST_RESTARTS: Final = 60
CACHE_FORMAT: Final = 2

Words = npt.NDArray[np.int64]
Progress = Callable[[str, int, int], None]


def no_progress(_what: str, _done: int, _all: int) -> None:
    """Tell nobody."""


@define(eq=False)
class ProgramRuns:
    """A program on a machine: its healthy run, and what faults make of it, by digest of plan."""

    machine: MachineSpec
    program: Program
    plans: Plans
    progress: Progress = no_progress
    cached: bool = True
    kinds: list[Symptoms] = field(factory=list, init=False)
    passing: list[bool] = field(factory=list, init=False)
    _profile: RunProfile = field(init=False)
    _code: dict[str, int] = field(factory=dict, init=False)
    _texts: dict[str, int] = field(factory=dict, init=False)
    _fresh: int = field(default=0, init=False)

    def __attrs_post_init__(self) -> None:
        request = self._request(10 * MOST_STEPS)
        first = choose_engine(request).engine.run(request)
        steps = min(LONGER * first.steps + 200_000, first.steps + MOST_STEPS)
        self._profile = profile_run(self._request(steps))
        self._number(canonical(symptoms_of(self.machine, self._profile.result)))
        self._code[HEALTHY] = 0
        if self.cached:
            self._load()

    def _request(self, steps: int) -> RunRequest:
        return RunRequest(
            self.machine, self.program.image, None, self.program.inputs,
            max_steps=steps, max_restarts=MOST_RESTARTS,
        )  # fmt: skip

    def _number(self, text: str) -> int:
        number = self._texts.get(text)
        if number is None:
            number = self._texts[text] = len(self.kinds)
            self.kinds.append(from_canonical(text))
            self.passing.append(passes(self.kinds[-1], self.kinds[0]))
        return number

    @property
    def healthy(self) -> Symptoms:
        """What the program does on a healthy machine."""
        return self.kinds[0]

    @property
    def healthy_steps(self) -> int:
        """How many instructions the healthy run takes."""
        return self._profile.result.steps

    def touched(self, store: int) -> IntArray:
        """Return the addresses of a store that the healthy run reads or writes (int64[n], ascending)."""
        first, last = self._profile.layout.bases[store : store + 2]
        found: IntArray = np.flatnonzero(self._profile.touched("both")[first:last] < NEVER)
        return found

    def left(self, fault: Fault | None, store: int) -> Words:
        """Return the cells of a store when a run under a fault has come to its end (int64[words])."""
        plan = self.plans.plan(fault)
        step = self._profile.first_effect(plan) if plan is not None else None
        if plan is None or step is None:
            return self._profile.result.memory[store]
        run = self._profile.resume(plan, step)
        run.advance()
        return run.result().memory[store]

    def codes(self, faults: Sequence[Fault | None], digests: Sequence[str]) -> IntArray:
        """Return the place in :attr:`kinds` of what is seen under each fault (int64[n])."""
        found = np.zeros(len(faults), np.int64)
        for place, (fault, digest) in enumerate(zip(faults, digests, strict=True)):
            if place % 256 == 0:
                self.progress(self.program.name, place, len(faults))
            code = self._code.get(digest)
            found[place] = code if code is not None else self._run(fault, digest)
        self.progress(self.program.name, len(faults), len(faults))
        return found

    def symptoms(self, faults: Sequence[Fault | None]) -> list[Symptoms]:
        """Return what is seen under each fault; None is the healthy machine."""
        codes = self.codes(faults, [self.plans.digest(fault) for fault in faults])
        return [self.kinds[code] for code in codes.tolist()]

    def _run(self, fault: Fault | None, digest: str) -> int:
        plan = self.plans.plan(fault)
        step = self._profile.first_effect(plan) if plan is not None else None
        if plan is None or step is None:
            self._code[digest] = 0
        else:
            run = self._profile.resume(plan, step)
            run.advance()
            self._code[digest] = self._number(canonical(symptoms_of(self.machine, run.result())))
        self._fresh += 1
        return self._code[digest]

    # --- what is kept on disk

    @property
    def _file(self) -> Path:
        return cache_folder() / "symptoms" / f"{self._key()}.json"

    def _key(self) -> str:
        request = self._profile.request
        parts = (
            CACHE_FORMAT, PLAN_FORMAT, workings_digest(), repr(self.machine),
            sorted(self.program.inputs.items()),
            [(n, i.bits, list(i.words())) for n, i in sorted(self.program.image.segments.items())],
            self.program.image.entry, request.max_steps, request.max_restarts,
        )  # fmt: skip
        return hashlib.blake2b(repr(parts).encode(), digest_size=16).hexdigest()

    def _load(self) -> None:
        try:
            data = json.loads(kept_text(self._file))
            codes = [self._number(str(text)) for text in data["symptoms"]]
            self._code.update({digest: codes[number] for digest, number in data["plans"].items()})
        except (ValueError, KeyError, IndexError, TypeError):
            return

    def save(self) -> None:
        """Keep what was run; a folder that cannot be written is no misfortune."""
        if self.cached and self._fresh:
            keep_text(self._file, json.dumps({"symptoms": list(self._texts), "plans": self._code}))
            self._fresh = 0
