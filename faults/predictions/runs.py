"""The symptoms of every suspect under a program, from a healthy run, from a cache, or by running it.

A plan that can never matter in the healthy run gives the healthy run's symptoms and is not run. What was run
once is kept on disk, by machine, image, inputs, limits and plan, so that a second match is quick.
"""

import hashlib
import json
import os
import tempfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Final

from attrs import define, field

from emu.engine.compiled import cache_folder
from emu.engine.contract import RunRequest
from emu.engine.profile import RunProfile, profile_run
from emu.memory import PLAN_FORMAT, MemoryPlan
from emu.spec import MachineSpec
from faults.predictions.scene import Program
from faults.symptoms import Symptoms, canonical, from_canonical, symptoms_of

MOST_STEPS: Final = 3_000_000
LONGER: Final = 3
MOST_RESTARTS: Final = 60
CACHE_FORMAT: Final = 1

Progress = Callable[[str, int, int], None]


def no_progress(_what: str, _done: int, _all: int) -> None:
    """Tell nobody."""


@define(eq=False)
class ProgramRuns:
    """A program on a machine: its healthy run, and what suspects make of it.

    ``most_steps`` is the limit of a run that finds no end; 0: three times the healthy run and some more.
    """

    machine: MachineSpec
    program: Program
    progress: Progress = no_progress
    cached: bool = True
    _profile: RunProfile = field(init=False)
    _known: dict[str, str] = field(init=False)
    _healthy: Symptoms = field(init=False)
    _spelled: dict[str, Symptoms] = field(factory=dict, init=False)
    _fresh: int = field(default=0, init=False)

    def __attrs_post_init__(self) -> None:
        request = RunRequest(
            self.machine, self.program.image, None, self.program.inputs,
            max_steps=10 * MOST_STEPS, max_restarts=MOST_RESTARTS,
        )  # fmt: skip
        first = profile_run(request)
        steps = min(LONGER * first.result.steps + 200_000, first.result.steps + MOST_STEPS)
        self._profile = profile_run(
            RunRequest(
                self.machine, self.program.image, None, self.program.inputs,
                max_steps=steps, max_restarts=MOST_RESTARTS,
            )  # fmt: skip
        )
        self._healthy = symptoms_of(self.machine, self._profile.result)
        self._known = self._load() if self.cached else {}

    @property
    def healthy(self) -> Symptoms:
        """What the program does on a healthy machine."""
        return self._healthy

    @property
    def healthy_steps(self) -> int:
        """How many instructions the healthy run takes."""
        return self._profile.result.steps

    def symptoms(self, plans: Sequence[MemoryPlan | None]) -> list[Symptoms]:
        """Return what is seen under each plan; None is the healthy one."""
        found: list[Symptoms] = []
        for number, plan in enumerate(plans):
            if number % 256 == 0:
                self.progress(self.program.name, number, len(plans))
            found.append(self._healthy if plan is None else self._of(plan))
        self.progress(self.program.name, len(plans), len(plans))
        self.save()
        return found

    def _of(self, plan: MemoryPlan) -> Symptoms:
        text = self._known.get(plan.digest)
        if text is None:
            step = self._profile.first_effect(plan)
            if step is None:
                return self._healthy
            run = self._profile.resume(plan, step)
            run.advance()
            text = canonical(symptoms_of(self.machine, run.result()))
            self._known[plan.digest] = text
            self._fresh += 1
        if text not in self._spelled:
            self._spelled[text] = from_canonical(text)
        return self._spelled[text]

    # --- what is kept on disk

    @property
    def _file(self) -> Path:
        return cache_folder() / "symptoms" / f"{self._key()}.json"

    def _key(self) -> str:
        request = self._profile.request
        parts = (
            CACHE_FORMAT, PLAN_FORMAT, repr(self.machine), sorted(self.program.inputs.items()),
            [(n, i.bits, list(i.words())) for n, i in sorted(self.program.image.segments.items())],
            self.program.image.entry, request.max_steps, request.max_restarts,
        )  # fmt: skip
        return hashlib.blake2b(repr(parts).encode(), digest_size=16).hexdigest()

    def _load(self) -> dict[str, str]:
        try:
            data = json.loads(self._file.read_text(encoding="utf-8"))
            texts = data["symptoms"]
            return {digest: texts[number] for digest, number in data["plans"].items()}
        except (OSError, ValueError, KeyError, IndexError, TypeError):
            return {}

    def save(self) -> None:
        """Keep what was run; a folder that cannot be written is no misfortune."""
        if not self.cached or not self._fresh:
            return
        texts: dict[str, int] = {}
        plans = {digest: texts.setdefault(text, len(texts)) for digest, text in self._known.items()}
        _replace(self._file, json.dumps({"symptoms": list(texts), "plans": plans}))
        self._fresh = 0


def _replace(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        Path(temporary).replace(path)
    except OSError:
        return


def distinct(found: Iterable[Symptoms]) -> tuple[list[int], list[Symptoms]]:
    """Return the number of each one's symptoms, and the different symptoms in order of appearance."""
    numbers: dict[int, int] = {}
    kept: list[Symptoms] = []
    of = []
    for one in found:
        number = numbers.get(id(one))
        if number is None:
            number = numbers[id(one)] = len(kept)
            kept.append(one)
        of.append(number)
    return of, kept
