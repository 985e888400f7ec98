"""Two runs side by side, in what a person can see: rows of a table, and sentences about what differs."""

from itertools import takewhile
from typing import Final

from attrs import define, frozen

from emu.engine.contract import AlarmTally, RunResult
from emu.spec import MachineSpec, PortSpec
from faults.counts import counted, times
from faults.symptoms import Symptoms, canonical, symptoms_of
from faults.telling import Teller, signs_text, time_text

AS_IT_SHOULD: Final = "It ends where it should, but"
NOTHING: Final = "nothing"
NEVER: Final = "never"
SHOWN_SIGNS: Final = 40
SHOWN_WORDS: Final = 12


@frozen
class Compared:
    """One thing to look at: what is seen with the fault and on the healthy machine."""

    name: str
    seen: str
    healthy: str
    differs: bool


@frozen(eq=False)
class Comparison:
    """The rows of everything to be looked at, and a sentence for everything that differs."""

    rows: tuple[Compared, ...]
    sentences: tuple[str, ...]
    seen: Symptoms
    healthy: Symptoms

    @property
    def differs(self) -> bool:
        """Whether somebody at the machine could tell the runs apart."""
        return canonical(self.seen) != canonical(self.healthy)


def compare(machine: MachineSpec, seen: RunResult, healthy: RunResult) -> Comparison:
    """Return what a person sees of a run beside the healthy one."""
    teller = Teller(machine)
    a, b = Side(teller, seen), Side(teller, healthy)
    found = [_ending(a, b)]
    found += [
        _alarm(a, b, alarm.name) for alarm in machine.alarms if a.tally(alarm.name) or b.tally(alarm.name)
    ]
    if machine.restart is not None:
        found.append(_restarts(a, b))
    ports = [p for p in machine.ports if p.direction == "out"]
    found += [_outputs(a, b, p.number) for p in ports if a.sent(p.number) or b.sent(p.number)]
    found += _lamps(a, b)
    rows = tuple(row for row, _ in found)
    sentences = [text for row, text in found if row.differs and text]
    sentences.sort(key=lambda text: text.startswith(AS_IT_SHOULD))  # what matters least comes last
    return Comparison(rows, tuple(sentences), symptoms_of(machine, seen), symptoms_of(machine, healthy))


@define(eq=False)
class Side:
    """One of the two runs, with words for what it did."""

    teller: Teller
    result: RunResult

    @property
    def endless(self) -> bool:
        """Whether it restarts again and again."""
        return self.result.stop.kind == "loop" and self.result.stop.loop_restarts > 0

    @property
    def period_ns(self) -> int | None:
        """The mean time between restarts, if there are several."""
        stop, moments = self.result.stop, self.result.restart_times_ns
        if self.endless:
            return round(stop.loop_ns / stop.loop_restarts)
        return round((moments[-1] - moments[0]) / (len(moments) - 1)) if len(moments) > 1 else None

    def tally(self, name: str) -> AlarmTally | None:
        """Return the alarm of that name."""
        return next((a for a in self.result.alarms if a.name == name), None)

    def sent(self, port: int) -> tuple[int, ...]:
        """Return the words that left at a port."""
        return tuple(word for _, number, word in self.result.outputs if number == port)

    def ending(self) -> str:
        """Say how the run ended."""
        stop, at = self.result.stop, self.teller.counter(self.result.stop.pc)
        after = f"after {time_text(self.result.time_ns)}"
        match stop.kind:
            case "halt":
                return f"halts at {at} {after}"
            case "alarm-halt":
                return f"is stopped by an alarm at {at} {after}"
            case "loop":
                low, high = self.teller.counter(stop.loop_low), self.teller.counter(stop.loop_high)
                every = f"every {time_text(self.period_ns or stop.loop_ns)}"
                if self.endless:
                    return f"restarts again and again, {every}, going through {low} to {high}"
                return f"goes round {low} to {high} for ever, once {every}"
            case "restarts":
                return f"had restarted {times(self.result.restarts)} when the watch ended"
            case _:
                return f"still runs, at {at}, when the watch ends {after}"

    def alarm(self, name: str) -> str:
        """Say how often an alarm was raised, and first where."""
        tally = self.tally(name)
        if tally is None:
            return NEVER
        first = f"first {self.first(tally)}"
        if self.endless:
            return f"again and again; {first}"
        often = f"{times(tally.count)} in {time_text(self.result.time_ns)}" if tally.count > 1 else "once"
        return f"{often}; {first}" if tally.count > 1 else f"once, {self.first(tally)}"

    def first(self, tally: AlarmTally) -> str:
        """Say when and where an alarm was first raised."""
        when = f"at {time_text(tally.first_ns)}"
        at = f"by the instruction at {self.teller.counter(tally.first_pc)}"
        if tally.first_store < 0:
            return f"{when}, {at}"
        return f"{when}, {at}, on reading {self.teller.place(tally.first_store, tally.first_address)}"

    def restarts(self) -> str:
        """Say how often the machine restarted, and how fast."""
        if self.endless:
            return f"again and again, every {time_text(self.period_ns or 0)}"
        count, period = self.result.restarts, self.period_ns
        if not count:
            return "none"
        return f"{count:,}, about every {time_text(period)}" if period else f"{count:,}"

    def outputs(self, port: int, first: int) -> str:
        """Return what was sent to a port, from a little before word ``first`` on."""
        words, spec = self.sent(port), self.teller.port(port)
        if not words:
            return NOTHING
        characters = spec is not None and spec.shows == "character"
        room = SHOWN_SIGNS if characters else SHOWN_WORDS
        start = max(0, min(first - room // 2, len(words) - room))
        part = words[start : start + room]
        text = signs_text(part) if characters else " ".join(self.teller.port_word(port, w) for w in part)
        before = "… " if start else ""
        after = f" … ({len(words):,} in all)" if start + room < len(words) else ""
        return f"{before}{text}{after}"


def _ending(a: Side, b: Side) -> tuple[Compared, str]:
    row = Compared("How it ends", a.ending(), b.ending(), a.ending() != b.ending())
    same = a.result.stop.kind == b.result.stop.kind and a.result.stop.pc == b.result.stop.pc
    if same and a.result.stop.kind not in ("loop", "steps", "time"):
        late = a.result.time_ns - b.result.time_ns
        word = "later" if late > 0 else "earlier"
        return row, f"{AS_IT_SHOULD} {time_text(abs(late))} {word}."
    return row, f"The machine {a.ending()}; a healthy one {b.ending()}."


def _alarm(a: Side, b: Side, name: str) -> tuple[Compared, str]:
    seen, healthy = a.alarm(name), b.alarm(name)
    row = Compared(f"Alarm {name}", seen, healthy, seen != healthy)
    if seen == NEVER:
        return row, f"The alarm {name} is not raised, though a healthy machine raises it {healthy}."
    beside = "" if healthy == NEVER else f" A healthy machine raises it {healthy}."
    return row, f"The alarm {name} is raised {seen}.{beside}"


def _restarts(a: Side, b: Side) -> tuple[Compared, str]:
    seen, healthy = a.restarts(), b.restarts()
    row = Compared("Restarts", seen, healthy, seen != healthy)
    if a.endless:
        return row, ""  # the sentence on how it ends says so
    return row, f"The machine restarts {times(a.result.restarts)}." if a.result.restarts else ""


def _outputs(a: Side, b: Side, port: int) -> tuple[Compared, str]:
    seen, healthy = a.sent(port), b.sent(port)
    same = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(seen, healthy, strict=False)))
    spec = a.teller.port(port)
    assert spec is not None, "only words of declared ports leave"
    row = Compared(spec.name.capitalize(), a.outputs(port, same), b.outputs(port, same), seen != healthy)
    return row, _output_sentence(a.teller, spec, seen, healthy, same)


def _output_sentence(
    teller: Teller, port: PortSpec, seen: tuple[int, ...], healthy: tuple[int, ...], same: int
) -> str:
    noun = "character" if port.shows == "character" else "word"
    gets = f"Port {port.name} gets"
    begins = f"{gets} {counted(same, noun)} right, then" if same else gets
    if same == len(seen):
        missing = counted(len(healthy) - same, noun)
        return f"{begins} no more: {missing} too few." if same else f"{gets} nothing."
    got = teller.port_word(port.number, seen[same])
    if same == len(healthy):
        return f"{begins} {counted(len(seen) - same, noun)} that should not come, the first {got}."
    at_once = "" if same else "at once "
    return f"{begins} {at_once}{got} instead of {teller.port_word(port.number, healthy[same])}."


def _lamps(a: Side, b: Side) -> list[tuple[Compared, str]]:
    if a.result.stop.kind == "loop":
        return []  # they flicker
    found = []
    for lamp in a.teller.machine.lamps:
        seen, healthy = (a.teller.lamp(lamp, run.result.lamps[lamp.name]) for run in (a, b))
        if seen != healthy:
            told_before = lamp.shows == "restarts" or lamp.shows.startswith("alarm:")
            text = f"At the end the lamps {lamp.name} show {seen}, not {healthy}."
            row = Compared(f"Lamps {lamp.name}", seen, healthy, differs=True)
            found.append((row, "" if told_before else text))
    return found
