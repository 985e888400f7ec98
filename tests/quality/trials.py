"""Hidden-fault trials: a fault is drawn, the machine simulated, and what people would have seen of it is matched.

Run as a script it prints the tables and writes docs/performance/trials.csv. The tests of this folder use it
with fewer trials.

What is observed: some programs of the machine, each by its result (passed, hung, or failed, perhaps with the
first line it printed), by its lamps or by its restarts, and at times by its alarms; in some trials the reading
of a store, whole or in part. At least one thing is no pass, for without a failure there is no case. People are
careful, but for calibration: there they write as ``faults.predictions.programs`` takes them to. They make up their
minds what to look at before they look, call a hang a failure at times, and misread at the rate that is assumed. Faults are drawn by the prior odds (for calibration) or evenly over the
kinds (for the table by kind).

Of two faults each must have changed something that was seen. Where a single fault nevertheless explains all
of it, that simpler answer is given and none could be better: these are counted apart (``one of pair``).
"""

import csv
import sys
import time
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
from attrs import define, field, frozen

from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.load import load_machine
from emu.where import Source
from faults.boards import load_board
from faults.case.check import lamp_format
from faults.case.load import parse_case
from faults.case.model import Dump
from faults.costs import load_costs
from faults.diagnose import Diagnosis, diagnose_scene
from faults.dump import scattered
from faults.fault import Fault
from faults.lower import plan_of
from faults.notation import fault_text
from faults.predictions.columns import Subject
from faults.predictions.evidence import Observed
from faults.predictions.programs import (
    ENDLESS_COUNTED,
    HANG_CALLED_FAILED,
    RESTARTS_CALLED_HUNG,
    passes,
    period_ns,
    restarting,
    unending,
)
from faults.predictions.reading import readings
from faults.predictions.scene import Scene
from faults.predictions.workshop import Workshop
from faults.priors import load_priors
from faults.ranking import Ranking

PROGRAMS = {
    "fulmar": (
        "gates",
        "selftest-core-march",
        "selftest-rope-banks",
        "selftest-bank-switch",
        "selftest-core-address",
    ),
    "dunlin": ("tides", "selftest-march", "selftest-march-low", "selftest-address", "selftest-worst"),
    "sandpiper": ("logger", "selftest-check-bits", "selftest-registers"),
}
RIGHT_READING = 0.98
DUMPED = {"fulmar": 0.4, "dunlin": 0.4, "sandpiper": 0.1}
LOOKED_AT = (0.6, 0.25, 0.15)
ALARMS_NOTED = 0.5
CONTRARY = 0.25
TIMED = 0.5  # how often the time from one restart to the next is measured
COPIED = 0.6  # how often the line that a test prints of a failure is copied
GARBLED_LINE = 8
MISCOUNTED = (0.5, 0.25, 0.25)  # none, once, many: what somebody writes of an alarm who reads wrongly
FEWEST = 3
AT_TIMES = "at times"
MOST_TRIES = 20  # of a machine that mends what is wrong few faults show: then there are fewer trials
SORTS = (
    ("prior", 600),
    ("kind", 400),
    ("misread", 300),
    ("calibration", 2000),
    (AT_TIMES, 100),
    ("pair", 70),
)
EXPLAINED_BY_ONE = "one of pair"


@frozen
class Outcome:
    """One trial: the truth, whether the top group held it, its rank, and how sure the answer was."""

    machine: str
    sort: str
    fault: str
    kind: str
    hit: bool
    top_three: bool
    sure: float
    outcome: str
    group: int
    seconds: float


@define(eq=False)
class Trials:
    """Trials of one machine. ``seed``: what everything is drawn from."""

    name: str
    seed: int = 1
    workshop: Workshop = field(init=False)
    scene: Scene = field(init=False)
    random: np.random.Generator = field(init=False)
    contents: list = field(init=False)
    one_misread: bool = field(default=False, init=False)
    careful: bool = field(default=True, init=False)

    def __attrs_post_init__(self) -> None:
        machine = load_machine(self.name)
        board = load_board(machine)
        priors = load_priors()
        self.workshop = Workshop(board, priors)
        self.scene = Scene(parse_case(Source("case.toml", self.head)), machine, board, priors, load_costs())
        self.random = np.random.default_rng(self.seed)
        image = self.scene.program(PROGRAMS[self.name][0]).image
        held = power_up(RunRequest(machine, image))
        self.contents = [
            scattered(machine, n) if s.writable else held[n][: s.words] for n, s in enumerate(machine.stores)
        ]

    @property
    def head(self) -> str:
        return f'format = "case/1"\nmachine = "{self.name}"\n'

    # --- drawing faults

    def by_prior(self) -> Fault:
        """Return a fault drawn by the prior odds over the whole universe."""
        blocks = self.workshop.maker.blocks
        weights = np.array([self.block_weight(n) for n in range(len(blocks))])
        number = int(self.random.choice(len(blocks), p=weights / weights.sum()))
        block = blocks[number]
        if hasattr(block, "faults"):
            each = np.array([self.weight(f) for f in block.faults])
            return block.faults[int(self.random.choice(len(each), p=each / each.sum()))]
        return block.fault(int(self.random.integers(len(block))))

    def block_weight(self, number: int) -> float:
        if number not in _WEIGHTS[self.name]:
            block = self.workshop.maker.blocks[number]
            if hasattr(block, "faults"):
                found = sum(self.weight(f) for f in block.faults)
            else:
                found = self.weight(block.fault(0)) * len(block)
            _WEIGHTS[self.name][number] = found
        return _WEIGHTS[self.name][number]

    def weight(self, fault: Fault) -> float:
        return self.workshop.maker.weight(fault)

    def by_kind(self) -> Fault:
        """Return a fault of a kind drawn evenly."""
        if not _KINDS[self.name]:
            for block in self.workshop.maker.blocks:
                for n in range(0, len(block), max(1, len(block) // 4000)):
                    fault = block.fault(n)
                    _KINDS[self.name].setdefault(fault.parts[0].kind, []).append(fault)
        kinds = sorted(_KINDS[self.name])
        chosen = _KINDS[self.name][kinds[int(self.random.integers(len(kinds)))]]
        return chosen[int(self.random.integers(len(chosen)))]

    # --- what is seen

    def observe(
        self, fault: Fault, misread: int, *, everything: bool = False
    ) -> tuple[str, dict[int, Observed]] | None:
        """Return a case about a fault and the dumps of it; None if nobody would have noticed anything.

        ``misread``: -1 each observation is misread with its chance; 0 none; 1 exactly one. ``everything``:
        all programs were tried, and a store was read.
        """
        self.one_misread, self.careful = misread == 1, misread >= 0
        names = list(PROGRAMS[self.name])
        fewest, most = (1, 2) if misread < 0 else (FEWEST, len(names))  # little is known: less sure answers
        count = most if everything else int(self.random.integers(fewest, most + 1))
        chosen = [str(n) for n in self.random.permutation(names)[:count]]
        dumped = everything or self.random.random() < DUMPED[self.name]
        flags = self.misread_flags(count + dumped, misread)
        entries, noticed = [], False
        for name, wrong in zip(chosen, flags, strict=False):
            text, failing = self.entry(name, fault, wrong)
            entries.append(text)
            noticed = noticed or (failing and not (wrong and misread == 1))  # something true must be seen
        dumps: dict[int, Observed] = {}
        if dumped:
            number = "".join(entries).count("[[entry]]")
            observed = self.dump(number, fault, flags[-1])
            dumps[number] = observed
            entries.append(f'[[entry]]\nkind = "dump"\nstore = "{observed.dump.store}"\nfile = "x.lst"\n')
            noticed = noticed or bool(observed.wrong.any())
        return (self.head + "\n".join(entries), dumps) if noticed else None

    def observe_times(self, fault: Fault) -> tuple[str, dict[int, Observed]] | None:
        """Return a case of a fault that is there at some runs, at a rate of its own; None if nothing shows.

        Each program is run several times; noted is how many of the runs failed.
        """
        rate = self.random.random()
        names = list(PROGRAMS[self.name])
        entries, mixed = [], False
        for name in self.random.permutation(names)[:FEWEST]:
            runs = self.workshop.runs(self.scene.program(str(name)))
            shows = not passes(runs.symptoms([fault])[0], runs.healthy)
            times = int(self.random.integers(4, 11))
            failures = int(self.random.binomial(times, rate)) if shows else 0
            mixed = mixed or 0 < failures < times
            said = f'"failed"\nfailures = {failures}' if failures else '"passed"'
            entries.append(f'[[entry]]\nprogram = "{name}"\nkind = {said}\nruns = {times}\n')
        return (self.head + "\n".join(entries), {}) if mixed else None

    def misread_flags(self, count: int, misread: int) -> list[bool]:
        if misread < 0:
            return [bool(self.random.random() > RIGHT_READING) for _ in range(count)]
        flags = [False] * count
        if misread:
            flags[int(self.random.integers(count))] = True
        return flags

    def entry(self, name: str, fault: Fault, wrong: bool) -> tuple[str, bool]:
        """Return what somebody writes of a program's run, and whether it is no pass."""
        runs = self.workshop.runs(self.scene.program(name))
        seen = runs.symptoms([fault])[0]
        head = f'[[entry]]\nprogram = "{name}"\n'
        look = self.looked_at(name, seen, runs.healthy)
        lamps = self.lamps(seen, wrong)
        if look == "lamps" and unending(seen):
            text, failing = "", False  # they flicker: nothing is written, and nothing else instead
        elif look == "lamps" and lamps:
            text = f'{head}kind = "stop"\nlamps = "{lamps}"\n'
            failing = lamps != self.lamps(runs.healthy, False)
        elif look == "restarts":
            text = f'{head}kind = "restarts"\n{self.restarts(name, seen, wrong)}'
            failing = 'count = "none"' not in text
        else:
            text, failing = self.result(name, seen, passes(seen, runs.healthy), wrong)
            text = f"{head}{text}"
            text += "" if self.careful or self.random.random() > COPIED else self.copied(name, seen)
        noted = self.careful or self.random.random() < ALARMS_NOTED
        alarms, raised = self.alarms(name, seen) if noted else ("", False)
        return text + alarms, failing or raised

    def looked_at(self, name: str, seen, healthy) -> str:
        """Return what of a run is written down.

        Careful people write what tells most; others have made up their minds before they look.
        """
        if not self.careful:
            return str(self.random.choice(("result", "lamps", "restarts"), p=LOOKED_AT))
        if restarting(seen):
            return "restarts"
        odd = self.lamps(seen, False) != self.lamps(healthy, False)
        return "lamps" if odd and not unending(seen) and not self.line(name, seen) else "result"

    def result(self, name: str, seen, passed: bool, wrong: bool) -> tuple[str, bool]:
        """Return what is written of how a run ended, by the habits that docs/explanation names."""
        said = "passed" if passed else "failed"
        if not passed and unending(seen):
            called_failed = RESTARTS_CALLED_HUNG if restarting(seen) else HANG_CALLED_FAILED
            called_failed = 0.0 if self.careful else called_failed
            said = "failed" if self.random.random() < called_failed else "hung"
        line = self.line(name, seen) if said == "failed" and self.careful else ""
        if line and self.random.random() < COPIED:
            return f'kind = "failed"\ntext = "{self.slip(line) if wrong else line}"\n', True
        if wrong:
            said = str(self.random.choice([x for x in ("passed", "failed", "hung") if x != said]))
        return f'kind = "{said}"\n', said != "passed"

    def copied(self, name: str, seen) -> str:
        """Return an entry with the first line printed, or that none was, whatever came of the run."""
        line = self.line(name, seen)
        if not name.startswith("selftest") or (seen.printed(1).strip() and not line):
            return ""
        if line and self.random.random() > RIGHT_READING:
            line = self.slip(line)
        return f'\n[[entry]]\nkind = "printed"\nprogram = "{name}"\ntext = "{line}"\nwhole = false\n'

    def restarts(self, name: str, seen, wrong: bool) -> str:
        """Return the keys of an entry about restarts; who reads wrongly writes the contrary, if seldom."""
        if wrong and (self.one_misread or self.random.random() < CONTRARY):
            return 'count = "some"\n' if seen.restarts == 0 else 'count = "none"\n'
        period = period_ns(seen)
        timed = (
            f'every = "about {period / 1e6:.3f} ms"\n' if seen.restarts and period and period > 1e3 else ""
        )
        if self.careful and timed:
            return timed
        count = f"count = {self.count(seen.restarts)}\n" if seen.restarts else 'count = "none"\n'
        if timed and self.random.random() < TIMED:  # counted, and timed too
            return f'{count}\n[[entry]]\nprogram = "{name}"\nkind = "restarts"\n{timed}'
        return count

    def alarms(self, name: str, seen) -> tuple[str, bool]:
        """Return an entry for each alarm of the machine, with how often it came, and whether any did."""
        found, raised = "", False
        for alarm in self.scene.machine.alarms:
            one = seen.alarm(alarm.name)
            count = '"none"' if one is None else self.count(one.count)
            if not self.careful and self.random.random() > RIGHT_READING:
                count = str(self.random.choice(['"none"', "1", '"many"'], p=MISCOUNTED))
            raised = raised or count != '"none"'
            found += (
                f'\n[[entry]]\nkind = "alarm"\nprogram = "{name}"\nalarm = "{alarm.name}"\ncount = {count}\n'
            )
        return found, raised

    def count(self, times: int) -> str:
        """Return how often it came as it is written: without end, "many", or as far as somebody counted."""
        if 0 <= times <= 20:
            return f"{times}"
        if self.careful or self.random.random() > ENDLESS_COUNTED:
            return '"many"'
        return f"{self.random.geometric(0.5)}"

    def lamps(self, seen, wrong: bool) -> str:
        """Return two rows of lamps as they are copied, with a wrong digit if it was ``wrong``."""
        machine = self.scene.machine
        shows = {lamp.name: lamp.shows for lamp in machine.lamps}
        texts = []
        for name, value in [(n, v) for n, v in seen.lamps if n in ("counter", "accumulator", "kept")][:2]:
            form = lamp_format(machine, shows[name])
            texts.append(f"{name}={form.text(value)}")
        row = " ".join(texts)
        return self.slip(row) if wrong else row

    def line(self, name: str, seen) -> str:
        """Return the line that is copied: that which a self-test prints of a failure, if it can be copied."""
        if not name.startswith("selftest"):
            return ""
        first = next((x.strip() for x in seen.printed(1).splitlines() if x.strip()), "")
        plain = (
            first.isascii()
            and first.isprintable()
            and '"' not in first
            and "\\" not in first
            and "?" not in first
        )
        return first if plain and len(first) <= 60 else ""

    def slip(self, line: str) -> str:
        """Return a line as somebody copies it who reads wrongly: half the time one digit, else all of them."""
        # not the first digit of a number: that would soon be no word of the machine, and be noticed
        places = [i for i, c in enumerate(line) if c in "01234567" and i and line[i - 1] in "01234567"]
        if not places:
            return line + "X"
        signs = list(line)
        one = places[int(self.random.integers(len(places)))]
        if self.random.random() < 0.5:
            places = []
        for at in places:
            signs[at] = str(self.random.integers(8))
        signs[one] = str((int(line[one]) + 1 + int(self.random.integers(7))) % 8)
        return "".join(signs)

    def dump(self, number: int, fault: Fault, wrong: bool) -> Observed:
        machine = self.scene.machine
        store = int(self.random.integers(len(machine.stores)))
        spec = machine.stores[store]
        read = readings(plan_of(self.workshop.board, fault), store, self.contents[store]).copy()
        full = (1 << spec.data_bits) - 1
        known = np.full(spec.words, full, np.int64)
        if self.random.random() < 0.5:  # only a part was read before the evening was over
            part = spec.words // int(2 ** self.random.integers(1, 4))
            first = int(self.random.integers(0, spec.words - part + 1))
            known[:] = 0
            known[first : first + part] = full
        if wrong:
            inside = np.flatnonzero(known)
            for address in self.random.choice(inside, GARBLED_LINE):
                read[address] = (int(read[address]) ^ int(self.random.integers(1, full + 1))) & full
        sure = np.full(spec.words, (1 << spec.bits) - 1, np.int64)
        entry = Dump(store=spec.name, file="x.lst", program=PROGRAMS[self.name][0])
        return Observed(number, entry, store, read & full, known, self.contents[store], sure)

    # --- matching

    def run(self, sort: str, fault: Fault, misread: int) -> Outcome | None:
        if sort == AT_TIMES:
            made = self.observe_times(fault)
        else:
            made = self.observe(fault, misread, everything=sort == "pair")
        if made is None:
            return None
        text, dumps = made
        case = parse_case(Source("case.toml", text))
        scene = Scene(case, self.scene.machine, self.scene.board, self.scene.priors, self.scene.costs)
        scene._programs.update(self.scene._programs)
        began = time.process_time()
        found = diagnose_scene(scene, self.workshop, dumps, pairs=sort == "pair")
        if sort == "pair" and not self.both_needed(found, fault):
            return None
        ranks = self.ranks(found, fault, chancy=sort == AT_TIMES)
        top = found.ranking.group(1)
        sure = top.posterior if sort == "pair" else min(1.0, top.posterior / among_singles(found.ranking))
        if sort == "pair" and found.ranking.single_fits and top.kind == "single":
            sort = EXPLAINED_BY_ONE
        return Outcome(
            self.name,
            sort,
            fault_text(fault, self.workshop.board),
            fault.parts[0].kind,
            1 in ranks,
            bool(ranks & {1, 2, 3}),
            sure,
            found.ranking.outcome,
            len(top.members),
            time.process_time() - began,
        )

    def ranks(self, found: Diagnosis, fault: Fault, *, chancy: bool = False) -> set[int]:
        """Return which of the first three groups hold the fault, or stand for it.

        A single cell need not be listed by itself, and of a pair one member stands for its group: a group
        holds the fault if it foretells every observation as the fault does and is of the same kind.
        """
        ranking = found.ranking
        text = fault_text(fault, self.workshop.board)
        rank = ranking.rank_of(f"{text}@50%" if chancy else text)
        ranks = {rank} if rank is not None else set()
        wanted = "pair" if len(fault.parts) > 1 else "single"
        own = found.columns.predict([Subject(fault, chancy)], np.ones(1), sift=False).columns
        mine = np.array([float(c.chance[0]) for c in own])
        for group in ranking.groups(3):
            first = group.members[0]
            theirs = np.array([float(c.chance[first]) for c in ranking.columns])
            alike = np.isnan(theirs) | (mine == theirs)
            if (
                group.kind == wanted
                and rank is None
                and bool(alike.all())
                and not bool(np.isnan(theirs).all())
            ):
                ranks.add(group.rank)
        return ranks

    def many(self, sort: str, count: int) -> list[Outcome]:
        """Return ``count`` trials of a sort: prior, kind, misread or pair."""
        done: list[Outcome] = []
        tries = 0
        while sum(o.sort == sort for o in done) < count and tries < MOST_TRIES * count:
            tries += 1
            draw = {"pair": self.pair, "kind": self.by_kind}.get(sort, self.by_prior)
            fault = draw()
            if fault is None:
                continue
            misread = {"misread": 1, "calibration": -1}.get(sort, 0)
            one = self.run(sort, fault, misread)
            if one is not None:
                done.append(one)
        return done

    def pair(self) -> Fault | None:
        """Return two structural faults that can be told together."""
        structural = next(b for b in self.workshop.maker.blocks if hasattr(b, "faults")).faults
        one, other = (structural[int(self.random.integers(len(structural)))] for _ in range(2))
        both = one & other
        if one == other or self.workshop.plans.plan(both) is None:
            return None
        return both

    def both_needed(self, found: Diagnosis, fault: Fault) -> bool:
        """Whether neither fault of a pair alone would have shown the same."""
        alone = [Subject(Fault((part,))) for part in fault.parts]
        rows = found.columns.predict([*alone, Subject(fault)], np.ones(3), sift=False).columns
        return all(any(c.chance[i] != c.chance[2] for c in rows) for i in (0, 1))


_WEIGHTS: dict[str, dict[int, float]] = defaultdict(dict)
_KINDS: dict[str, dict[str, list[Fault]]] = defaultdict(dict)
FIGURES = Path(__file__).parents[2] / "docs" / "performance" / "trials.csv"
BINS = ((0.0, 0.5), (0.5, 0.7), (0.7, 0.85), (0.85, 0.95), (0.95, 0.99), (0.99, 1.001))


def among_singles(ranking: Ranking) -> float:
    """Return the share of all single faults; of all, if the best answer is no single fault.

    Trials of one fault draw it from the model: what an answer keeps back for a cause outside the model, or
    for a healthy machine, they cannot put to the test.
    """
    single = np.array([h.kind == "single" for h in ranking.hypotheses], np.bool_)
    return float(ranking.posterior[single].sum()) if ranking.group(1).kind == "single" else 1.0


def table(outcomes: list[Outcome]) -> list[str]:
    """Return the table of hits by machine and sort, by kind, and of calibration."""
    lines = ["machine     trials  sort         top group   top three   CPU s each"]
    groups = defaultdict(list)
    for one in outcomes:
        groups[one.machine, one.sort].append(one)
    for (machine, sort), found in groups.items():
        n = len(found)
        hit, three = sum(o.hit for o in found) / n, sum(o.top_three for o in found) / n
        each = sum(o.seconds for o in found) / n
        lines.append(f"{machine:<11} {n:>6}  {sort:<11}  {hit:>8.1%}   {three:>8.1%}   {each:.2f}")
    lines += ["", "of the answers given with  trials  were right"]
    for low, high in BINS:
        some = [o for o in outcomes if o.sort == "calibration" and low <= o.sure < high]
        if some:
            mean = sum(o.sure for o in some) / len(some)
            right = sum(o.hit for o in some) / len(some)
            lines.append(
                f"{low:>6.0%} to {min(high, 1):>4.0%} (mean {mean:.1%})  {len(some):>5}  {right:>7.1%}"
            )
    missed = Counter((o.machine, o.kind) for o in outcomes if not o.hit and o.sort in ("prior", "kind"))
    lines += ["", "missed with clean observations, by kind"]
    lines += [f"  {m} {k}: {n}" for (m, k), n in missed.most_common(20)]
    return lines


def write_csv(outcomes: list[Outcome], path: Path) -> None:
    """Write every trial as a row."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="") as stream:
        rows = csv.writer(stream)
        rows.writerow(
            ["machine", "sort", "fault", "kind", "hit", "top_three", "probability", "outcome", "group"]
        )
        for o in outcomes:
            rows.writerow(
                [
                    o.machine,
                    o.sort,
                    o.fault,
                    o.kind,
                    int(o.hit),
                    int(o.top_three),
                    f"{o.sure:.6f}",
                    o.outcome,
                    o.group,
                ]
            )


def main() -> None:
    """Run trials, print the tables, write the file: ``python trials.py [SHARE [MACHINES [SORTS [CSV]]]]``.

    Each sort is drawn from a seed of its own, so that one can be run without the others.
    """
    given = [*sys.argv[1:], "", "", "", ""]
    scale, path = float(given[0] or 1), Path(given[3]) if given[3] else FIGURES
    machines = given[1].split(",") if given[1] else list(PROGRAMS)
    sorts = given[2].split(",") if given[2] else [sort for sort, _ in SORTS]
    outcomes: list[Outcome] = []
    for name in machines:
        trials = Trials(name)
        for number, (sort, count) in enumerate(SORTS):
            if sort in sorts:
                trials.random = np.random.default_rng((trials.seed, number))
                outcomes += trials.many(sort, max(1, int(count * scale)))
                sys.stderr.write(f"{name} {sort} {len(outcomes)} {time.process_time():.0f} s\n")
        trials.workshop.save()
    sys.stdout.write("\n".join(table(outcomes)) + "\n")
    if scale >= 1 or path != FIGURES:
        write_csv(outcomes, path)


if __name__ == "__main__":
    main()
