"""A diagnosis, the next step and the story of the likeliest suspect as one ``Report`` value. Runs nothing."""

from collections.abc import Iterator
from typing import Final

from attrs import evolve, field, frozen

from faults.boards.board import Board
from faults.case.model import Addresses, Capture, Dump, Mended, Swap
from faults.case.show import sentence
from faults.case.signoff import sign_off
from faults.case.write import hash_of
from faults.caseanswer import MOST_NAMED, answer_of, confidence_of, fault_name, not_used
from faults.diagnose import Diagnosis
from faults.fault import FaultPart
from faults.kinds import kind_named
from faults.measurements import Next
from faults.nextstep import Left, Scored, split_by
from faults.predictions.evidence import Observed
from faults.predictions.maps import observed_map
from faults.ranking import Group as Ranked
from faults.ranking import Ranking
from faults.report import (
    Agreement,
    AgreementRow,
    Event,
    Group,
    HistoryEntry,
    InputFile,
    Member,
    MemoryMap,
    Outcome,
    Report,
    Step,
    Verdict,
    to_permille,
)
from faults.report.model import GroupKind, percent

SHOWN_GROUPS: Final = 6
SHOWN_COLUMNS: Final = 3
SHOWN_WARNINGS: Final = 3
SHOWN_STEPS: Final = 4
SHOWN_OUTCOMES: Final = 6
LISTED_FIRST: Final = 400
LISTED_LARGE: Final = 20
LISTED_LATER: Final = 5
LEAST_SHOWN: Final = 0.002
"""Groups with less belief are counted, not shown."""

LIMITS_OF_MODEL: Final = (
    "A suspect of the model is a hypothesis: confirm it by a measurement before you replace anything.",
    "Prior odds are guesses that can be changed (`priors` in the case); docs/explanation/probabilities.md.",
)
CHIPS: Final = (
    "Power off and rails at 0 V before a chip, a clip or a card is moved. Wear a wrist strap when handling "
    "chips, and none while working on live mains parts. Chips with several supplies die if one is missing."
)
NO_STEP: Final = "Nothing that could be tried here would tell more."
ADDRESS_NOTE: Final = "Address lines are numbered by weight: line n has the weight 2**n."


@frozen(eq=False)
class Extras:
    """What else goes into the report: the story of the likeliest suspect, versions, the command line."""

    story_about: str = ""
    story: tuple[Event, ...] = ()
    versions: tuple[tuple[str, str], ...] = ()
    command: str = ""
    cautions: tuple[str, ...] = field(default=())


def case_report(diagnosis: Diagnosis, following: Next | None, extras: Extras = Extras()) -> Report:
    """Return the whole report of a case."""
    ranking, case = diagnosis.ranking, diagnosis.case
    machine = diagnosis.scene.machine
    groups = tuple(_groups(diagnosis, following)) if ranking.columns else ()
    return Report(
        title=case.table.title or "A case",
        kind="match",
        machine=machine.name,
        question=_question(diagnosis),
        answer=answer_of(diagnosis),
        confidence=confidence_of(ranking),
        steps=tuple(_steps(diagnosis, following)) if following else (),
        numbering=(machine.word.numbering_sentence(), ADDRESS_NOTE),
        cautions=_cautions(diagnosis, extras),
        groups=groups,
        groups_note=_groups_note(diagnosis) if groups else "",
        agreement=_agreement(diagnosis),
        unexplained=tuple(_unexplained(diagnosis)),
        maps=tuple(_map(diagnosis, dump) for dump in diagnosis.dumps if not dump.misread_file),
        story_about=extras.story_about,
        story=extras.story,
        history=tuple(_history(diagnosis)),
        limits=(*_limits(diagnosis, following), *LIMITS_OF_MODEL),
        inputs=tuple(_inputs(diagnosis)),
        versions=extras.versions,
        command=extras.command,
    )


def top_fault(ranking: Ranking) -> str:
    """Return the likeliest fault in notation, or "" if the answer is that there is none."""
    if ranking.outcome == "nothing" or not ranking.group_count or not ranking.columns:
        return ""
    if len(ranking.group(1).members) > MOST_NAMED:
        return ""  # the story of one of so many would tell nothing
    hypothesis = ranking.hypotheses[ranking.group(1).members[0]]
    return "" if hypothesis.kind == "healthy" else hypothesis.fault


def _question(diagnosis: Diagnosis) -> str:
    count = len(diagnosis.ranking.columns)
    name = diagnosis.scene.machine.name
    if not count:
        return f"What is wrong with {name}?"
    what = "one observation" if count == 1 else f"{count:,} observations"
    return f"Which fault of {name} explains the {what} of this case, what passed included?"


def _groups(diagnosis: Diagnosis, following: Next | None) -> Iterator[Group]:
    ranking = diagnosis.ranking
    unknown = to_permille(min(1.0, ranking.nothing))
    placed = False
    for group in _shown(ranking):
        if not placed and ranking.nothing > group.posterior:
            yield Group(group.rank, unknown, "A cause outside the model", kind="nothing")
            placed = True
        yield _group(diagnosis, group, following, placed)
    if not placed:
        rank = len(_shown(ranking)) + 1
        yield Group(rank, unknown, "A cause outside the model", kind="nothing")


def _shown(ranking: Ranking) -> list[Ranked]:
    """Return the groups that are shown: the best one, and others with some belief."""
    return [g for g in ranking.groups(SHOWN_GROUPS) if g.rank == 1 or g.posterior >= LEAST_SHOWN]


def _group(diagnosis: Diagnosis, group: Ranked, following: Next | None, placed: bool) -> Group:
    ranking = diagnosis.ranking
    first = ranking.hypotheses[group.members[0]]
    kind: GroupKind = "pair" if group.kind == "pair" else "misread" if group.contradicted else "fault"
    large = len(group.members) > MOST_NAMED
    most = (
        LISTED_FIRST if group.rank == 1 and not large else LISTED_LARGE if group.rank == 1 else LISTED_LATER
    )
    listed = [ranking.hypotheses[i] for i in group.members[:most]]
    many = {i: diagnosis.suspects.all[i].stands_for for i in group.members if i < len(diagnosis.suspects.all)}
    members = tuple(
        Member(h.fault, _member(h.label, many.get(i, 1), same=h.label == first.label and not large))
        for i, h in zip(group.members, listed, strict=False)
    )
    if len(group.members) > most:
        members = (*members, Member(f"and {len(group.members) - most:,} more", "`--json` lists all of them"))
    name = "Nothing is wrong" if first.kind == "healthy" else fault_name(ranking, first)
    if large:
        name = f"One of {len(group.members):,} faults that look the same so far"
    rank = group.rank + placed
    return Group(
        rank,
        to_permille(min(1.0, group.posterior)),
        name,
        members,
        "",
        _split(group, following),
        kind,
    )


def _member(label: str, stands_for: int, *, same: bool) -> str:
    """Return what is said beside a member: its place, unless that is the one the group is named after."""
    like_it = f"(stands for {stands_for:,} like it)" if stands_for > 1 else ""
    return " ".join(part for part in ("" if same else label, like_it) if part)


def _split(group: Ranked, following: Next | None) -> str:
    if len(group.members) < 2 or following is None:
        return ""
    places = {int(n): i for i, n in enumerate(following.shortlist.numbers)}
    inside = [places[m] for m in group.members if m in places]
    found = split_by(inside, following.measurements)
    if not found:
        return "nothing that was tried tells them apart"
    names = [following.measurements[k].name for k in found[:3]]
    return ", ".join(names)


def _groups_note(diagnosis: Diagnosis) -> str:
    ranking = diagnosis.ranking
    shown = _shown(ranking)
    rest = ranking.group_count - len(shown)
    held = 1 - ranking.nothing - sum(g.posterior for g in shown)
    share = percent(to_permille(min(1.0, max(0.0, held))))
    more = f"{rest:,} more group{'s hold' if rest > 1 else ' holds'} {share} together. " if rest > 0 else ""
    return f"{more}{diagnosis.note}."


def _agreement(diagnosis: Diagnosis) -> Agreement | None:
    ranking = diagnosis.ranking
    if not ranking.columns or not ranking.group_count:
        return None
    groups = _shown(ranking)[:SHOWN_COLUMNS]
    tops = [g.members[0] for g in groups]
    told = [ranking.agreement(i) for i in tops]
    alike = [f" and {len(g.members) - 1:,} alike" if len(g.members) > 1 else "" for g in groups]
    names = tuple(
        f"{g.rank} {ranking.hypotheses[g.members[0]].fault}{a}" for g, a in zip(groups, alike, strict=True)
    )
    rows = tuple(
        AgreementRow(
            column.label,
            tuple(Verdict(t[k].word, t[k].reason) for t in told),
            passed=column.passed,
        )
        for k, column in enumerate(ranking.columns)
    )
    return Agreement(names, rows)


def _unexplained(diagnosis: Diagnosis) -> Iterator[str]:
    ranking = diagnosis.ranking
    entries = diagnosis.case.entries
    if ranking.group_count and ranking.columns:
        for verdict in ranking.agreement(ranking.group(1).members[0]):
            if verdict.word == "contradicts":
                yield f"{ranking.columns[verdict.column].label}: {verdict.reason}"
    for number, reason in diagnosis.predicted.unused:
        yield f"{sentence(entries[number])}: {not_used(reason)}"


def _steps(diagnosis: Diagnosis, following: Next) -> Iterator[Step]:
    advice = following.advice
    if advice.best is None:
        confirm = " Confirm it at the place itself." if top_fault(diagnosis.ranking) else ""
        yield Step(
            NO_STEP + confirm, why=f"{advice.note[0].upper()}{advice.note[1:]}." if advice.note else ""
        )
        return
    chosen = [s for s in advice.ranked if not s.set_aside or s.measurement == advice.best]
    for place, scored in enumerate(chosen[:SHOWN_STEPS]):
        one = following.measurements[scored.measurement]
        yield Step(
            one.action, one.where, max(1, round(one.minutes)), one.powered, one.caution,
            _why(scored, advice.note if not place else ""),
            tuple(_outcomes(diagnosis, following, scored)),
        )  # fmt: skip


def _why(scored: Scored, note: str) -> str:
    told = f"It tells {scored.bits:.2f} bits, {scored.bits_per_minute:.2f} a minute."
    return f"{told} How it was chosen: {note}." if note else told


def _outcomes(diagnosis: Diagnosis, following: Next, scored: Scored) -> Iterator[Outcome]:
    for left in scored.outcomes[:SHOWN_OUTCOMES]:
        yield Outcome(left.outcome, _leaves(diagnosis, following, left), to_permille(min(1.0, left.chance)))
    rest = scored.outcomes[SHOWN_OUTCOMES:]
    if rest:
        chance = to_permille(min(1.0, sum(left.chance for left in rest)))
        many = "one more outcome" if len(rest) == 1 else f"{len(rest):,} more outcomes"
        yield Outcome("something else", f"{many}; `corewright next --json` lists all", chance)


def _leaves(diagnosis: Diagnosis, following: Next, left: Left) -> str:
    number = int(following.shortlist.numbers[left.leader])
    leader = diagnosis.ranking.hypotheses[number]
    if left.hypotheses == 1:
        return f"leaves one suspect: {leader.fault}"
    share = percent(to_permille(min(1.0, left.share)))
    return f"leaves {left.hypotheses} suspects, the likeliest {leader.fault} ({share})"


def _cautions(diagnosis: Diagnosis, extras: Extras) -> tuple[str, ...]:
    found = list(extras.cautions)
    ranking = diagnosis.ranking
    if ranking.group_count and ranking.columns and ranking.outcome != "nothing":
        fault = diagnosis.subjects[ranking.group(1).members[0]].fault
        found += [caution_of(diagnosis.scene.board, part) for part in fault.parts] if fault else []
    found.append(
        "Follow your local rules for mains work; what is inside the cabinet is for people qualified for it. "
        "Copy out what a store holds before anything is written to it."
    )
    return tuple(dict.fromkeys(found))


def caution_of(board: Board, part: FaultPart) -> str:
    """Return what to heed at a fault: that of its kind, but at chips what chips need."""
    stores = [s.name for s in board.machine.stores]
    place = part.sites[0].partition("/")[0]
    if place in stores and board.built[stores.index(place)] == "chips":
        return CHIPS
    return kind_named(part.kind).entry.caution


def _map(diagnosis: Diagnosis, dump: Observed) -> MemoryMap:
    made = observed_map(diagnosis.scene.machine, dump)
    if diagnosis.case.epochs[dump.entry] == len(diagnosis.case.mends):
        return made
    return evolve(made, note=f"Read before the last mend. {made.note}".strip())


def _history(diagnosis: Diagnosis) -> Iterator[HistoryEntry]:
    """Yield swaps and mends; beside the last mend stands what ran since, and how much more is wanted."""
    mends = diagnosis.case.mends
    for entry in diagnosis.case.entries:
        if isinstance(entry, Swap):
            yield HistoryEntry(str(entry.when), sentence(entry), entry.fault)
        elif isinstance(entry, Mended):
            told = sign_off(diagnosis.case) if entry is mends[-1] else ()
            yield HistoryEntry(str(entry.when), sentence(entry), " ".join(s.sentence for s in told))


def _limits(diagnosis: Diagnosis, following: Next | None) -> Iterator[str]:
    for dump in diagnosis.dumps:
        yield from (f"The file {dump.dump.file}: {text}." for text in dump.warnings[:SHOWN_WARNINGS])
        if len(dump.warnings) > SHOWN_WARNINGS:
            more = len(dump.warnings) - SHOWN_WARNINGS
            yield f"{dump.dump.file}: {more:,} more such remarks; `corewright case check` lists them."
        for suspicion in dump.suspected:
            aside = " It was not taken as evidence." if suspicion in dump.misread_file else ""
            yield f"The file {dump.dump.file} may be read wrongly: {suspicion.sentence}.{aside}"
    if any(s.chancy for s in diagnosis.subjects):
        yield "Faults that come and go are tried at a rate of which nothing is known; @50% means any rate."
    yield "Observations are taken to be independent of each other once the fault is given."
    if following:
        yield from following.left_out


def _inputs(diagnosis: Diagnosis) -> Iterator[InputFile]:
    case = diagnosis.case
    yield InputFile(case.file.name, hash_of(case.file))
    files = [e for e in case.entries if isinstance(e, Addresses | Capture | Dump)]
    for name in dict.fromkeys(n for e in files for n in (e.file, getattr(e, "expected", "")) if n):
        yield InputFile(name, hash_of(case.path_of(name)))
