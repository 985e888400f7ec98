"""After a mend: has everything that failed run often enough since, and clean."""

from collections.abc import Iterable, Mapping
from typing import Literal

from attrs import frozen

from faults.case.forms import parse_count
from faults.case.load import Case
from faults.case.model import Alarm, Entry, Failed, Hung, Passed, Restarts
from faults.rates import accesses_needed, clean_sentence, rate_sentence

Verdict = Literal["enough", "more runs", "not run", "still fails"]


@frozen
class SignOff:
    """One program under one condition, before and after the last mend.

    ``rate``: chance of a failure per run before, (failures + 1) / (runs + 2): Laplace's rule, so that one
    failure in one run does not count as certainty. ``needed``: clean runs for 95 %. ``elsewhere``: failures
    and runs of the program since the mend under other conditions.
    """

    program: str
    condition: str
    failures_before: int
    runs_before: int
    failures_since: int
    runs_since: int
    rate: float
    needed: int
    elsewhere: tuple[int, int] = (0, 0)

    @property
    def verdict(self) -> Verdict:
        """Whether the runs since the mend are enough."""
        if self.failures_since or self.elsewhere[0]:
            return "still fails"
        if not self.runs_since:
            return "not run"
        return "enough" if self.runs_since >= self.needed else "more runs"

    @property
    def sentence(self) -> str:
        """The same in words."""
        name = self.program + (f" ({self.condition})" if self.condition else "")
        if self.failures_since:
            return f"{name} still fails. {rate_sentence(self.failures_since, self.runs_since)}"
        if self.elsewhere[0]:
            told = rate_sentence(*self.elsewhere)
            return f"{self.program} still fails, under other conditions than before. {told}"
        if not self.runs_since:
            runs = "1 clean run is" if self.needed == 1 else f"{self.needed:,} clean runs are"
            where = " under the condition under which it failed" if self.elsewhere[1] else ""
            start = f"{name} has not been run since the mend{where}"
            return f"{start}; {runs} needed before calling it mended (95 %)."
        return f"{name}: {clean_sentence(self.runs_since, self.rate)}"


def sign_off(case: Case) -> tuple[SignOff, ...]:
    """Return what failed before the last mend, in order of first failure; () if nothing was mended.

    Runs count only under the condition under which it failed.
    """
    last = len(case.mends)
    if not last:
        return ()
    dated = list(zip(case.epochs, case.entries, strict=True))
    early = [entry for epoch, entry in dated if epoch < last]
    late = [entry for epoch, entry in dated if epoch == last]
    before = _with_alarms(_counts(early), early)
    known = {_sign(entry) for entry in early} - {
        None
    }  # some programs raise an alarm on purpose: only the same again
    since = _with_alarms(_counts(late), [entry for entry in late if _sign(entry) in known])
    return tuple(_one(key, before, since) for key, (failures, _) in before.items() if failures)


Key = tuple[str, str]
Counts = Mapping[Key, tuple[int, int]]


def _one(key: Key, before: Counts, since: Counts) -> SignOff:
    failures, runs = before[key]
    rate = (failures + 1) / (runs + 2)
    again, clean = since.get(key, (0, 0))
    others = [counts for other, counts in since.items() if other[0] == key[0] and other != key]
    elsewhere = (sum(f for f, _ in others), sum(r for _, r in others))
    return SignOff(*key, failures, runs, again, clean, rate, accesses_needed(rate), elsewhere)


def _counts(entries: Iterable[Entry]) -> Counts:
    """Return (failures, runs) of every program under every condition."""
    found: dict[Key, tuple[int, int]] = {}
    for entry in entries:
        if isinstance(entry, Passed | Failed | Hung):
            failures, runs = _result(entry)
            key = (entry.program, entry.condition)
            so_far = found.get(key, (0, 0))
            found[key] = (so_far[0] + failures, so_far[1] + runs)
    return found


def _with_alarms(counts: Counts, entries: Iterable[Entry]) -> Counts:
    """Return the counts with alarms and restarts as one failing run where nothing says that a run failed."""
    found = dict(counts)
    for entry in entries:
        if isinstance(entry, Alarm | Restarts) and _sign(entry) is not None:
            key = (entry.program, entry.condition)
            failures, runs = found.get(key, (0, 0))
            found[key] = (failures, runs) if failures else (1, runs + 1)
    return found


def _sign(entry: Entry) -> tuple[str, str] | None:
    """Return the program and what it raised: an alarm or, as "", a restart; None if nothing was raised."""
    if isinstance(entry, Alarm | Restarts) and parse_count(entry.count).low > 0:
        return entry.program, entry.alarm if isinstance(entry, Alarm) else ""
    return None


def _result(entry: Passed | Failed | Hung) -> tuple[int, int]:
    match entry:
        case Passed():
            return 0, entry.runs
        case Failed():
            return entry.runs if entry.failures is None else entry.failures, entry.runs
        case Hung():
            return 1, 1
