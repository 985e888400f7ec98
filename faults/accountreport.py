"""Accounts, stories and dumps as one ``Report`` value; nothing is run here."""

from collections.abc import Sequence

from attrs import evolve, frozen

from emu.spec import MachineSpec
from faults.account import Account
from faults.counts import counted
from faults.dump import Readout
from faults.explain import Beat, Story
from faults.pattern import PatternReport
from faults.picture import Picture
from faults.report import Answer, Event, MemoryMap, Report, Symptom
from faults.telling import Teller, time_text

SAID_FIRST = 3
FINDINGS_SHOWN = 4
DUMP_FIRST = "Copy a store out before anything is written to it: the first reading may be the only one."
NUMBERING_NOTE = "Address lines are numbered by weight: line n has the weight 2**n."


@frozen
class Heading:
    """What a report says of its making: the question, the program, labels and cautions, the command line."""

    program: str
    labels: tuple[tuple[str, str], ...] = ()
    cautions: tuple[str, ...] = ()
    command: str = ""
    versions: tuple[tuple[str, str], ...] = ()


def account_report(account: Account, heading: Heading) -> Report:
    """Return the account of a fault as a report."""
    rows = [Symptom(r.name, r.seen, r.healthy) for r in account.comparison.rows]
    if account.trials is not None:
        rows.append(Symptom(f"In {account.trials.runs} runs", " ".join(account.trials.sentences())))
    base = _base(account.machine, heading, account.fault, account.seed)
    return evolve(
        base,
        title=f"What it would look like: {account.fault}",
        kind="predict",
        question=" ".join((_asked(account.machine, heading), *account.told)),
        answer=Answer(_answer(account), heading.labels, account.fault),
        symptoms=tuple(rows),
        maps=tuple(_map(p) for p in account.pictures),
        limits=(*account.limits, *_story_hint(account)),
    )


def _answer(account: Account) -> str:
    if account.comparison.differs:
        return " ".join(account.comparison.sentences[:SAID_FIRST])
    trials = " ".join(account.trials.sentences()[:1]) + " In this run: " if account.trials is not None else ""
    return " ".join((f"{trials}Nothing can be seen of it.", *(r.sentence for r in account.reasons)))


def _asked(machine: MachineSpec, heading: Heading) -> str:
    return f"What would {machine.name} show while it runs {heading.program} with this broken?"


def _story_hint(account: Account) -> tuple[str, ...]:
    if not account.differs:
        return ()
    return ("`corewright explain` with the same words tells how it comes about, access by access.",)


def _map(picture: Picture) -> MemoryMap:
    said = (*picture.sentences(), *picture.told(FINDINGS_SHOWN))
    return evolve(picture.memory, note=" ".join(said))


def story_report(
    machine: MachineSpec, story: Story, fault: str, told: Sequence[str], heading: Heading, seed: int
) -> Report:
    """Return the story of a fault as a report."""
    teller = Teller(machine)
    base = _base(machine, heading, fault, seed)
    last = story.beats[-1].sentence if story.beats else "Nothing happens."
    return evolve(
        base,
        title=f"The story of {fault}",
        kind="explain",
        question=" ".join((f"How does it come about, while {machine.name} runs {heading.program}?", *told)),
        answer=Answer(last, heading.labels, fault),
        story_about=fault,
        story=tuple(_event(teller, beat) for beat in story.beats),
    )


def _event(teller: Teller, beat: Beat) -> Event:
    return Event(
        beat.sentence,
        f"{beat.access:,}" if beat.access >= 0 else "",
        teller.counter(beat.pc) if beat.pc >= 0 else "",
        time_text(beat.time_ns),
    )


def dump_report(
    read: Readout, pattern: PatternReport, memory: MemoryMap, fault: str, heading: Heading, seed: int
) -> Report:
    """Return the reading of a store as a report."""
    name, words = read.spec.name, counted(len(read.first), "word")
    answer = f"Of the {words} of the {name}, {read.wrong:,} read wrong."
    if not read.wrong:
        answer = (
            f"All {words} of the {name} read right." if len(read.first) > 1 else f"The {name} reads right."
        )
    rows = [Symptom("Words that read wrong", f"{read.wrong:,}"), *_checked(read)]
    if read.destroyed:
        rows.append(Symptom("Words that reading changes in the store", f"{read.destroyed:,}"))
    if read.second is not None:
        changed = int((read.second != read.first).sum())
        rows.append(Symptom("Words that read differently the second time", f"{changed:,}"))
    base = _base(read.machine, heading, fault, seed)
    return evolve(
        base,
        title=f"What a reader would read: {name} with {fault}"
        if fault
        else f"What a reader would read: {name}",
        kind="dump",
        question=f"What would a reader at the connector of the {name} of {read.machine.name} read?",
        answer=Answer(answer, heading.labels, fault),
        numbering=pattern.numbering,
        cautions=(DUMP_FIRST, *heading.cautions) if read.destroyed else heading.cautions,
        symptoms=tuple(rows),
        maps=(evolve(memory, note=" ".join(_findings(pattern))),),
        limits=pattern.limits,
    )


def _checked(read: Readout) -> Sequence[Symptom]:
    if read.spec.protection == "none":
        return [Symptom("Check bits", "none: nothing tells a wrong word")]
    return [
        Symptom("Words that fail the check", f"{read.failing:,}"),
        Symptom("Wrong words that pass the check", f"{read.silent:,}"),
    ]


def _findings(pattern: PatternReport) -> tuple[str, ...]:
    return tuple(f.sentence for f in pattern.findings[:FINDINGS_SHOWN])


def _base(machine: MachineSpec, heading: Heading, fault: str, seed: int) -> Report:
    return Report(
        title=fault or machine.name,
        machine=machine.name,
        numbering=(machine.word.numbering_sentence(), NUMBERING_NOTE),
        cautions=heading.cautions,
        versions=heading.versions,
        command=heading.command,
        seed=str(seed),
    )
