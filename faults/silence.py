"""Why a fault does not show: typed reasons with a sentence each."""

from typing import Final, Literal

from attrs import frozen

from emu.engine.contract import RunRequest
from emu.gates import Gate
from emu.memory import MemoryPlan
from emu.spec import StoreSpec
from faults.counts import times
from faults.telling import joined, time_text
from faults.watch import Watched, watch

Why = Literal[
    "harmless",  # the plan is that of a healthy memory
    "condition",  # it is there only under conditions that do not hold
    "never-accessed",  # no word that it can alter was read or written
    "masked",  # words at altered places were right all the same
    "latent",  # wrong words lie in memory and were not read
    "blind",  # wrong words that pass the check were read and did not matter
    "unchecked",  # the same where the store has no check
    "corrected",  # wrong words were mended by the check
    "quiet",  # the check failed, but nothing tells anybody
    "away",  # it comes and goes, and was not there when it would have mattered
    "short",  # the run was not watched to its end
]
WATCHED_STEPS: Final = 300_000


@frozen
class Reason:
    """One reason, for a program and for a person."""

    why: Why
    sentence: str


def reasons(request: RunRequest, watched: Watched) -> tuple[Reason, ...]:
    """Return why nothing is seen of the request's plan, the most telling reason first.

    ``watched``: what was noted of that run.
    """
    plan = request.plan
    if plan is None or plan.healthy:
        return (
            Reason(
                "harmless", "The memory behaves like a healthy one: this changes nothing that can be seen."
            ),
        )
    settled = plan.under(request.conditions)
    if settled.healthy:
        return (
            Reason("condition", f"The fault is there only {_conditions(plan, request)}: not in this run."),
        )
    found = list(_of_readings(request, settled, watched))
    if not watched.finished:
        found.append(
            Reason("short", f"Only the first {watched.steps:,} instructions were followed in detail.")
        )
    return tuple(found)


def _conditions(plan: MemoryPlan, request: RunRequest) -> str:
    names = {g.name for group in plan.gates for g in group if g.kind == "condition"}
    return f"when {joined(sorted(names - request.conditions))}"


def _of_readings(request: RunRequest, settled: MemoryPlan, watched: Watched) -> list[Reason]:
    if watched.wrong_reads:
        return _wrong(request, watched)
    if not watched.touched:
        return [Reason("never-accessed", _untouched(watched))]
    if settled.gates and any(_would_show(request, settled, watched)):
        return [Reason("away", _away(settled, watched))]
    if any(watched.latent):
        return [Reason("latent", _latent(request, watched))]
    return [
        Reason(
            "masked",
            f"{_used(watched.touched)} right all the same: what the fault forces was there already, or "
            "writing and reading go wrong alike.",
        )
    ]


def _used(often: int) -> str:
    if often == 1:
        return "A word that the fault can alter was used once, and was"
    return f"Words that the fault can alter were used {times(often)}, and each time the word was"


def _untouched(watched: Watched) -> str:
    what = "no word that the fault can alter was among them"
    return f"The program never goes there: of its {watched.accesses:,} readings and writings, {what}."


def _would_show(request: RunRequest, settled: MemoryPlan, watched: Watched) -> tuple[bool, bool]:
    """Return whether a wrong word would be read, or left behind, were the fault there all the time."""
    steady = MemoryPlan(settled.shapes, (settled.modes[-1],))
    always = RunRequest(
        request.machine, request.image, steady, request.inputs, request.conditions, request.seed,
        power_up=request.power_up,
    )  # fmt: skip
    seen = watch(always, most_steps=max(watched.steps, 1), enough=1)
    return seen.wrong_reads > 0, any(seen.latent)


def _away(settled: MemoryPlan, watched: Watched) -> str:
    gates = joined([gate_sentence(g) for group in settled.gates for g in group])
    return (
        f"The fault comes and goes ({gates}), and it was away whenever a word it can alter was used "
        f"({times(watched.touched)}). Were it there all the time, wrong words would be read."
    )


def gate_sentence(gate: Gate) -> str:
    """Say when a gated fault is there."""
    match gate.kind:
        case "chance":
            return f"there in {100 * gate.low / (1 << 32):.3g} % of the accesses"
        case "contact":
            return f"open for {time_text(gate.low)} and closed for {time_text(gate.high)} on average"
        case "window":
            return f"there from access {gate.low:,} to {gate.high - 1:,}"
        case "after":
            return "there only after certain addresses"
        case _:
            return f"there only when {gate.name}"


def _latent(request: RunRequest, watched: Watched) -> str:
    spots = [
        f"{count:,} of the {store.name}"
        for count, store in zip(watched.latent, request.machine.stores, strict=True)
        if count
    ]
    one = sum(watched.latent) == 1
    lie, them = ("A wrong word lies", "it") if one else ("Wrong words lie", "them")
    return (
        f"{lie} in memory at the end ({joined(spots)}), but the program did not read {them} again. "
        "Read the store out, and it shows."
    )


def _wrong(request: RunRequest, watched: Watched) -> list[Reason]:
    spec = request.machine.stores[watched.first[0].store]
    said = {how: times(count) for how, count in watched.wrong.items()}
    found = []
    if "corrected" in said:
        text = (
            f"The check of the {spec.name} mended a wrong bit {said['corrected']}, without telling anybody."
        )
        found.append(Reason("corrected", text))
    if "ok" in said:
        found.append(_passed(spec, watched.wrong["ok"]))
    if "error" in said:
        text = (
            f"The check of the {spec.name} failed {said['error']}, but that tells nobody, and the "
            "program went on as if nothing were wrong."
        )
        found.append(Reason("quiet", text))
    return found


def _passed(spec: StoreSpec, often: int) -> Reason:
    idle = "what came of it did not matter to anything that can be seen."
    read = "A wrong word was read once" if often == 1 else f"Wrong words were read {times(often)}"
    if spec.protection == "none":
        return Reason("unchecked", f"{read}. The {spec.name} has no check bits, and {idle}")
    text = (
        f"{read}. The check of the {spec.name} passed each: a whole word of another place, or an even number "
        f"of wrong bits; {idle}"
    )
    return Reason("blind", text)
