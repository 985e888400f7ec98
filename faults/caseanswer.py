"""The answer of a diagnosis in words, and how sure it is."""

from typing import Final

from faults.case.show import sentence
from faults.case.signoff import sign_off
from faults.describe import label_pairs
from faults.diagnose import Diagnosis
from faults.hypotheses import Hypothesis
from faults.ranking import Group as Ranked
from faults.ranking import Ranking
from faults.report import Answer, Confidence, to_permille
from faults.report.model import AnswerKind, ConfidenceBasis

MOST_NAMED: Final = 50
"""In a larger group no member is named as the answer: which comes first says nothing."""
RESTS_ON_MEND: Final = "It rests on the stated chance that the mend worked, and on what was seen since."
RESTS_ON_SHARE: Final = "It rests on a guess of how often nothing is wrong, and on what passed."


def answer_of(diagnosis: Diagnosis) -> Answer:
    """Return the answer in a sentence or two, with the labels of the place."""
    ranking = diagnosis.ranking
    if not ranking.columns:
        return Answer(_unheard(diagnosis), kind="inconclusive")
    if ranking.outcome == "nothing":
        return Answer(
            "Nothing in the model explains what was seen: no single fault fits, and no pair that was tried.",
            kind="none",
        )
    best = ranking.group(1)
    first = ranking.hypotheses[best.members[0]]
    if first.kind == "healthy" and ranking.outcome == "healthy":
        return Answer(_sound(diagnosis), kind="result")
    kind: AnswerKind = "suspect" if len(best.members) == 1 else "group"
    sentence_ = _told(fault_name(ranking, first), len(best.members))
    if first.kind == "healthy":
        sentence_ = " ".join(["nothing is wrong.", *_wanting(diagnosis)])
    if ranking.outcome == "misread":
        doubted = [ranking.columns[k].label for k, _ in ranking.doubted]
        wrong = "; ".join(doubted[:2]) or "one observation"
        sentence_ = (
            f"No fault fits everything as it was written down. If this was misread ({wrong}): {sentence_}"
        )
        kind = "inconclusive"
    fault = first.fault if len(best.members) <= MOST_NAMED and first.kind != "healthy" else ""
    return Answer(sentence_, _labels(diagnosis, best), fault, kind)


def _sound(diagnosis: Diagnosis) -> str:
    """Say that nothing speaks of a fault, and after a mend how far that may be believed."""
    if not diagnosis.case.mends:
        return "Nothing that was observed speaks of a fault."
    said = "Nothing that was observed speaks of a fault any more."
    return " ".join([said, *_wanting(diagnosis)])


def _wanting(diagnosis: Diagnosis) -> list[str]:
    """Return the first reason why that may not be believed yet, if there is one."""
    wanting = [s.sentence for s in sign_off(diagnosis.case) if s.verdict != "enough"]
    return [f"But: {wanting[0]}"] if wanting else []


def _unheard(diagnosis: Diagnosis) -> str:
    """Say why nothing can be said: nothing was written down, or what was could not be used."""
    for number, reason in diagnosis.predicted.unused:
        return f"Nothing can be said: {sentence(diagnosis.case.entries[number])} was {not_used(reason)}."
    return "Nothing has been observed that the model can speak about."


def not_used(reason: str) -> str:
    """Return the reason why an entry was not used, as the end of a sentence."""
    return reason if reason.startswith("set aside") else f"not used; {reason}"


def _told(named: str, members: int) -> str:
    """Return the answer for a group of which the first member is named, if it is small enough to name one."""
    if members == 1:
        return f"{named}."
    if members == 2:
        return f"{named}, or another fault that looks the same."
    if members <= MOST_NAMED:
        return f"{named}, or one of {members - 1:,} others that look the same."
    return f"One of {members:,} faults that look the same so far: too little is known to name one."


def fault_name(ranking: Ranking, hypothesis: Hypothesis) -> str:
    """Return place and kind; of two faults at once both, each with its own kind."""
    labels = {hypothesis.fault: hypothesis.label}
    if hypothesis.kind == "pair":
        labels = {h.fault: h.label for h in ranking.hypotheses if h.fault in hypothesis.parts}
    faults = hypothesis.parts if hypothesis.kind == "pair" else (hypothesis.fault,)
    kinds = [fault.rpartition(":")[2].partition("@")[0] for fault in faults]
    said = [f"{labels.get(f) or f}: {kind}" for f, kind in zip(faults, kinds, strict=True)]
    text = " together with ".join(said)
    return text[0].upper() + text[1:]


def _labels(diagnosis: Diagnosis, group: Ranked) -> tuple[tuple[str, str], ...]:
    fault = diagnosis.subjects[group.members[0]].fault
    if fault is None or len(group.members) > MOST_NAMED:
        return ()
    return label_pairs(diagnosis.scene.board.site(fault.parts[0].sites[0]))


def confidence_of(ranking: Ranking) -> Confidence | None:
    """Return how sure the answer is and what that rests on; None where nothing was observed."""
    if not ranking.columns:
        return None
    if ranking.outcome == "nothing":
        return Confidence(
            to_permille(min(1.0, ranking.nothing)), "that the cause lies outside the model", "prior-driven"
        )
    best = ranking.group(1)
    sure, words = to_permille(min(1.0, best.posterior)), _confident_of(best)
    if best.kind == "healthy" and ranking.outcome == "healthy":
        return Confidence(sure, words, "unstated", RESTS_ON_MEND if ranking.epoch else RESTS_ON_SHARE)
    if ranking.outcome == "misread":
        return Confidence(sure, f"{words}, if that was misread", "prior-driven")
    return Confidence(sure, words, _basis(best))


def _confident_of(best: Ranked) -> str:
    if best.kind == "healthy":
        return "that nothing is wrong"
    if len(best.members) > 1:
        return "that it is one of this group"
    return "that it is these two faults" if best.kind == "pair" else "that it is this fault"


def _basis(best: Ranked) -> ConfidenceBasis:
    return "calibrated" if best.posterior > 0.5 and best.kind == "single" else "prior-driven"
