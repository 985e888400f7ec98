"""The one ``Report`` value: plain data that every renderer reads and that nothing here computes.

All fields are strings, integers and tuples, so a report can be built by hand, compared and stored.
Every part is optional: what is empty is not printed. Probabilities are whole thousandths
(:func:`to_permille`), so that the same ranking always prints the same bytes.

Building a value that contradicts itself (a verdict missing in a row, runs that overlap) raises
``ValueError``: that is a mistake of the program, never of the reader's files.
"""

import re
from collections.abc import Iterable, Sequence
from typing import Literal, get_args

from attrs import Attribute, field, frozen

from faults.report.text import without_folders

WordClass = Literal["same", "bits", "copy", "zero", "merged", "unknown", "unread"]
VerdictWord = Literal["agrees", "contradicts", "silent"]
AnswerKind = Literal["suspect", "group", "none", "inconclusive", "result"]
ConfidenceBasis = Literal["calibrated", "prior-driven", "exact", "unstated"]
GroupKind = Literal["fault", "pair", "misread", "nothing"]

_HEX64 = re.compile(r"[0-9a-f]{64}")


def to_permille(probability: float) -> int:
    """Return thousandths of a probability in 0..1, rounded down so that no report overstates.

    1000 is kept for exactly 1 and 0 for less than one in a thousand; both print as bounds.
    """
    if not 0.0 <= probability <= 1.0:
        raise ValueError(f"a probability lies in 0..1; given {probability!r}")
    return int(probability * 1000 + 1e-9)


def _is_permille(_owner: object, attribute: "Attribute[int]", value: int) -> None:
    if not 0 <= value <= 1000:
        raise ValueError(f"{attribute.name} is thousandths, 0..1000; given {value}")


@frozen
class Answer:
    """The answer in one sentence and the site in the reader's own labels.

    ``site`` holds (name, label) pairs in the order to look for them: card, slot, connector, pin, wire.
    ``fault`` is the fault in notation, or "".
    """

    sentence: str
    site: tuple[tuple[str, str], ...] = ()
    fault: str = ""
    kind: AnswerKind = "result"


@frozen
class Confidence:
    """How sure the answer is: thousandths, words, and what the number rests on."""

    permille: int = field(validator=_is_permille)
    words: str = ""
    basis: ConfidenceBasis = "unstated"
    note: str = ""


@frozen
class Outcome:
    """One possible result of a step, what it would leave, and how likely it is (or ``None``)."""

    seen: str
    leaves: str
    permille: int | None = None


@frozen
class Step:
    """One thing to do at the bench. ``minutes`` are bench minutes; ``powered`` is ``None`` if unstated."""

    action: str
    where: str = ""
    minutes: int | None = None
    powered: bool | None = None
    caution: str = ""
    why: str = ""
    outcomes: tuple[Outcome, ...] = ()


@frozen
class Member:
    """One fault of a group: its notation and its place in the reader's labels."""

    fault: str
    label: str = ""


@frozen
class Group:
    """Faults that no observation so far can tell apart, listed whole, and what would split them."""

    rank: int
    permille: int = field(validator=_is_permille)
    name: str
    members: tuple[Member, ...] = ()
    label: str = ""
    split: str = ""
    kind: GroupKind = "fault"


@frozen
class Verdict:
    """What one candidate says of one observation, and why."""

    word: VerdictWord
    reason: str = ""


@frozen
class AgreementRow:
    """One observation against every column of the table."""

    observation: str
    verdicts: tuple[Verdict, ...]
    passed: bool = False


@frozen
class Agreement:
    """Observations by top candidates. ``columns`` are the candidates' short names, best first."""

    columns: tuple[str, ...]
    rows: tuple[AgreementRow, ...] = field()

    @rows.validator
    def _full(self, _attribute: object, rows: tuple[AgreementRow, ...]) -> None:
        for row in rows:
            if len(row.verdicts) != len(self.columns):
                raise ValueError(
                    f"{row.observation!r} has {len(row.verdicts)} verdicts for {len(self.columns)} candidates"
                )


@frozen
class Run:
    """``count`` words from ``first`` that are all of one class.

    ``source`` is the address that the first word of a copy shows; ``bits`` names wrong bits.
    """

    first: int
    count: int
    kind: WordClass
    source: int | None = None
    bits: str = ""
    note: str = ""

    @property
    def last(self) -> int:
        """The address of the last word."""
        return self.first + self.count - 1


@frozen
class MemoryMap:
    """One store, expected against read. ``columns`` is the natural row of words (a bank, a strand).

    ``runs`` ascend and do not overlap; words in no run count as not read. ``base`` is the base in
    which addresses are printed (2, 8, 10 or 16).
    """

    store: str
    words: int
    columns: int
    runs: tuple[Run, ...] = field()
    base: int = 8
    note: str = ""

    @runs.validator
    def _in_order(self, _attribute: object, runs: tuple[Run, ...]) -> None:
        if self.words < 1 or self.columns < 1:
            raise ValueError(f"a map has words and columns; given {self.words} and {self.columns}")
        at = 0
        for run in runs:
            if run.kind not in get_args(WordClass):
                raise ValueError(f"no such word class: {run.kind!r}")
            if run.first < at or run.count < 1:
                raise ValueError(f"run at {run.first} of {run.count} words overlaps or is empty")
            at = run.first + run.count
        if at > self.words:
            raise ValueError(f"the runs end at {at}, beyond the {self.words} words of {self.store!r}")

    def whole(self) -> tuple[Run, ...]:
        """Return the runs with every gap filled by a ``unread`` run, so that they cover all words."""
        out: list[Run] = []
        at = 0
        for run in self.runs:
            if run.first > at:
                out.append(Run(at, run.first - at, "unread"))
            out.append(run)
            at = run.first + run.count
        if at < self.words:
            out.append(Run(at, self.words - at, "unread"))
        return tuple(out)


def runs_of(
    kinds: Sequence[WordClass],
    sources: Sequence[int | None] | None = None,
    bits: Sequence[str] | None = None,
) -> tuple[Run, ...]:
    """Fold one class per word (from address 0) into runs; the three sequences are equally long.

    Neighbours join when class and bits are equal and their sources advance word by word.
    """
    out: list[Run] = []
    for address, kind in enumerate(kinds):
        source = sources[address] if sources is not None else None
        wrong = bits[address] if bits is not None else ""
        if out and _continues(out[-1], kind, source, wrong):
            last = out[-1]
            out[-1] = Run(last.first, last.count + 1, kind, last.source, wrong)
        else:
            out.append(Run(address, 1, kind, source, wrong))
    return tuple(out)


def _continues(last: Run, kind: WordClass, source: int | None, bits: str) -> bool:
    expected = None if last.source is None else last.source + last.count
    return last.kind == kind and last.bits == bits and source == expected


@frozen
class Event:
    """One sentence of the story. ``access`` and ``time`` are text in the machine's own units."""

    sentence: str
    access: str = ""
    address: str = ""
    time: str = ""


@frozen
class Symptom:
    """One thing that can be seen, with the fault and (optionally) on the healthy machine."""

    name: str
    seen: str
    healthy: str = ""


@frozen
class HistoryEntry:
    """A swap or a mend: when, what was done, what came of it."""

    when: str
    what: str
    result: str = ""


@frozen
class InputFile:
    """An input by name and SHA-256 (64 lower-case hex digits). Folders of an absolute path are dropped."""

    name: str = field(converter=without_folders)
    sha256: str = field()

    @sha256.validator
    def _digest(self, _attribute: object, value: str) -> None:
        if not _HEX64.fullmatch(value):
            raise ValueError(f"a SHA-256 has 64 lower-case hex digits; given {value!r}")


@frozen
class Report:
    """Everything one report says. ``steps[0]`` is the next step; ``groups`` are in order of rank.

    ``groups_note`` says what the table leaves out, if anything. ``story_about`` names the fault whose
    story is told. ``command`` is the command line that made the report, without folders.
    """

    title: str
    kind: str = ""
    machine: str = ""
    question: str = ""
    answer: Answer | None = None
    confidence: Confidence | None = None
    steps: tuple[Step, ...] = ()
    numbering: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    groups: tuple[Group, ...] = ()
    groups_note: str = ""
    agreement: Agreement | None = None
    unexplained: tuple[str, ...] = ()
    maps: tuple[MemoryMap, ...] = ()
    story_about: str = ""
    story: tuple[Event, ...] = ()
    symptoms: tuple[Symptom, ...] = ()
    history: tuple[HistoryEntry, ...] = ()
    limits: tuple[str, ...] = ()
    inputs: tuple[InputFile, ...] = ()
    seed: str = ""
    versions: tuple[tuple[str, str], ...] = ()
    command: str = field(default="", converter=without_folders)


def percent(permille: int) -> str:
    """Return thousandths as the reader sees them: bounds at the ends, never rounded up."""
    if permille <= 0:
        return "under 0.1 %"
    if permille >= 1000:
        return "over 99.9 %"
    if 100 <= permille < 990:
        return f"{permille // 10} %"
    return f"{permille / 10:.1f} %"


def total_words(runs: Iterable[Run]) -> dict[WordClass, int]:
    """Return how many words each class holds, every class present."""
    counts: dict[WordClass, int] = dict.fromkeys(get_args(WordClass), 0)
    for run in runs:
        counts[run.kind] += run.count
    return counts
