"""What somebody would have written of a program's run: one judge a kind of entry.

A judge looks at the symptoms that a suspect foretells and says how likely the entry is then, and why. It also
says how many different things could have been written, and how far the entry is from what there was to see.
"""

import math
import re
from collections.abc import Callable
from typing import Final

from attrs import evolve, frozen

from emu.spec import MachineSpec
from emu.words import WordFormat
from faults.case.check import lamp_format
from faults.case.forms import CountRange, TimeRange, parse_addresses, parse_count, parse_lamps, parse_time
from faults.case.model import Alarm, Entry, Failed, Hung, Passed, Printed, Restarts, Stop
from faults.symptoms import AlarmSeen, Symptoms

SLACK: Final = 0.3
"""How far a count within a time may be from the count foretold for that time: a guess."""

HANG_CALLED_FAILED: Final = 0.2
ONE_OF_TWO_OTHERS: Final = 0.5
"""Of passed, failed and hung, who reads wrongly writes one of the two that it was not."""

RESTARTS_CALLED_HUNG: Final = 0.5
ENDLESS_COUNTED: Final = 0.2
"""How often a number is written of what comes without end: 1 half the time, each next half as often."""
PERIOD_MISREAD: Final = 0.02
"""Chance that somebody who reads wrongly writes just this time from one restart to the next."""

_UNENDING: Final = ("loop", "steps", "time", "restarts", "outputs")


@frozen
class Judged:
    """``chance`` that exactly this is written, if read right; ``wrong``: digits that differ, -1 unknown.

    ``told`` gives the reason when somebody asks: of thousands of suspects few are ever shown.
    """

    chance: float
    told: str | Callable[[], str]
    wrong: int = -1

    @property
    def reason(self) -> str:
        """The reason in words."""
        return self.told if isinstance(self.told, str) else self.told()


@frozen(eq=False)
class Judge:
    """``look``: symptoms, and whether they pass -> verdict. ``uniform``: chance of the entry if all outcomes
    were alike. ``digits``, ``base``: what a slip of the pen could change; 0 digits if none are written.
    ``misread``: chance of the entry from somebody who reads wrongly, 0 if that is ``uniform``.
    """  # noqa: D205

    look: Callable[[Symptoms, bool], Judged]
    uniform: float
    digits: int = 0
    base: int = 10
    misread: float = 0.0


def judge_of(entry: Entry, machine: MachineSpec) -> Judge | None:  # noqa: PLR0911 - a table of kinds
    """Return the judge of an entry about a program; None for an entry about something else."""
    match entry:
        case Passed():
            return Judge(_passed, 1 / 3, misread=ONE_OF_TWO_OTHERS)
        case Failed():
            return _failed(entry, machine)
        case Hung():
            return _hung(entry, machine)
        case Stop():
            return _stop(entry, machine)
        case Alarm():
            return _alarm(entry, machine)
        case Restarts():
            return _restarts(entry)
        case Printed():
            return _printed(entry, machine)
        case _:
            return None


def passes(symptoms: Symptoms, healthy: Symptoms) -> bool:
    """Whether a run looks like the healthy one, but for how long it took."""
    return _untimed(symptoms) == _untimed(healthy)


def _untimed(symptoms: Symptoms) -> Symptoms:
    alarms = tuple(evolve(a, first_ns=0) for a in symptoms.alarms)
    return evolve(symptoms, time_ns=0, alarms=alarms)


def unending(symptoms: Symptoms) -> bool:
    """Whether the machine never comes to an end by itself."""
    return symptoms.stop in _UNENDING


def restarting(symptoms: Symptoms) -> bool:
    """Whether it restarts again and again."""
    return symptoms.restarts == -1 or symptoms.stop == "restarts"


def _passed(s: Symptoms, passed: bool) -> Judged:
    if passed:
        return Judged(1.0, "it would pass")
    return Judged(0.0, lambda: f"it would not pass: {outcome_words(s)}")


def outcome_words(s: Symptoms) -> str:
    """Say shortly how a run ends."""
    printed = "".join(chr(w) for _, w in s.outputs if w < 0x110000)
    said = next((line for line in printed.splitlines() if line.strip()), "").strip()
    said = "".join(c if c.isprintable() else "\N{MIDDLE DOT}" for c in said[:24])
    tail = f", prints {said!r}" if said else ", prints nothing"
    if restarting(s):
        return f"restarts again and again{tail}"
    if unending(s):
        return f"does not end{tail}"
    alarm = f" with alarm {s.alarms[0].name}" if s.alarms else ""
    return ("stopped by an alarm" if s.stop == "alarm-halt" else "ends") + alarm + tail


def _failed(entry: Failed, machine: MachineSpec) -> Judge:
    pattern = _pattern(entry.text) if entry.text else None

    def look(s: Symptoms, passed: bool) -> Judged:
        if entry.failures is not None and entry.failures < entry.runs:
            return Judged(0.0, "it would fail every time or never")
        if passed:
            return Judged(0.0, "it would pass")
        share = 1.0
        if unending(s):
            share = RESTARTS_CALLED_HUNG if restarting(s) else HANG_CALLED_FAILED
        if pattern is not None:
            texts = _texts(s, machine, "")
            if not any(pattern.search(t) for t in texts):
                return Judged(0.0, lambda: f"it {outcome_words(s)}", _nearest_text(entry.text, texts))
        return Judged(share, lambda: f"it {outcome_words(s)}")

    # of so many runs, each number of failures could have been written
    uniform = (1 / 3) / entry.runs * (_text_chance(entry.text) if entry.text else 1.0)
    misread = 0.0 if entry.text else ONE_OF_TWO_OTHERS / entry.runs
    return Judge(look, uniform, _signs(entry.text), misread=misread)


def _hung(entry: Hung, machine: MachineSpec) -> Judge:
    form = WordFormat(machine.address_bits, base=machine.word.base)
    ranges = parse_addresses(entry.within, form) if entry.within else ()

    def look(s: Symptoms, _passed: bool) -> Judged:
        if not unending(s):
            return Judged(0.0, lambda: f"it {outcome_words(s)}")
        share = RESTARTS_CALLED_HUNG if restarting(s) else 1 - HANG_CALLED_FAILED
        if ranges and s.loop is not None:
            inside = any(a <= s.loop.low and s.loop.high <= b for a, b in ranges)
            text = f"{form.tagged(s.loop.low)} to {form.tagged(s.loop.high)}"
            return Judged(share if inside else 0.0, f"it goes round {text}")
        return Judged(share, lambda: f"it {outcome_words(s)}")

    if not ranges:
        return Judge(look, 1 / 3, misread=ONE_OF_TWO_OTHERS)
    return Judge(look, (1 / 3) * 2.0**-machine.address_bits)


def _stop(entry: Stop, machine: MachineSpec) -> Judge:
    rows = {lamp.name: lamp for lamp in machine.lamps}
    wanted: list[tuple[str, int, int, WordFormat]] = []
    for one in parse_lamps(entry.lamps):
        form = lamp_format(machine, rows[one.name].shows)
        value, known = form.parse_masked(one.digits)
        wanted.append((one.name, value, known, form))
    address = WordFormat(machine.address_bits, base=machine.word.base)
    at = address.parse_masked(entry.address) if entry.address else (0, 0)
    bits = sum(known.bit_count() for _, _, known, _ in wanted) + at[1].bit_count()
    per_digit = max(1, int(math.log2(machine.word.base))) if machine.word.base != 10 else 3

    def look(s: Symptoms, _passed: bool) -> Judged:
        if unending(s):
            return Judged(0.0, lambda: f"it {outcome_words(s)}")
        shown, wrong, told = dict(s.lamps), 0, []
        for name, value, known, form in wanted:
            differs = (shown.get(name, 0) ^ value) & known
            if differs:
                wrong += _digits_in(differs, per_digit)
                told.append(f"{name} would show {form.tagged(shown.get(name, 0))}")
        if entry.address and not _counts(s.pc, at, machine):
            wrong += _digits_in((s.pc ^ at[0]) & at[1], per_digit)
            told.append(f"it would stop at {address.tagged(s.pc)}")
        return Judged(float(not told), "; ".join(told[:3]) or "the lamps would show this", wrong)

    return Judge(look, 2.0**-bits if bits else 0.5, max(1, bits // per_digit), 1 << per_digit)


def _counts(pc: int, at: tuple[int, int], machine: MachineSpec) -> bool:
    """Whether the counter is the address read: as it stands, or at the instruction just done."""
    return any(((pc - back) ^ at[0]) & at[1] == 0 for back in (0, machine.step))


def _digits_in(bits: int, per_digit: int) -> int:
    count = 0
    while bits:
        count += bool(bits & ((1 << per_digit) - 1))
        bits >>= per_digit
    return count


def _alarm(entry: Alarm, machine: MachineSpec) -> Judge:
    count = parse_count(entry.count)
    within = parse_time(entry.within) if entry.within else None
    form = WordFormat(machine.address_bits, base=machine.word.base)
    first = form.parse_masked(entry.first) if entry.first else None

    def look(s: Symptoms, _passed: bool) -> Judged:
        seen = s.alarm(entry.alarm)
        if seen is None:
            return Judged(float(count.holds(0)), f"{entry.alarm} would not come")
        if count.high == 0:
            return Judged(0.0, f"{entry.alarm} would come {_often(seen, s)}")
        chance = _count_chance(count, within, seen.count, s)
        if not chance:
            return Judged(0.0, f"it would come {_often(seen, s)}")
        if first is not None:
            places = _machine_addresses(machine, seen)
            if not any((p ^ first[0]) & first[1] == 0 for p in places):
                where = form.tagged(places[0]) if places else "nowhere"
                return Judged(0.0, f"the first would come at {where}")
        return Judged(chance, f"{entry.alarm} would come {_often(seen, s)}")

    uniform = 0.5 if count.low == 0 else 0.25
    return Judge(look, uniform * (2.0 ** -first[1].bit_count() if first else 1.0))


def _often(seen: AlarmSeen, s: Symptoms) -> str:
    if restarting(s) or seen.count < 0:
        return "again and again"
    return "once" if seen.count == 1 else f"{seen.count} times"


def _machine_addresses(machine: MachineSpec, seen: AlarmSeen) -> list[int]:
    """Return the machine addresses that can mean a word of a store."""
    found = []
    for w in machine.windows:
        if w.store == seen.store:
            at = (seen.address - w.offset) % w.size if w.bank else seen.address - w.offset
            if 0 <= at < w.size:
                found.append(w.first + at * w.unit)
    return found


def period_ns(s: Symptoms) -> float | None:
    """Return the time from one restart to the next, if the machine restarts again and again."""
    if s.loop is not None and s.loop.restarts:
        return s.loop.period_ns / s.loop.restarts
    return s.time_ns / s.restarts if s.stop == "restarts" and s.restarts > 0 else None


def _count_chance(count: CountRange, within: TimeRange | None, foretold: int, s: Symptoms) -> float:
    if not restarting(s) and foretold >= 0:
        return float(count.holds(foretold))
    period = period_ns(s)
    if within is None or not period:
        if count.high is None:
            return 1 - ENDLESS_COUNTED
        return ENDLESS_COUNTED * max(0.0, 2.0 ** (1 - max(1, count.low)) - 2.0**-count.high)
    low, high = within.low / period * (1 - SLACK), within.high / period * (1 + SLACK) + 1
    return float(count.low <= high and (count.high is None or count.high >= low))


def _restarts(entry: Restarts) -> Judge:
    count = parse_count(entry.count)
    within = parse_time(entry.within) if entry.within else None
    every = parse_time(entry.every) if entry.every else None

    def look(s: Symptoms, _passed: bool) -> Judged:
        if s.restarts == 0:
            return Judged(float(count.holds(0)), "it would not restart")
        period = period_ns(s)
        if every is not None:
            told = f"it would restart every {(period or 0) / 1e9:.3g} s" if period else "it restarts seldom"
            return Judged(float(period is not None and _near(every, period)), told)
        often = "again and again" if restarting(s) else f"{s.restarts} times"
        return Judged(_count_chance(count, within, s.restarts, s), f"it would restart {often}")

    return Judge(look, 0.25) if every is None else Judge(look, 0.1, misread=PERIOD_MISREAD)


def _near(every: TimeRange, period: float) -> bool:
    return every.low * (1 - SLACK) <= period <= every.high * (1 + SLACK)


def _printed(entry: Printed, machine: MachineSpec) -> Judge:
    pattern = _pattern(entry.text)

    def look(s: Symptoms, _passed: bool) -> Judged:
        texts = _texts(s, machine, entry.port)
        if not entry.text.strip():
            silent = not any(t.strip() for t in texts)
            return Judged(
                float(silent), lambda: "nothing would be printed" if silent else f"it {outcome_words(s)}"
            )
        if entry.whole and not unending(s):
            fits = any(pattern.fullmatch(_trimmed(t)) for t in texts)
        else:
            fits = any(pattern.search(_trimmed(t)) for t in texts)
        wrong = 0 if fits else _nearest_text(entry.text, texts)
        return Judged(float(fits), lambda: f"it {outcome_words(s)}", wrong)

    return Judge(look, _text_chance(entry.text) if entry.text.strip() else 0.2, _signs(entry.text))


def _texts(s: Symptoms, machine: MachineSpec, port: str) -> list[str]:
    ports = [p for p in machine.ports if p.direction == "out" and (not port or p.name == port)]
    if not port:
        ports = [p for p in ports if p.shows == "character"] or ports
    return ["".join(chr(w) for n, w in s.outputs if n == p.number and w < 0x110000) for p in ports]


def _trimmed(text: str) -> str:
    return "\n".join(line.rstrip() for line in text.replace("\r", "\n").splitlines()).strip()


def _pattern(text: str) -> re.Pattern[str]:
    """Return what finds a text as people copy it: blanks count once, ? is any sign."""
    words = [re.escape(word).replace(r"\?", ".") for word in _trimmed(text).split()]
    return re.compile(r"\s+".join(words))


def _signs(text: str) -> int:
    return sum(1 for sign in text if not sign.isspace() and sign != "?")


def _text_chance(text: str) -> float:
    """Return the chance of a text if every text were alike: a tenth for a sign, at least 10**-30."""
    return max(10.0 ** -_signs(text), 1e-30)


def _nearest_text(text: str, texts: list[str]) -> int:
    """Return by how many signs a text differs from the nearest one of the same length; -1 if none is."""
    wanted = "".join(text.split())
    best = -1
    for given in texts:
        lines = [*(_trimmed(given).splitlines()), given]
        for line in lines:
            found = "".join(line.split())
            if len(found) == len(wanted):
                wrong = sum(a != b for a, b in zip(found, wanted, strict=True) if b != "?")
                best = wrong if best < 0 else min(best, wrong)
    return best
