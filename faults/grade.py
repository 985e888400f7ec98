"""What a self-test finds, what escapes it, and why: reckoned from a finished campaign.

``docs/explanation/screening.md`` says what counts as found. Counts are of faults, every member of a group
of equal plans counted, since each is another place to mend.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from enum import IntEnum
from itertools import combinations
from typing import Final

import numpy as np
import numpy.typing as npt
from attrs import define, field, frozen

from emu.engine.layout import STOP_KINDS
from emu.spec import MachineSpec
from faults.campaign import Campaign
from faults.fault import Fault
from faults.records import character_ports, printed, symptoms_of_record, without_times
from faults.screen import SETTLED, Reason
from faults.universe import CellBlock, Universe
from faults.worker import prepared, stop_code

REPORT: Final = r"^(BAD|RST)\b"  # what the shipped self-tests print of a failure
EXACT_PROGRAMS: Final = 16
EXAMPLES: Final = 8
Verdicts = npt.NDArray[np.int8]
# the reason told where several programs miss a fault: that of the one that came closest
_CLOSEST: Final = (
    Reason.CHANCE, Reason.MASKED, Reason.ORDER, Reason.ONE_VALUE, Reason.TEST_SITS, Reason.NEVER_READ,
    Reason.ABSENT,
)  # fmt: skip
WHY: Final = {
    Reason.NEVER_READ: "never read: the program reads no word that the fault alters",
    Reason.ONE_VALUE: "never both values: words were read, but not with the value that the fault spoils",
    Reason.TEST_SITS: "the test sits there: the words altered are the program's own, which it does not test",
    Reason.MASKED: (
        "masked: words that the fault can alter were used, and nothing that can be seen came of it"
    ),
    Reason.ORDER: "wrong order: writes and reads never came in the order that brings the fault out",
    Reason.ABSENT: "not there: under these conditions, or ever, the fault changes nothing",
    Reason.CHANCE: "by chance: the fault comes and goes, and was away when it would have shown",
}


class Verdict(IntEnum):
    """What a person at the machine can tell."""

    ESCAPES = 0  # nothing but, at most, a time is different
    REPORTED = 1  # the program prints its failure report
    HANGS = 2  # it does not come to an end as it should, and reports nothing
    SEEN = 3  # it ends, with other lamps, alarms or prints, and reports nothing


@frozen
class Tally:
    """How many faults came to each verdict."""

    total: int
    reported: int
    hangs: int
    seen: int

    @property
    def found(self) -> int:
        """Faults that show in any way."""
        return self.reported + self.hangs + self.seen

    @property
    def percent(self) -> float:
        """Share of the faults that show, in percent; 100 where there is none."""
        return 100.0 * self.found / self.total if self.total else 100.0


@frozen
class Escapes:
    """Faults that no program finds, of one reason. ``examples``: numbers of the first few in the universe."""

    reason: Reason
    count: int
    examples: tuple[int, ...]


@frozen
class ProgramGrade:
    """The grade of one program. ``steps`` and ``time_ns`` are those of its healthy run, to ``stop``.

    ``false_report``: it prints a failure report on a healthy machine too; so no fault counts as reported.
    """

    name: str
    stop: str
    false_report: bool
    steps: int
    time_ns: int
    tally: Tally
    by_kind: tuple[tuple[str, Tally], ...]
    by_site: tuple[tuple[str, Tally], ...]
    escapes: tuple[Escapes, ...]


@frozen
class Grade:
    """The grade of one or several programs.

    ``smallest``: names of the fewest that find as much as all; ``alone``: for each of them, how many faults
    no other of them finds.
    """

    programs: tuple[ProgramGrade, ...]
    union: ProgramGrade
    smallest: tuple[str, ...]
    alone: tuple[int, ...]
    exact: bool
    groups: int


@define(eq=False)
class Grader:
    """Turns a campaign into a grade.

    ``report``: what a program prints when it reports a failure. ``examples``: how many of the faults that
    escape for one reason are named, None for all.
    """

    campaign: Campaign
    report: re.Pattern[str] = field(factory=lambda: re.compile(REPORT, re.MULTILINE))
    examples: int | None = EXAMPLES
    verdicts: Verdicts = field(init=False)
    _kinds: "Labels" = field(init=False)
    _sites: "Labels" = field(init=False)

    def __attrs_post_init__(self) -> None:
        self.verdicts = verdicts_of(self.campaign, self.report)
        self._kinds, self._sites = labels_of(self.campaign.universe)

    def grade(self) -> Grade:
        """Return the grade of every program and of all together."""
        campaign = self.campaign
        numbers = range(len(campaign.jobs))
        programs = tuple(self._program(job) for job in numbers)
        best = best_of(self.verdicts)
        union = self._graded("all together", "", any(p.false_report for p in programs),
                             sum(p.steps for p in programs), sum(p.time_ns for p in programs), best,
                             list(numbers))  # fmt: skip
        chosen, exact = smallest_set(self.verdicts != Verdict.ESCAPES, [p.time_ns for p in programs])
        names = tuple(programs[i].name for i in chosen)
        return Grade(programs, union, names, self._alone(chosen), exact, len(campaign.grouping))

    def _alone(self, chosen: Sequence[int]) -> tuple[int, ...]:
        found = (self.verdicts != Verdict.ESCAPES)[list(chosen)][:, self.campaign.grouping.of_fault]
        once = found.sum(axis=0) == 1
        return tuple((found & once).sum(axis=1).tolist())

    def _program(self, job: int) -> ProgramGrade:
        healthy = prepared(self.campaign.jobs[job]).profile.result
        name = self.campaign.jobs[job].program.name
        record = self.campaign.records[self.campaign.healthy[job]]
        says = self.report.search(printed(record, character_ports(self.campaign.jobs[job].machine)))
        return self._graded(name, healthy.stop.kind, says is not None, healthy.steps, healthy.time_ns,
                            self.verdicts[job], [job])  # fmt: skip

    def _graded(
        self, name: str, stop: str, false: bool, steps: int, time_ns: int, verdicts: Verdicts, jobs: list[int]
    ) -> ProgramGrade:
        of_fault = verdicts[self.campaign.grouping.of_fault]
        return ProgramGrade(
            name, stop, false, steps, time_ns, _tally(of_fault), _by(self._kinds, of_fault),
            _by(self._sites, of_fault), self._escapes(of_fault, jobs),
        )  # fmt: skip

    def _escapes(self, of_fault: Verdicts, jobs: list[int]) -> tuple[Escapes, ...]:
        missed = np.flatnonzero(of_fault == Verdict.ESCAPES)
        reasons = self.campaign.reasons[jobs][:, self.campaign.grouping.of_fault[missed]]
        told = np.full(len(missed), Reason.MASKED, np.int8)  # also where only a time is different
        for reason in reversed(_CLOSEST):
            told[(reasons == reason).any(axis=0)] = reason
        found = []
        for reason in _CLOSEST:
            members = missed[told == reason]
            if len(members):
                found.append(Escapes(reason, len(members), tuple(members[: self.examples].tolist())))
        return tuple(sorted(found, key=lambda e: -e.count))

    def escaping(self) -> npt.NDArray[np.bool_]:
        """Return which groups escape every program (bool[groups])."""
        missed: npt.NDArray[np.bool_] = (self.verdicts == Verdict.ESCAPES).all(axis=0)
        return missed


def verdicts_of(campaign: Campaign, report: re.Pattern[str]) -> Verdicts:
    """Return the verdict of each program on each group (int8[jobs, groups])."""
    machine = campaign.jobs[0].machine
    rows = []
    for row, healthy in zip(campaign.seen, campaign.healthy, strict=True):
        judge = _Judge(machine, campaign.records[healthy], report)
        numbers, places = np.unique(row, return_inverse=True)
        judged = [judge.verdict(campaign.records[n]) for n in numbers.tolist()]
        rows.append(np.array(judged, np.int8)[places])
    return np.stack(rows)


class _Judge:
    """Compares records with a healthy one."""

    def __init__(self, machine: MachineSpec, healthy: bytes, report: re.Pattern[str]) -> None:
        self.machine, self.healthy, self.report = machine, healthy, report
        self.ports = character_ports(machine)
        self.said = printed(healthy, self.ports)
        self.looks = without_times(symptoms_of_record(machine, healthy))
        self.ends = STOP_KINDS[stop_code(healthy)] in SETTLED
        self.reports = report.search(self.said) is None

    def verdict(self, record: bytes) -> Verdict:
        """Return what a person can tell from a record."""
        if record == self.healthy:
            return Verdict.ESCAPES
        said = printed(record, self.ports)
        if self.reports and self.report.search(said):
            return Verdict.REPORTED
        if self.ends and STOP_KINDS[stop_code(record)] not in SETTLED:
            return Verdict.HANGS
        if said == self.said and without_times(symptoms_of_record(self.machine, record)) == self.looks:
            return Verdict.ESCAPES
        return Verdict.SEEN


def best_of(verdicts: Verdicts) -> Verdicts:
    """Return the best verdict of any program: reported, else seen, else hangs, else escapes."""
    worth = np.array([0, 3, 1, 2], np.int8)  # by verdict
    back = np.array([Verdict.ESCAPES, Verdict.HANGS, Verdict.SEEN, Verdict.REPORTED], np.int8)
    best: Verdicts = back[worth[verdicts].max(axis=0)]
    return best


def _tally(verdicts: Verdicts) -> Tally:
    counts = np.bincount(verdicts, minlength=4)
    return Tally(len(verdicts), *(int(counts[v]) for v in (Verdict.REPORTED, Verdict.HANGS, Verdict.SEEN)))


@frozen(eq=False)
class Labels:
    """A name for every fault: ``names[numbers[i]]``."""

    names: tuple[str, ...]
    numbers: npt.NDArray[np.int32]


def _by(labels: Labels, verdicts: Verdicts) -> tuple[tuple[str, Tally], ...]:
    counts = np.bincount(4 * labels.numbers + verdicts, minlength=4 * len(labels.names)).reshape(-1, 4)
    return tuple(
        (name, Tally(int(row.sum()), *(int(row[v]) for v in (1, 2, 3))))
        for name, row in sorted(zip(labels.names, counts, strict=True), key=lambda pair: pair[0])
    )


def labels_of(universe: Universe) -> tuple[Labels, Labels]:
    """Return the kind and the family of sites of every fault of a universe."""
    kinds, sites = _Names(), _Names()
    for block in universe.faults.blocks:
        if isinstance(block, CellBlock):
            each = [kinds.number("-".join((block.kind, *v))) for v in block.variants]
            kinds.parts.append(np.tile(np.array(each, np.int32), len(block) // max(1, len(each))))
            site = sites.number(block.family.prefix)
            sites.parts.append(np.full(len(block), site, np.int32))
        else:
            faults = list(block.all())
            kinds.add("-".join((f.parts[0].kind, *f.parts[0].params)) for f in faults)
            sites.add(_family(universe, f) for f in faults)
    return kinds.labels(), sites.labels()


def _family(universe: Universe, fault: Fault) -> str:
    family = universe.board.tree.family(fault.parts[0].sites[0])
    return family.prefix if family is not None else fault.parts[0].sites[0]


@define
class _Names:
    known: dict[str, int] = field(factory=dict)
    parts: list[npt.NDArray[np.int32]] = field(factory=list)

    def number(self, name: str) -> int:
        return self.known.setdefault(name, len(self.known))

    def add(self, names: Iterable[str]) -> None:
        self.parts.append(np.array([self.number(name) for name in names], np.int32))

    def labels(self) -> Labels:
        return Labels(tuple(self.known), np.concatenate([np.zeros(0, np.int32), *self.parts]))


def smallest_set(found: npt.NDArray[np.bool_], costs: Sequence[int]) -> tuple[tuple[int, ...], bool]:
    """Return the fewest programs that find what all find (of equal size the quickest), and whether surely.

    ``found``: bool[programs, groups]. Up to 16 programs every set is looked at; beyond, the one that adds
    most is taken each time, which may be more than needed.
    """
    weights = 1 << np.arange(len(found), dtype=np.int64)
    if len(found) > 62:
        return _greedy(found, costs), False
    masks = np.unique((found * weights[:, None]).sum(axis=0)) if len(found) else np.zeros(0, np.int64)
    masks = masks[masks != 0]
    if len(found) > EXACT_PROGRAMS:
        return _greedy(found, costs), False
    for size in range(len(found) + 1):
        fitting = [c for c in combinations(range(len(found)), size) if _covers(c, masks)]
        if fitting:
            return min(fitting, key=lambda c: (sum(costs[i] for i in c), c)), True
    raise AssertionError("all programs together find what all find")


def _covers(chosen: Sequence[int], masks: npt.NDArray[np.int64]) -> bool:
    return bool(((masks & sum(1 << i for i in chosen)) != 0).all())


def _greedy(found: npt.NDArray[np.bool_], costs: Sequence[int]) -> tuple[int, ...]:
    left, chosen = found.any(axis=0), list[int]()
    while left.any():
        gains = (found & left).sum(axis=1)
        best = min(range(len(found)), key=lambda i: (-int(gains[i]), costs[i]))
        chosen.append(best)
        left &= ~found[best]
    return tuple(sorted(chosen))


def catching(grader: Grader, names: Sequence[str]) -> Iterator[tuple[str, int]]:
    """Yield the programs of a campaign that find something, with how many faults, most first.

    Meant for a campaign over the faults that escaped others: it says which program to run next.
    """
    of_fault = grader.campaign.grouping.of_fault
    counts = [
        (name, int((row[of_fault] != Verdict.ESCAPES).sum()))
        for name, row in zip(names, grader.verdicts, strict=True)
    ]
    yield from sorted((c for c in counts if c[1]), key=lambda c: (-c[1], c[0]))
