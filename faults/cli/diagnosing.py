"""What the commands about a case share: reading it, progress while suspects run, and the story."""

import sys
import time

import click
from attrs import define, field

from emu.engine.choose import choose_engine
from emu.engine.compiled import have_numba
from emu.engine.contract import RunRequest
from emu.errors import InputError
from faults.case.check import NO_HASH
from faults.case.load import Case, load_case
from faults.case.model import Entry
from faults.casereport import Extras, top_fault
from faults.cli.faulted import heading
from faults.cli.writer import notice
from faults.diagnose import Diagnosis, diagnose
from faults.explain import tell
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.predictions.scene import Program, problems_of
from faults.report import Event
from faults.telling import Teller, time_text

_EVERY = 0.2
_STORY_STEPS = 400_000


@define
class Progress:
    """Says on a terminal's standard error how far the suspects have been run."""

    quiet: bool
    _last: float = field(default=0.0, init=False)
    _shown: bool = field(default=False, init=False)

    def __call__(self, what: str, done: int, total: int) -> None:
        """Show ``done`` of ``total`` suspects under the program ``what``."""
        if self.quiet or not sys.stderr.isatty():
            return
        now = time.monotonic()
        if done < total and now - self._last < _EVERY:
            return
        self._last = now
        if done < total:
            click.echo(f"\r{what}: {done:,} of {total:,} suspects\x1b[K", nl=False, err=True)
            self._shown = True
        elif self._shown:
            click.echo("\r\x1b[K", nl=False, err=True)
            self._shown = False


def diagnosed(path: str, *, quiet: bool) -> Diagnosis:
    """Return the diagnosis of a case file. Raises InputError, with everything that is wrong with the case."""
    case = load_case(path)
    if not have_numba():
        notice(
            "numba is not installed: programs are run by the generated Python code, which is slow",
            quiet=quiet,
        )
    found = diagnose(case, progress=Progress(quiet))
    for problem in problems_of(found.scene):  # a hash that is missing is for `case check` to tell
        if problem.code is not NO_HASH:
            notice(f"{problem.place}: warning: {problem.message}", quiet=quiet)
    return found


def extras_of(diagnosis: Diagnosis) -> Extras:
    """Return the story of the likeliest suspect, and what the report says of its making."""
    head = heading("")
    about = top_fault(diagnosis.ranking)
    program = story_program(diagnosis)
    events: tuple[Event, ...] = ()
    if about and program is not None:
        events = story_of(diagnosis, about.split("@", maxsplit=1)[0], program)
    told = f"{about} while it runs {program.name}" if events and program else ""
    return Extras(told, events, head.versions, head.command)


def story_program(diagnosis: Diagnosis) -> Program | None:
    """Return the program that the story is about: the first whose run was not as it should be."""
    failing: list[str] = []
    for entry in diagnosis.case.entries:
        name = _program(entry)
        if name:
            failing.append(name)
    ordered = sorted(dict.fromkeys(failing), key=lambda n: not _fails(diagnosis.case, n))
    return diagnosis.scene.program(ordered[0]) if ordered else None


def _program(entry: Entry) -> str:
    return str(getattr(entry, "program", "") or "")


def _fails(case: Case, program: str) -> bool:
    return any(_program(e) == program and type(e).__name__ not in ("Passed", "Dump") for e in case.entries)


def story_of(diagnosis: Diagnosis, fault: str, program: Program) -> tuple[Event, ...]:
    """Return the story of a fault under a program, as events of a report; () if it cannot be told."""
    scene = diagnosis.scene
    try:
        plan = plan_of(scene.board, parse_fault(fault, scene.board))
    except InputError:
        return ()
    request = RunRequest(
        scene.machine, program.image, plan, program.inputs, max_steps=_STORY_STEPS, max_restarts=20
    )
    healthy = RunRequest(scene.machine, program.image, None, program.inputs, max_steps=_STORY_STEPS)
    engine = choose_engine(request).engine
    story = tell(request, engine.run(request), engine.run(healthy))
    teller = Teller(scene.machine)
    return tuple(
        Event(
            beat.sentence,
            f"{beat.access:,}" if beat.access >= 0 else "",
            teller.counter(beat.pc) if beat.pc >= 0 else "",
            time_text(beat.time_ns),
        )
        for beat in story.beats
    )
