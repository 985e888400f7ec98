"""Sentences that the page and the terminal share, so that both say the same."""

from faults.counts import counted
from faults.report.model import AnswerKind, ConfidenceBasis, Event, Report

VERDICT_LINES: dict[AnswerKind, str] = {
    "suspect": "Prime suspect",
    "group": "One of these, not yet told apart",
    "none": "No single fault fits",
    "inconclusive": "Not decided",
    "result": "Result",
}
BASIS_LINES: dict[ConfidenceBasis, str] = {
    "calibrated": (
        "Right that often if the machine and board files are right, and the prior odds and certainties fair."
    ),
    "prior-driven": "Rests mostly on prior guesses about which parts fail, not on what was seen.",
    "exact": "Follows exactly from the model.",
    "unstated": "",
}
HYPOTHESIS = "A hypothesis of the model: confirm it by a measurement before you unsolder anything."


def unexplained_line(report: Report) -> str:
    """Return how many observations the answer leaves unexplained, as a sentence."""
    count = len(report.unexplained)
    return f"{counted(count, 'observation')} {'stays' if count == 1 else 'stay'} unexplained: see below."


def power_text(*, powered: bool) -> str:
    """Return what to do with the power; "on" never reads as leave to move a part under power."""
    return "needed; move nothing while it is ON" if powered else "OFF and unplugged"


def event_place(event: Event) -> str:
    """Return access, address and time of an event, as far as they are known."""
    said = (
        f"access {event.access}" if event.access else "",
        f"address {event.address}" if event.address else "",
        event.time,
    )
    return " · ".join(part for part in said if part)
