"""From a fault to what a person sees: alarms, restarts, outputs, the store read out, or why nothing shows."""

from collections import Counter
from collections.abc import Sequence
from typing import Final

from attrs import evolve, frozen

from emu.engine.contract import Engine, RunRequest, RunResult
from emu.engine.walker import Walker
from emu.gates import BY_CHANCE
from emu.memory import MemoryPlan
from emu.spec import MachineSpec
from faults.compare import Comparison, compare
from faults.dump import contents_of
from faults.picture import Picture, affected_stores, draw_picture
from faults.rates import rate_sentence
from faults.silence import WATCHED_STEPS, Reason, reasons
from faults.symptoms import canonical, symptoms_of
from faults.untouched import watched_if_untouched
from faults.watch import Watched, watch

ENOUGH_WRONG: Final = 20
STEPS_AFTER: Final = 2_000
RUNS: Final = 20
FOLLOWED_STEPS: Final = 40_000  # a run that the readable engine follows in a second or two


@frozen
class Trials:
    """Runs of a fault that comes and goes, with seeds one after the other.

    ``showing``: in how many of ``runs`` anything was seen. ``alarms``: in how many each alarm was raised.
    ``sorts``: how many runs looked alike, most frequent first.
    """

    runs: int
    showing: int
    alarms: tuple[tuple[str, int], ...]
    sorts: tuple[int, ...]

    def sentences(self) -> tuple[str, ...]:
        """Say how often it shows, with an interval for the rate."""
        said = [f"It comes and goes. {rate_sentence(self.showing, self.runs)}"]
        said += [f"The alarm {name} is raised in {count} of them." for name, count in self.alarms]
        if len(self.sorts) > 1:
            alike = f"{self.sorts[0]} look alike most often" if self.sorts[0] > 1 else "no two look alike"
            said.append(f"The runs that show it look {len(self.sorts)} different ways; {alike}.")
        return tuple(said)


@frozen(eq=False)
class Account:
    """What a fault looks like while a program runs.

    ``told``: what the fault is, one sentence a part. ``trials`` is None for a fault without chance.
    ``reasons`` are there only when nothing shows.
    """

    machine: MachineSpec
    fault: str
    told: tuple[str, ...]
    comparison: Comparison
    watched: Watched
    reasons: tuple[Reason, ...]
    pictures: tuple[Picture, ...]
    trials: Trials | None
    limits: tuple[str, ...]
    seed: int

    @property
    def differs(self) -> bool:
        """Whether anybody at the machine could see anything of it, in any of the runs."""
        return self.comparison.differs or (self.trials is not None and self.trials.showing > 0)

    def sentences(self) -> tuple[str, ...]:
        """Return the whole account as sentences."""
        said = [*self.told, *self.comparison.sentences]
        if self.trials is not None:
            said += self.trials.sentences()
        said += [reason.sentence for reason in self.reasons]
        for picture in self.pictures:
            said += [*picture.sentences(), *picture.told(2)]
        return (*said, *self.limits)


def predict(
    request: RunRequest,
    *,
    fault: str = "",
    told: Sequence[str] = (),
    engine: Engine | None = None,
    runs: int = RUNS,
    watched_steps: int = WATCHED_STEPS,
) -> Account:
    """Return the account of the request's plan.

    ``fault``: its notation, ``told``: what it is, for people. ``runs``: how many seeds are tried when it
    comes and goes. ``engine``: by default the readable one. Raises InputError for an image that does not fit.
    """
    engine = engine or Walker()
    machine, plan = request.machine, _plan(request)
    healthy = engine.run(evolve(request, plan=None))
    seen = engine.run(request)
    comparison = compare(machine, seen, healthy)
    # all other gates open alike in every run: there is no rate to tell
    drawn = any(g.kind in BY_CHANCE for group in plan.under(request.conditions).gates for g in group)
    trials = _trials(request, engine, healthy, seen, runs) if drawn else None
    watched = _watched(request, healthy, watched_steps, differs=comparison.differs)
    return Account(
        machine, fault, tuple(told), comparison, watched,
        () if comparison.differs else reasons(request, watched),
        _pictures(request, plan), trials, _limits(plan, healthy, seen), request.seed,
    )  # fmt: skip


def _plan(request: RunRequest) -> MemoryPlan:
    if request.plan is None:
        raise ValueError("an account needs the plan of a fault")
    return request.plan


def _watched(request: RunRequest, healthy: RunResult, most_steps: int, *, differs: bool) -> Watched:
    """Follow the run as closely as its account needs: long silent runs only where the plan is touched."""
    if differs:
        return watch(request, most_steps=most_steps, enough=ENOUGH_WRONG, steps_after=STEPS_AFTER)
    if healthy.steps > FOLLOWED_STEPS:
        quiet = watched_if_untouched(request, healthy)
        if quiet is not None:
            return quiet
    return watch(request, most_steps=most_steps)


def _trials(request: RunRequest, engine: Engine, healthy: RunResult, first: RunResult, runs: int) -> Trials:
    machine = request.machine
    right = canonical(symptoms_of(machine, healthy))
    usual = {a.name for a in healthy.alarms}
    looks: Counter[str] = Counter()
    alarms: Counter[str] = Counter()
    for number in range(runs):
        result = engine.run(evolve(request, seed=request.seed + number)) if number else first
        looks[canonical(symptoms_of(machine, result))] += 1
        alarms.update(a.name for a in result.alarms if a.name not in usual)
    showing = runs - looks[right]
    sorts = sorted((n for look, n in looks.items() if look != right), reverse=True)
    return Trials(runs, showing, tuple(sorted(alarms.items())), tuple(sorts))


def _pictures(request: RunRequest, plan: MemoryPlan) -> tuple[Picture, ...]:
    """Draw every store that is altered, as it is while all that comes and goes is there."""
    conditions = frozenset(g.name for group in plan.gates for g in group if g.kind == "condition")
    settled = plan.under(conditions | request.conditions)
    steady = MemoryPlan(settled.shapes, (settled.modes[-1],))
    machine, image, gated = request.machine, request.image, bool(plan.gates)
    return tuple(
        draw_picture(machine, store, steady, contents_of(machine, store, image), gated=gated)
        for store in affected_stores(steady)
    )


def _limits(plan: MemoryPlan, healthy: RunResult, seen: RunResult) -> tuple[str, ...]:
    found = []
    if any(len(mode.bus_moved) for mode in plan.modes):
        found.append("It lies before the stores: a reader at a store's own connector sees nothing of it.")
    if healthy.stop.kind in ("steps", "time"):
        found.append(
            f"The healthy machine still ran after {healthy.steps:,} instructions: compared so far only."
        )
    if seen.stop.kind in ("steps", "time"):
        found.append(f"The faulty machine was watched for {seen.steps:,} instructions only.")
    found.append("A prediction of the model: the machine at hand may have more than one thing wrong.")
    return tuple(found)
