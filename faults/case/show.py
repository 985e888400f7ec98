"""A case in words: one sentence for every entry."""

from collections.abc import Callable
from typing import Any, Final

from faults.case.forms import parse_count
from faults.case.load import Case
from faults.case.model import (
    Addresses,
    Alarm,
    Capture,
    Dump,
    Entry,
    Failed,
    Hung,
    Measured,
    Mended,
    Passed,
    Printed,
    Restarts,
    Stop,
    Swap,
)

_LONG: Final = 60


def case_text(case: Case) -> str:
    """Return the whole case as text: head, entries by number, and lines where something was mended."""
    table = case.table
    lines = [table.title or "A case without a title", f"machine: {table.machine}"]
    lines += [f"board: {table.board}"] if table.board else []
    lines.append("")
    lines += [
        f"{number:3}. {sentence(entry)}{_remarks(entry)}" for number, entry in enumerate(case.entries, 1)
    ]
    if not case.entries:
        lines.append("     nothing has been written down yet")
    return "\n".join(lines) + "\n"


def sentence(entry: Entry) -> str:
    """Return what an entry says, in one short sentence."""
    said: str = _SENTENCES[type(entry)](entry)
    return "".join(c if c.isprintable() else "?" for c in said)  # text of a stranger's file goes to terminals


def is_pass(entry: Entry) -> bool:
    """Whether an entry says that something worked: a pass, or an alarm that was looked for and not seen."""
    if isinstance(entry, Alarm | Restarts):
        return parse_count(entry.count).high == 0
    return isinstance(entry, Passed)


def _remarks(entry: Entry) -> str:
    parts = [str(entry.when), entry.condition, entry.instrument]
    if entry.certainty is not None:
        parts.append(f"certainty {entry.certainty:g}")
    said = "; ".join(p for p in parts if p)
    return f" ({said})" if said else ""


def _counted(count: int | str) -> str:
    found = parse_count(count)
    if found.high == 0:
        return "not once"
    return "once" if (found.low, found.high) == (1, 1) else f"{found.text} times"


def _stop(e: Stop) -> str:
    where = f" at {e.address}" if e.address else ""
    return f"{e.program} stopped{where}, lamps {e.lamps}"


def _alarm(e: Alarm) -> str:
    within = f" in {e.within}" if e.within else ""
    first = f", first at {e.first}" if e.first else ""
    return f"{e.program} raised {e.alarm} {_counted(e.count)}{within}{first}"


def _restarts(e: Restarts) -> str:
    if e.every:
        return f"{e.program} restarts every {e.every.removeprefix('every ')}"
    within = f" in {e.within}" if e.within else ""
    return f"{e.program} restarted {_counted(e.count)}{within}"


def _printed(e: Printed) -> str:
    text = e.text if len(e.text) <= _LONG else e.text[: _LONG - 2] + ".."
    part = "" if e.whole else " among other things"
    return f"{e.program} printed {text!r}{part}" if text else f"{e.program} printed nothing"


def _passed(e: Passed) -> str:
    return f"{e.program} passed" + (f" {e.runs} times" if e.runs > 1 else "")


def _failed(e: Failed) -> str:
    failures = e.runs if e.failures is None else e.failures
    often = f" {failures} of {e.runs} times" if e.runs > 1 else ""
    return f"{e.program} failed{often}" + (f" with {e.text!r}" if e.text else "")


def _hung(e: Hung) -> str:
    return f"{e.program} went round {e.within}" if e.within else f"{e.program} did not end"


def _dump(e: Dump) -> str:
    again = f", reading {e.repeat}" if e.repeat > 1 else ""
    ran = f" with {e.program} loaded" if e.loaded else f" after {e.program}"
    filled = f" after a fill with {e.expected}" if e.filled else f" against {e.expected}"
    against = filled if e.expected else ran if e.program else ""
    return f"dump of {e.store} in {e.file}{again}{against}"


def _addresses(e: Addresses) -> str:
    given = e.failing or f"those in {e.file}"
    return f"{e.store} fails at {given}" + ("" if e.complete else ", perhaps elsewhere too")


def _capture(e: Capture) -> str:
    return f"transactions of {e.program} in {e.file}"


def _measured(e: Measured) -> str:
    return f"{e.site} reads {e.reading if e.reading is not None else f'{e.ohms:g} ohm'}"


def _swap(e: Swap) -> str:
    result = {"moved": "moved with it", "stayed": "stayed where it was", "gone": "was gone"}[e.fault]
    return f"card {e.moved} went to {e.to}: the fault {result}"


def _mended(e: Mended) -> str:
    where = " and ".join(p for p in (e.site, f"card {e.card}" if e.card else "") if p)
    return f"MENDED {where}: {e.what}"


_SENTENCES: Final[dict[type[Entry], Callable[[Any], str]]] = {
    Stop: _stop,
    Alarm: _alarm,
    Restarts: _restarts,
    Printed: _printed,
    Passed: _passed,
    Failed: _failed,
    Hung: _hung,
    Dump: _dump,
    Addresses: _addresses,
    Capture: _capture,
    Measured: _measured,
    Swap: _swap,
    Mended: _mended,
}
