"""What could be done next at the bench for a case, and what each outcome would be under each suspect."""

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np
from attrs import frozen

from emu.codes import encode
from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.memory import EXTRA_CELLS, MemoryPlan, PlannedMemory, Words
from emu.shipped import program_names
from emu.words import WordFormat, mask
from faults.case.model import Dump, Measured, Swap
from faults.costs import StepCost
from faults.diagnose import Diagnosis
from faults.dump import scattered
from faults.fault import Fault
from faults.hypotheses import FloatArray, IntArray
from faults.information import Forecast, sure_forecast
from faults.nextstep import Advice, Measurement, advise
from faults.predictions.bench import continuity_table, on_card, signal_table
from faults.predictions.captures import read_again
from faults.predictions.programs import outcome_words, passes
from faults.predictions.reading import readings
from faults.sites import Site
from faults.telling import Teller

HELD: Final = 0.995
MOST_SUSPECTS: Final = 240
MOST_SITES: Final = 16
MOST_WORDS: Final = 5
LONGEST_RUN: Final = 1_500_000
"""Programs of more instructions are not tried for advice: it would take too long to foretell them."""

WIPES: Final = "Writing wipes out what the store holds: copy it out first if it is not safe elsewhere."


@frozen(eq=False)
class Shortlist:
    """The suspects that advice is about. ``numbers``: int64[m], of the hypotheses; ``share``: float64[m]."""

    numbers: IntArray
    share: FloatArray
    held: float


@frozen(eq=False)
class Next:
    """The advice, the measurements it is about, and the suspects it covers."""

    advice: Advice
    measurements: tuple[Measurement, ...]
    shortlist: Shortlist
    left_out: tuple[str, ...]


def shortlist_of(diagnosis: Diagnosis) -> Shortlist:
    """Return the likeliest hypotheses that together hold nearly all of the belief."""
    posterior = diagnosis.ranking.posterior
    order = np.argsort(-posterior, kind="stable")
    held = np.cumsum(posterior[order])
    total = float(held[-1]) if len(held) else 0.0
    count = min(MOST_SUSPECTS, int(np.searchsorted(held, HELD * total)) + 1, len(order))
    numbers = order[:count].astype(np.int64)
    return Shortlist(numbers, posterior[numbers], float(held[count - 1]) if count else 0.0)


def next_step(diagnosis: Diagnosis) -> Next:
    """Return what to measure next for a diagnosis."""
    shortlist = shortlist_of(diagnosis)
    maker = _Maker(diagnosis, shortlist)
    found = [m for m in maker.all() if _tells(m)]
    advice = advise(shortlist.share, found)
    return Next(advice, tuple(found), shortlist, tuple(maker.skipped))


def _tells(measurement: Measurement) -> bool:
    rows = measurement.forecast.rows
    return len(rows) > 1 and bool(np.any(rows != rows[0]))


class _Maker:
    def __init__(self, diagnosis: Diagnosis, shortlist: Shortlist) -> None:
        self.diagnosis, self.shortlist = diagnosis, shortlist
        self.scene, self.costs = diagnosis.scene, diagnosis.scene.costs
        self.subjects = [diagnosis.subjects[i] for i in shortlist.numbers.tolist()]
        self.plans = [diagnosis.columns.plan(s.fault) for s in self.subjects]
        self.tools = frozenset(diagnosis.case.table.tools)
        self.skipped: list[str] = []
        case = diagnosis.case  # what was done before a mend may be done again
        last = len(case.mends)
        self.now = [e for e, epoch in zip(case.entries, case.epochs, strict=True) if epoch == last]

    def all(self) -> Iterator[Measurement]:
        for kind, make in (
            ("ring-out", self.continuity), ("run-program", self.programs), ("dump", self.dumps),
            ("examine", self.words), ("probe", self.signals), ("swap", self.swaps),
        ):  # fmt: skip
            if self.costs.possible(kind, self.tools):
                yield from make(self.costs.of(kind))

    def step(
        self,
        cost: StepCost,
        name: str,
        action: str,
        forecast: Forecast,
        *,
        minutes: float = 0,
        where: str = "",
        writes: bool = False,
    ) -> Measurement:
        return Measurement(
            name,
            action,
            forecast,
            minutes or cost.minutes,
            cost.powered,
            cost.risk,
            f"{WIPES} {cost.caution}" if writes else cost.caution,
            where,
            cost.kind,
        )

    # --- programs, dumps, words

    def programs(self, cost: StepCost) -> Iterator[Measurement]:
        known = {
            p for e in self.now if isinstance(p := getattr(e, "program", ""), str) and not isinstance(e, Dump)
        }
        for name in program_names(self.scene.machine.name):
            if name in known or not name.startswith("selftest"):
                continue
            runs = self.diagnosis.columns.runs(name)
            if runs.healthy_steps > LONGEST_RUN:
                self.skipped.append(f"{name} runs too long to be foretold here")
                continue
            seen = runs.symptoms([s.fault for s in self.subjects])
            shown = ["it passes" if passes(s, runs.healthy) else f"it {outcome_words(s)}" for s in seen]
            yield self.step(cost, name, f"Run {name}.", self._at_times(shown, "it passes"))

    def _at_times(self, shown: Sequence[str], usual: str) -> Forecast:
        """Return the forecast; a fault that comes and goes shows in half of the cases."""
        if not any(s.chancy for s in self.subjects):
            return sure_forecast(shown)
        names = list(dict.fromkeys([*shown, usual]))
        ways: dict[tuple[str, bool], int] = {}
        rows = [
            ways.setdefault((s, one.chancy), len(ways)) for s, one in zip(shown, self.subjects, strict=True)
        ]
        shares = np.zeros((len(ways), len(names)))
        for (text, chancy), way in ways.items():
            shares[way, names.index(text)] += 0.5 if chancy else 1.0
            if chancy:
                shares[way, names.index(usual)] += 0.5
        return Forecast(tuple(names), np.array(rows, np.int64), shares)

    def contents(self, store: int) -> tuple[str, Words] | None:
        """Return what the store can be taken to hold, in words and as words; None if nobody knows."""
        spec, case = self.scene.machine.stores[store], self.diagnosis.case
        if spec.writable:
            how = "fill it with the words that `corewright dump` gives, which all differ, and read it back"
            return how, scattered(self.scene.machine, store)
        for dump in self.diagnosis.dumps:
            if dump.store == store and bool(np.any(dump.sure)):
                return "", dump.expected
        for entry in reversed(case.entries):
            program = str(getattr(entry, "program", "") or "")
            image = self.scene.program(program).image if program else None
            if image is not None and spec.name in image.segments:
                words = power_up(RunRequest(self.scene.machine, image))[store][: spec.words]
                return f"as {program} has it", words
        return None

    def dumps(self, cost: StepCost) -> Iterator[Measurement]:
        done = {e.store for e in self.now if isinstance(e, Dump)}
        for store, spec in enumerate(self.scene.machine.stores):
            known = self.contents(store)
            if spec.name in done or known is None:
                continue
            shown = [self._dump_text(plan, store, known[1]) for plan in self.plans]
            how = f" ({known[0]})" if known[0] else ""
            yield self.step(
                cost, f"dump of {spec.name}", f"Read out the {spec.name}{how}, and compare.",
                self._at_times(shown, "every word is right"), writes=spec.writable,
            )  # fmt: skip

    def _dump_text(self, plan: MemoryPlan | None, store: int, words: Words) -> str:
        read = words if plan is None else readings(plan, store, words)
        differs = np.flatnonzero(read != words)
        if not len(differs):
            return "every word is right"
        form = WordFormat(max(1, (len(words) - 1).bit_length()), base=self.scene.machine.word.base)
        mark = hashlib.blake2b(read.tobytes(), digest_size=2).hexdigest()
        first = form.tagged(int(differs[0]))
        return f"{len(differs):,} words are wrong, the first at {first} (pattern {mark})"

    def words(self, cost: StepCost) -> Iterator[Measurement]:
        """Offer single words whose reading splits the suspects best."""
        for store, spec in enumerate(self.scene.machine.stores):
            known = self.contents(store)
            if known is None or spec.words * len(self.plans) > 1 << 23:
                continue
            table = np.stack([known[1] if p is None else readings(p, store, known[1]) for p in self.plans])
            for address in _best_words(table, self.shortlist.share):
                if spec.writable:
                    yield from self._deposits(cost, store, address, known[1])
                else:
                    yield self._examined(cost, store, address, int(known[1][address]), table[:, address])

    def _examined(
        self, cost: StepCost, store: int, address: int, held: int, shown: IntArray, *, deposit: bool = False
    ) -> Measurement:
        teller = Teller(self.scene.machine)
        where, word = _spot(teller, store, address), teller.examined(store, held)
        action, name, minutes = f"Examine {where}: it should read {word}.", where, cost.minutes
        if deposit:
            minutes += self.costs.of("key-in").minutes
            name = f"{word} deposited in {where}"
            action = f"Deposit {word} in {where} and examine it at once."
        told = self._at_times(
            [f"it reads {teller.examined(store, int(w))}" for w in shown], f"it reads {word}"
        )
        return self.step(cost, name, action, told, minutes=minutes, writes=deposit)

    def _deposits(self, cost: StepCost, store: int, address: int, held: Words) -> Iterator[Measurement]:
        """Offer to write a word and read it at once: its usual word, and the inverted one."""
        spec = self.scene.machine.stores[store]
        data = int(held[address]) & mask(spec.data_bits)
        for value in (data, data ^ mask(spec.data_bits)):
            word = encode(spec.protection, spec.data_bits, value)
            shown = [self._read_at_once(plan, store, address, word, held) for plan in self.plans]
            yield self._examined(cost, store, address, word, np.array(shown, np.int64), deposit=True)

    def _read_at_once(self, plan: MemoryPlan | None, store: int, address: int, word: int, held: Words) -> int:
        if plan is None:
            return word
        made = read_again(plan, store, np.array([address]), np.array([word]))
        if made is not None:
            return int(made[0])
        cells = [[0] * (shape.words + EXTRA_CELLS) for shape in plan.shapes]
        cells[store][: len(held)] = held.tolist()
        memory = PlannedMemory(plan, cells)
        memory.write(store, address, word)
        return memory.read(store, address)

    # --- sites and cards

    def sites(self) -> list[Site]:
        """Return the sites of the suspects, the likeliest first."""
        shares: dict[str, float] = {}
        for subject, share in zip(self.subjects, self.shortlist.share.tolist(), strict=True):
            for part in subject.fault.parts if subject.fault else ():
                for path in part.sites:
                    shares[path] = shares.get(path, 0.0) + share
        best = sorted(shares, key=lambda p: -shares[p])
        return [self.scene.board.site(path) for path in best[:MOST_SITES]]

    def done(self, path: str, *, continuity: bool) -> bool:
        entries = [e for e in self.now if isinstance(e, Measured) and e.site == path]
        return any(
            (e.ohms is not None or e.reading in ("open", "closed", "shorted")) == continuity for e in entries
        )

    def continuity(self, cost: StepCost) -> Iterator[Measurement]:
        for site in self.sites():
            if site.part in {"core", "decoder"} or self.done(site.path, continuity=True):
                continue
            rows = self._tables(site, continuity=True)
            action = f"Ring out the {site.noun} with the power off{_place(site)}."
            yield self.step(cost, f"continuity of {site.path}", action, rows, where=site.labels.text())

    def signals(self, cost: StepCost) -> Iterator[Measurement]:
        for site in self.sites():
            if site.part == "core" or self.done(site.path, continuity=False):
                continue
            rows = self._tables(site, continuity=False)
            action = f"Look at the {site.noun} with the scope{_place(site)}."
            yield self.step(cost, f"signal of {site.path}", action, rows, where=site.labels.text())

    def _tables(self, site: Site, *, continuity: bool) -> Forecast:
        make = continuity_table if continuity else signal_table
        told = [_steady(make(s.fault, site.path, self.scene.board)) for s in self.subjects]
        return _mixed(told)

    def swaps(self, cost: StepCost) -> Iterator[Measurement]:
        tried = {e.moved for e in self.now if isinstance(e, Swap)}
        seen: set[str] = set()
        for site in self.sites():
            card = site.labels.card
            other = self._sister(site)
            if not card or card in seen | tried or not other:
                continue
            seen.add(card)
            told = [_steady(self._swap(s.fault, card, other)) for s in self.subjects]
            yield self.step(cost, f"swap of {card}", f"Exchange card {card} with card {other}.", _mixed(told),
                            where=f"cards {card} and {other}")  # fmt: skip

    def _sister(self, site: Site) -> str:
        """Return another card that carries a site of the same family, so that it should be alike."""
        prefix = site.path.rpartition("/")[0]
        mine = site.labels.card
        cards = (s.labels.card for s in self.scene.board.sites() if s.path.rpartition("/")[0] == prefix)
        return next((c for c in cards if c and c != mine), "")

    def _swap(self, fault: Fault | None, card: str, other: str) -> Mapping[str, float]:
        sites = [self.scene.board.site(p) for part in fault.parts for p in part.sites] if fault else []
        if not sites or not any(on_card(s, card) or on_card(s, other) for s in sites):
            return {"the fault stays": 1.0}
        if any(s.part == "contact" for s in sites):
            return {"the fault moves": 0.3, "the fault stays": 0.3, "the fault is gone": 0.4}
        return {"the fault moves": 0.9, "the fault is gone": 0.1}


def _steady(table: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    return tuple(sorted(table.items()))


def _mixed(told: Sequence[tuple[tuple[str, float], ...]]) -> Forecast:
    names = sorted({name for table in told for name, _ in table})
    ways: dict[tuple[tuple[str, float], ...], int] = {}
    rows = np.array([ways.setdefault(table, len(ways)) for table in told], np.int64)
    shares = np.zeros((len(ways), len(names)))
    for table, way in ways.items():
        for name, chance in table:
            shares[way, names.index(name)] = chance
    return Forecast(tuple(names), rows, shares)


def _spot(teller: Teller, store: int, address: int) -> str:
    """Return the word in words; its address for the processor only where that is another number."""
    place = teller.place(store, address)
    return teller.cell(store, address) if f"(at {teller.index(store, address)})" in place else place


def _place(site: Site) -> str:
    text = site.labels.text()
    return f": {text}" if text else ""


def _best_words(table: np.ndarray[tuple[int, int], np.dtype[np.int64]], share: FloatArray) -> list[int]:
    """Return the addresses whose word tells most about who it is, no two that tell the same."""
    differs = np.flatnonzero(np.any(table != table[0], axis=0))
    if not len(differs):
        return []
    columns, first = np.unique(table[:, differs] != table[0, differs], axis=1, return_index=True)
    del columns
    found = []
    weights = share / float(share.sum())
    for address in differs[np.sort(first)][:400].tolist():
        _, of = np.unique(table[:, address], return_inverse=True)
        shares = np.bincount(of.reshape(-1), weights)
        gain = -sum(p * math.log2(p) for p in shares.tolist() if p > 0)
        found.append((-gain, address))
    return [address for _, address in sorted(found)[:MOST_WORDS]]
