"""The story of a fault, access by access: from the first word that goes wrong to what a person sees."""

from collections.abc import Iterator
from typing import Final

from attrs import define, field, frozen

from emu.assemble.disassemble import disassemble_word
from emu.engine.contract import AlarmTally, RunRequest, RunResult
from emu.engine.walker import WalkingRun, memory_for
from emu.words import mask
from faults.compare import Side
from faults.counts import times
from faults.silence import WATCHED_STEPS, reasons
from faults.telling import Teller, joined, time_text
from faults.watch import NONE, Watched, WatchedRun, WrongRead, watched_run

ENOUGH_WRONG: Final = 60
STEPS_AFTER: Final = 2_000


@frozen
class Beat:
    """One step of the story. ``access`` is its number, or -1; ``pc`` the instruction's address, or -1."""

    time_ns: int
    access: int
    pc: int
    sentence: str


@frozen
class Parting:
    """Where the faulty run leaves the path of the healthy one: the next instruction of each."""

    step: int
    access: int
    time_ns: int
    last_pc: int
    pc: int
    healthy_pc: int


@frozen
class WrongWrite:
    """The first word that is written wrong, or to the wrong place: (store, address, data) of each run."""

    access: int
    time_ns: int
    pc: int
    written: tuple[int, int, int]
    healthy: tuple[int, int, int]


@define(eq=False)
class Pursuit:
    """A faulty and a healthy run, side by side until their paths part."""

    bad: WatchedRun
    good: WalkingRun
    parting: Parting | None = None
    wrong_write: WrongWrite | None = None
    _seen: int = 0
    _left: int = field(default=-1)

    def follow(self, most_steps: int) -> Watched:
        """Step both runs until enough is known of what happens."""
        while self.bad.stop is None and self.bad.steps < most_steps and self._left:
            before = len(self.bad.events)
            self.bad.step()
            if self.parting is None:
                self._beside(before)
            if self._left < 0 and self._enough():
                self._left = STEPS_AFTER
            self._left -= self._left > 0
        return self.bad.watched()

    def _enough(self) -> bool:
        return self.parting is not None or len(self.bad.first) >= ENOUGH_WRONG

    def _beside(self, before: int) -> None:
        at = len(self.good.events)
        self.good.step()
        if self.wrong_write is None:
            self._compare_writes(before, at)
        bad, good = _counter(self.bad), _counter(self.good)
        stopped = (self.bad.stop is None) != (self.good.stop is None)
        if bad != good or stopped:
            run = self.bad
            self.parting = Parting(run.steps, run.memory.access, run.time_ns, run.pc, bad, good)

    def _compare_writes(self, before: int, at: int) -> None:
        ours = [e for e in self.bad.events[before:] if e.kind == "write"]
        theirs = [e for e in self.good.events[at:] if e.kind == "write"]
        for a, b in zip(ours, theirs, strict=False):
            if (a.store, a.address, a.word) != (b.store, b.address, b.word):
                mine, right = (a.store, a.address, a.word), (b.store, b.address, b.word)
                self.wrong_write = WrongWrite(a.access, a.time_ns, a.pc, mine, right)
                return


def _counter(run: WalkingRun) -> int:
    return run.registers[run.machine.counter]


def pursue(request: RunRequest) -> Pursuit:
    """Return the two runs of a request, its plan against none, ready to be followed."""
    bad = RunRequest(
        request.machine, request.image, request.plan, request.inputs, request.conditions, request.seed,
        max_steps=request.max_steps, max_time_ns=request.max_time_ns, trace=True, power_up=request.power_up,
    )  # fmt: skip
    good = RunRequest(
        request.machine, request.image, None, request.inputs, request.conditions, request.seed,
        max_steps=request.max_steps, max_time_ns=request.max_time_ns, trace=True, power_up=request.power_up,
        stop_on_loop=False,
    )  # fmt: skip
    return Pursuit(watched_run(bad), WalkingRun(good, memory_for(good)))


@frozen(eq=False)
class Story:
    """The steps in order of time; ``silent``: nothing wrong was ever read, and the last step says why."""

    beats: tuple[Beat, ...]
    silent: bool
    watched: Watched


def tell(
    request: RunRequest, seen: RunResult, healthy: RunResult, *, most_steps: int = WATCHED_STEPS
) -> Story:
    """Return the story of a run under the request's plan.

    ``seen`` and ``healthy``: what the run came to with and without the plan.
    """
    pursuit = pursue(request)
    watched = pursuit.follow(most_steps)
    teller = Teller(request.machine)
    told = Storyteller(teller, watched, pursuit)
    beats = [*told.readings(), *told.parting(), *told.writes()]
    beats += _outcome(Side(teller, seen), Side(teller, healthy))
    silent = not watched.wrong_reads
    if silent or (
        seen.stop == healthy.stop and seen.outputs == healthy.outputs and seen.alarms == healthy.alarms
    ):
        beats = [b for b in beats if b.access >= 0]
        beats += [Beat(seen.time_ns, NONE, NONE, r.sentence) for r in reasons(request, watched)]
    beats.sort(key=lambda b: (b.time_ns, b.access < 0))
    return Story(tuple(beats), silent, watched)


@frozen(eq=False)
class Storyteller:
    """Words for what was noted."""

    teller: Teller
    watched: Watched
    pursuit: Pursuit

    def readings(self) -> Iterator[Beat]:
        """Tell the first wrong reading, the first that is executed, the first that is noticed."""
        wrong = self.watched.first
        chosen = [
            next(iter(wrong), None),
            next((w for w in wrong if w.fetched), None),
            next((w for w in wrong if w.noticed != "ok"), None),
        ]
        told = list(dict.fromkeys(w for w in chosen if w is not None))
        for number, w in enumerate(told):
            yield Beat(w.time_ns, w.access, w.pc, self.reading(w, first=not number))

    def reading(self, w: WrongRead, *, first: bool) -> str:
        """Tell one wrong reading: what was wanted, what answered, what came, and who notices."""
        verb = "fetches its next instruction from" if w.fetched else "reads"
        head = "The first word that goes wrong: the" if first else "The"
        who = f"{head} processor {verb} {self.teller.place(w.store, w.address)}."
        return " ".join(
            filter(None, (who, self._answer(w), self._came(w), self._noticed(w), self._decoded(w)))
        )

    def _answer(self, w: WrongRead) -> str:
        number, at = w.arrived
        if number == NONE:
            return "Because of the address bus the address leads nowhere, and 0 comes back."
        if (number, at) != (w.store, w.address):
            return f"Over the address bus comes another address, that of {self.teller.place(number, at)}."
        words = self.teller.machine.stores[number].words
        cells = [c for c in w.opened if c < words]
        if cells == [w.address]:
            spoilt = "Its cell held something wrong already before this reading."
            return spoilt if w.spoilt else ""
        if not cells:
            return "No cell answers."
        if len(cells) == 1:
            return f"The cell of {self.teller.cell(number, cells[0])} answers instead."
        names = joined([self.teller.index(number, c) for c in cells])
        return f"The cells {names} answer together."

    def _came(self, w: WrongRead) -> str:
        if w.arrived[0] != w.store:
            return f"It gets {self.teller.data(w.data)}."
        got, expected = self.teller.stored(w.store, w.got), self.teller.stored(w.store, w.expected)
        return f"It gets {got} instead of {expected}: {self.teller.change(w.store, w.expected, w.got)}."

    def _noticed(self, w: WrongRead) -> str:
        if w.arrived[0] == NONE:
            return ""
        spec = self.teller.machine.stores[w.arrived[0]]
        if spec.protection == "none":
            return f"The {spec.name} has no check bits, so nothing notices."
        check = "parity" if spec.protection in ("odd", "even") else "check"
        if w.noticed == "ok":
            return f"The {check} of this word is right, so nothing notices."
        if w.noticed == "corrected":
            named = f" and raises {spec.corrected_alarm}" if spec.corrected_alarm else ""
            return f"The check mends one bit{named}."
        return f"The {check} is wrong" + (
            f": alarm {spec.alarm}." if spec.alarm else ", but raises no alarm."
        )

    def _decoded(self, w: WrongRead) -> str:
        machine = self.teller.machine
        if not w.fetched or machine.instruction_bits != machine.word.bits or self._refused(w):
            return ""
        right = w.expected & mask(machine.stores[w.store].data_bits)
        if w.data == right:
            return "The instruction itself is right."
        done = disassemble_word(machine, w.data, w.pc)
        meant = disassemble_word(machine, right, w.pc)
        if done.startswith(".word"):
            return f"That is no instruction; it should be `{meant}`."
        return f"That is the instruction `{done}` instead of `{meant}`." if done != meant else ""

    def _refused(self, w: WrongRead) -> bool:
        """Whether the alarm of the reading keeps the word from being executed."""
        name = self.teller.machine.stores[w.arrived[0]].alarm if w.noticed == "error" else ""
        return any(a.name == name and a.action != "lamp" for a in self.teller.machine.alarms)

    def parting(self) -> Iterator[Beat]:
        """Tell where the path of the program parts from the healthy one."""
        p = self.pursuit.parting
        if p is None or p.pc == p.healthy_pc:
            return
        counter = self.teller.counter
        yield Beat(
            p.time_ns, p.access, p.last_pc,
            f"After the instruction at {counter(p.last_pc)} the program goes on at {counter(p.pc)} instead "
            f"of {counter(p.healthy_pc)}: from here it goes its own way.",
        )  # fmt: skip

    def writes(self) -> Iterator[Beat]:
        """Tell the first word that is written wrong."""
        w = self.pursuit.wrong_write
        if w is None:
            return
        said = f"{self._written(w.written)} instead of {self._written(w.healthy)}"
        if w.written[:2] == w.healthy[:2]:
            said = f"{self.teller.data(w.written[2])} instead of {self._written(w.healthy)}"
        yield Beat(w.time_ns, w.access, w.pc, f"The error spreads: the program writes {said}.")

    def _written(self, what: tuple[int, int, int]) -> str:
        store, address, word = what
        return f"{self.teller.data(word)} to {self.teller.place(store, address)}"


def _outcome(seen: Side, healthy: Side) -> Iterator[Beat]:
    """Tell what came of it: the first wrong output, alarms, restarts, the end."""
    yield from _first_output(seen, healthy)
    names = {a.name for a in healthy.result.alarms}
    for tally in seen.result.alarms:
        if tally.name not in names:
            yield _alarm(seen, tally)
    restarts = seen.result.restart_times_ns
    if restarts and not healthy.result.restarts:
        spec = seen.teller.machine.restart
        at = f" at {seen.teller.counter(spec.address)}" if spec is not None else ""
        yield Beat(restarts[0], NONE, NONE, f"The machine restarts{at}, for the first time.")
    if seen.ending() != healthy.ending():
        yield Beat(seen.result.time_ns, NONE, NONE, f"In the end the machine {seen.ending()}.")


def _alarm(seen: Side, tally: AlarmTally) -> Beat:
    spec = next(a for a in seen.teller.machine.alarms if a.name == tally.name)
    does = {"lamp": "lights its lamp", "halt": "stops the machine", "restart": "restarts the machine"}
    more = ", and again and again from then on" if seen.endless else ""
    if not seen.endless and tally.count > 1:
        more = f", the first of {times(tally.count)}"
    watchdog = seen.teller.machine.watchdog
    why = ""
    if watchdog is not None and watchdog.alarm == tally.name:
        why = f" (nothing rearmed the watchdog for {time_text(watchdog.period_ns)})"
    return Beat(
        tally.first_ns, NONE, tally.first_pc, f"The alarm {tally.name}{why} {does[spec.action]}{more}."
    )


def _first_output(seen: Side, healthy: Side) -> Iterator[Beat]:
    for port in (p for p in seen.teller.machine.ports if p.direction == "out"):
        ours = [(t, w) for t, n, w in seen.result.outputs if n == port.number]
        theirs = list(healthy.sent(port.number))
        for (time_ns, word), right in zip(ours, theirs, strict=False):
            if word != right:
                got, wanted = (seen.teller.port_word(port.number, w) for w in (word, right))
                yield Beat(time_ns, NONE, NONE, f"Port {port.name} gets {got} instead of {wanted}.")
                break
        else:
            if len(ours) > len(theirs):
                got = seen.teller.port_word(port.number, ours[len(theirs)][1])
                yield Beat(
                    ours[len(theirs)][0], NONE, NONE, f"Port {port.name} gets {got}, which should not come."
                )
