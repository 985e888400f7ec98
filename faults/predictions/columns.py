"""From a case's entries to columns of chances: one for every observation that the model can speak about."""

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
from attrs import define, evolve, field, frozen

from emu.memory import MemoryPlan
from emu.words import WordFormat
from faults.case.forms import parse_addresses
from faults.case.model import Addresses, Capture, Dump, Entry, Failed, Measured, Mended, Passed, Swap
from faults.case.readings import read_addresses, read_text
from faults.case.show import is_pass, sentence
from faults.epochs import Mend
from faults.fault import Fault
from faults.hypotheses import FloatArray, IntArray
from faults.likelihood import DEFAULT_CERTAINTY, Column, broad_chance, slip_chance
from faults.predictions.bench import Said, measured, mend_works, swapped
from faults.predictions.book import Book
from faults.predictions.captures import (
    SILENT,
    Captured,
    capture_misfit,
    captured_words,
    read_capture,
    set_aside,
)
from faults.predictions.dumppairs import by_bits, by_words
from faults.predictions.dumps import (
    DumpChances,
    Misfit,
    Words,
    address_misfit,
    coming_and_going,
    dump_misfit,
    exact_or_garbled,
    fills,
    garbled,
    partly,
    unknown_log,
)
from faults.predictions.evidence import Observed
from faults.predictions.leftovers import Leftovers
from faults.predictions.otherwise import read_otherwise
from faults.predictions.plans import BEYOND, HEALTHY
from faults.predictions.programs import Judge, Judged, judge_of
from faults.predictions.runs import ProgramRuns
from faults.predictions.scene import Scene
from faults.predictions.workshop import Workshop

Flags = npt.NDArray[np.bool_]
_LEAST: Final = 1e-300
NOT_TRIED: Final = "not tried: other evidence rules it out"
DEAD_BELOW: Final = -40.0
"""Suspects this many nats behind the best after dumps and measurements are not run through programs."""


@frozen
class Subject:
    """A fault as columns see it; None: healthy. ``chancy``: it comes and goes."""

    fault: Fault | None
    chancy: bool = False


@frozen(eq=False)
class Predicted:
    """The columns of a case, the entries (numbers) that none speaks of with the reason, and the mends."""

    columns: tuple[Column, ...]
    unused: tuple[tuple[int, str], ...]
    mends: tuple[Mend, ...]


@define(eq=False)
class Columns:
    """Makes the columns of a case. ``dumps``: those that were read, by entry number."""

    scene: Scene
    dumps: dict[int, Observed]
    workshop: Workshop
    _captures: dict[int, Captured] = field(factory=dict, init=False)
    _as_read: set[int] = field(factory=set, init=False)  # dumps of which it was looked at if they are misread
    _leftovers: dict[int, Leftovers] = field(factory=dict, init=False)

    def predict(self, subjects: Sequence[Subject], weights: FloatArray, *, sift: bool = True) -> Predicted:
        """Return the columns over the subjects, whose prior weights are float64[n].

        ``sift``: leave out of programs those whom dumps and measurements already rule out.
        """
        columns: dict[int, Column] = {}
        unused: list[tuple[int, str]] = []
        case = self.scene.case
        digests = [self.workshop.plans.digest(s.fault) for s in subjects]
        later: list[tuple[int, Entry]] = []
        for number, entry in enumerate(case.entries):
            match entry:
                case Dump() if not self.dumps[number].after:
                    self._dump(number, subjects, digests, weights, columns, unused)
                case Addresses():
                    columns[number] = self._addresses(number, entry, subjects, weights)
                case Measured():
                    look, uniform = measured(entry, self.scene.board)
                    columns[number] = self._said(number, look, uniform, subjects, weights)
                case Swap():
                    said = swapped(entry, self.scene.board)
                    columns[number] = self._said(number, said, 1 / 3, subjects, weights)
                case Capture():
                    self._capture(number, entry, subjects, digests, weights, columns, unused)
                case Mended():
                    pass
                case _:
                    later.append((number, entry))
        alive = self._alive(list(columns.values()), len(subjects)) if sift and not case.mends else None
        for number, entry in later:
            if isinstance(entry, Dump):
                self._dump(number, subjects, digests, weights, columns, unused, alive)
                continue
            columns[number] = self._program(number, entry, subjects, digests, weights, alive)
        ordered = tuple(columns[number] for number in sorted(columns))
        return Predicted(ordered, tuple(unused), self._mends(subjects))

    def plan(self, fault: Fault | None) -> MemoryPlan | None:
        """Return the plan of a fault; None for none, and for faults that cannot be told together."""
        return self.workshop.plans.plan(fault)

    def runs(self, program: str) -> ProgramRuns:
        """Return the runs of a program of the case."""
        return self.workshop.runs(self.scene.program(program))

    def _book(self, dump: Observed) -> Book:
        return self.workshop.book(dump.store, dump.expected, dump.dump.repeat, written=dump.written)

    def dump_pairs(
        self, number: int, subjects: Sequence[Subject], weights: FloatArray, most: int
    ) -> IntArray:
        """Return pairs of subjects (int64[m, 2]) that may explain a dump between them, the best first.

        ``most`` of those that strike different words, and as many of those that strike different bits.
        """
        dump = self.dumps[number]
        if dump.misread_file or not bool(np.any(dump.known & dump.sure)):
            return np.zeros((0, 2), np.int64)
        digests = [self.workshop.plans.digest(s.fault) for s in subjects]
        misfit = self._misfit(number, [s.fault for s in subjects], digests)
        pairs = by_words(misfit, digests, most)
        if dump.after:
            return pairs
        able = [i for i, s in enumerate(subjects) if not s.chancy and digests[i] not in (HEALTHY, BEYOND)]
        chosen = np.array(able, np.int64)
        told = by_bits(self._book(dump), dump, [digests[i] for i in able], weights[chosen], most)
        return np.concatenate([pairs, chosen[told]])

    # --- one kind of entry each

    def _column(
        self, number: int, chance: FloatArray, broad: float, misread: float | FloatArray,
        why: Callable[[int], str],
    ) -> Column:  # fmt: skip
        case = self.scene.case
        entry = case.entries[number]
        return Column(
            sentence(entry), chance, max(_LEAST, min(1.0, broad)), misread,
            DEFAULT_CERTAINTY if entry.certainty is None else entry.certainty,
            case.epochs[number], number, is_pass(entry), why,
        )  # fmt: skip

    def _dump(
        self, number: int, subjects: Sequence[Subject], digests: list[str], weights: FloatArray,
        columns: dict[int, Column], unused: list[tuple[int, str]], alive: Flags | None = None,
    ) -> None:  # fmt: skip
        dump = self.dumps[number]
        if dump.misread_file:
            unused.append(
                (number, f"set aside, for the file may be read wrongly: {dump.misread_file[0].sentence}")
            )
            return
        if not bool(np.any(dump.known & dump.sure)):
            unused.append(
                (number, "nothing says what the store should hold: name an `expected` file or a `program`")
            )
            return
        out = np.zeros(len(subjects), np.bool_) if alive is None else ~alive
        faults = [None if gone else s.fault for s, gone in zip(subjects, out.tolist(), strict=True)]
        tried = [HEALTHY if gone else d for d, gone in zip(digests, out.tolist(), strict=True)]
        misfit = self._misfit(number, faults, tried)
        otherwise = None
        if number not in self._as_read:
            self._as_read.add(number)
            otherwise = read_otherwise(dump, misfit, (faults, tried), self._book(dump), self.scene.board)
        if otherwise is not None:
            self.dumps[number] = evolve(dump, suspected=(otherwise,))
            self._dump(number, subjects, digests, weights, columns, unused, alive)
            return
        differs = (dump.words ^ dump.expected) & dump.known & dump.sure
        chances = exact_or_garbled(misfit, weights * ~out, unknown_log(misfit, differs))
        if any(s.chancy for s in subjects):
            plans = [self.plan(s.fault) if s.chancy else None for s in subjects]
            chances = _with_chancy(chances, misfit, dump, subjects, plans)
        form = WordFormat(max(1, (len(dump.words) - 1).bit_length()), base=self.scene.machine.word.base)

        def why(i: int) -> str:
            if out[i]:
                return NOT_TRIED
            if subjects[i].chancy:
                return "a part of what it would strike, at times"
            return _misfit_words(misfit, i, form)

        chance = np.where(out, np.nan, chances.chance)
        columns[number] = self._column(number, chance, chances.broad, chances.misread, why)

    def _misfit(self, number: int, faults: Sequence[Fault | None], digests: Sequence[str]) -> Misfit:
        """Compare a dump with what is read under each fault: of contents that are known, or after a run."""
        dump = self.dumps[number]
        if not dump.after:
            return dump_misfit(dump, self._book(dump), faults, digests)
        if number not in self._leftovers:
            self._leftovers[number] = Leftovers(dump, self.runs(dump.after))
        return self._leftovers[number].misfit(faults, digests)

    def _capture(
        self, number: int, entry: Capture, subjects: Sequence[Subject], digests: list[str],
        weights: FloatArray, columns: dict[int, Column], unused: list[tuple[int, str]],
    ) -> None:  # fmt: skip
        if number not in self._captures:
            self._captures[number] = read_capture(self.scene, number, entry)
        captured = self._captures[number]
        reason = set_aside(captured, entry)
        if reason:
            unused.append((number, reason))
            return
        faults = [s.fault for s in subjects]
        misfit, where = capture_misfit(captured, faults, digests, self.plan, self._book)
        silent = (misfit.wrong == SILENT) | np.array([s.chancy for s in subjects], np.bool_)
        compared = evolve(misfit, wrong=np.where(silent, misfit.of, misfit.wrong))
        chances = exact_or_garbled(compared, weights * ~silent, unknown_log(misfit, captured.differs))
        chance = np.where(silent, np.nan, chances.chance)

        def why(i: int) -> str:
            if silent[i]:
                return "of single transactions it cannot be told what it does"
            return f"{captured_words(self.scene.machine, misfit, where, i)} ({captured.remark})"

        columns[number] = self._column(number, chance, chances.broad, chances.misread, why)

    def _addresses(
        self, number: int, entry: Addresses, subjects: Sequence[Subject], weights: FloatArray,
    ) -> Column:  # fmt: skip
        machine = self.scene.machine
        store = machine.store_index(entry.store)
        spec = machine.stores[store]
        form = WordFormat(max(1, (spec.words - 1).bit_length()), base=machine.word.base)
        if entry.failing:
            ranges = parse_addresses(entry.failing, form)
        else:
            ranges = read_addresses(read_text(self.scene.case.path_of(entry.file)), form)
        listed = np.zeros(spec.words, np.bool_)
        for first, last in ranges:
            listed[first : last + 1] = True
        contents, plans = self._contents(entry, store), [self.plan(s.fault) for s in subjects]
        misfit, size, inside = address_misfit(listed, store, plans, contents)
        if entry.complete:
            unknown = -misfit.cost * min(misfit.total, 60)
            chances = exact_or_garbled(misfit, weights, unknown)
        else:
            chances = partly(misfit, size, inside)

        def why(i: int) -> str:
            return (
                _misfit_words(misfit, i, form) if entry.complete else f"{int(size[i])} addresses would fail"
            )

        return self._column(number, chances.chance, chances.broad, chances.misread, why)

    def _contents(self, entry: Addresses, store: int) -> list[Words]:
        spec = self.scene.machine.stores[store]
        image = self.scene.program(entry.program).image if entry.program else None
        if image is not None and not spec.writable and spec.name in image.segments:
            from emu.engine.contract import RunRequest  # noqa: PLC0415
            from emu.engine.powerup import power_up  # noqa: PLC0415

            return [power_up(RunRequest(self.scene.machine, image))[store][: spec.words]]
        return fills(self.scene.machine, store)

    def _said(
        self, number: int, look: Callable[[Fault | None], Said], uniform: float,
        subjects: Sequence[Subject], weights: FloatArray,
    ) -> Column:  # fmt: skip
        told = [look(s.fault) for s in subjects]
        chance = np.array([one.chance for one in told], np.float64)
        broad = broad_chance(chance, weights, uniform)
        return self._column(number, chance, broad, uniform, lambda i: told[i].reason)

    def _program(
        self, number: int, entry: Entry, subjects: Sequence[Subject], digests: list[str],
        weights: FloatArray, alive: Flags | None,
    ) -> Column:  # fmt: skip
        runs = self.runs(str(getattr(entry, "program", "")))
        judge = judge_of(entry, self.scene.machine)
        assert judge is not None, "every other entry is about a program"
        possible = [i for i in range(len(subjects)) if (alive is None or alive[i]) and digests[i] != BEYOND]
        codes = runs.codes([subjects[i].fault for i in possible], [digests[i] for i in possible])
        different = np.unique(codes).tolist()
        looked = {code: judge.look(runs.kinds[code], runs.passing[code]) for code in different}
        normal = judge.look(runs.healthy, True)
        times = {code: _at_times(entry, looked[code], normal, healthy=code == 0) for code in different}
        ways = [
            (times if subjects[i].chancy else looked)[c]
            for i, c in zip(possible, codes.tolist(), strict=True)
        ]
        chance = np.full(len(subjects), np.nan)
        wrong = np.full(len(subjects), -1, np.int64)
        chance[possible] = [one.chance for one in ways]
        wrong[possible] = [one.wrong for one in ways]
        places = {i: n for n, i in enumerate(possible)}
        broad = broad_chance(chance, weights, judge.uniform)

        def why(i: int) -> str:
            return ways[places[i]].reason if i in places else NOT_TRIED

        return self._column(number, chance, broad, _slips(judge, wrong), why)

    def _alive(self, columns: list[Column], count: int) -> Flags | None:
        if not columns or not count:
            return None
        logs = np.zeros(count)
        for column in columns:
            logs += np.log(column.likelihood())
        alive: Flags = logs > float(logs.max()) + DEAD_BELOW
        return alive

    def _mends(self, subjects: Sequence[Subject]) -> tuple[Mend, ...]:
        made = []
        for entry in self.scene.case.mends:
            works = np.array([mend_works(entry, self.scene.board, s.fault) for s in subjects], np.float64)
            made.append(Mend(sentence(entry), works, np.full(len(subjects), -1, np.int64)))
        return tuple(made)


def _slips(judge: Judge, wrong: IntArray) -> float | FloatArray:
    uniform = max(_LEAST, judge.uniform)
    if not judge.digits:
        return judge.misread or uniform
    return np.maximum(slip_chance(wrong, judge.digits, judge.base, uniform), _LEAST)


def _at_times(entry: Entry, there: Judged, gone: Judged, *, healthy: bool) -> Judged:
    """Return what a fault says that is there at some runs, at a rate of which nothing is known.

    Over all rates every number of failing runs of N is equally likely, 1 / (N + 1).
    """
    if healthy or there.chance == gone.chance == 1.0:
        return there
    match entry:
        case Passed():
            return Judged(1 / (entry.runs + 1), "it would fail at times")
        case Failed() if entry.runs > 1:
            return Judged(1 / (entry.runs + 1), "it would fail at times")
        case _:
            chance = (there.chance + gone.chance) / 2
            return Judged(chance, lambda: f"at times: {there.reason}", max(there.wrong, gone.wrong))


def _with_chancy(
    chances: DumpChances, misfit: Misfit, dump: Observed, subjects: Sequence[Subject],
    plans: Sequence[MemoryPlan | None],
) -> DumpChances:  # fmt: skip
    chance, misread = chances.chance.copy(), chances.misread.copy()
    steady = garbled(misfit.wrong, misfit.of, misfit.cost)
    exact = bool(chances.chance.any())
    top = 0.0 if exact else float(steady.max())
    for i, (subject, plan) in enumerate(zip(subjects, plans, strict=True)):
        if subject.chancy and plan is not None:
            log = coming_and_going(misfit, dump, plan) - (0.0 if exact else top)
            value = math.exp(max(min(log, 0.0), -690.0))
            chance[i], misread[i] = (value if exact else 0.0), max(_LEAST, value)
    return DumpChances(chance, chances.broad, misread)


def _misfit_words(misfit: Misfit, number: int, form: WordFormat) -> str:
    wrong = int(misfit.wrong[number])
    if not wrong:
        return "exactly what it would show" if misfit.total else "nothing would be wrong there"
    names = ", ".join(form.tagged(a) for a in misfit.where(number))
    more = ", .." if wrong > len(names.split(", ")) else ""
    return f"{wrong} of {misfit.of:,} words differ from what it would show: {names}{more}"
