"""From a case to its ranking: reads the evidence, predicts, ranks, and searches pairs where nothing fits."""

from collections.abc import Mapping

import numpy as np
from attrs import evolve, frozen

from faults.case.load import Case
from faults.case.model import Dump
from faults.hypotheses import IntArray, weights_of
from faults.match import rank
from faults.notation import parse_fault
from faults.pairs import PairPlan, among_the_best, hypotheses_of, propose
from faults.predictions.clues import clues_of
from faults.predictions.columns import Columns, Predicted, Subject
from faults.predictions.evidence import Observed, observed_dump
from faults.predictions.programs import judge_of
from faults.predictions.runs import Progress, no_progress
from faults.predictions.scene import Scene, refuse_bad, scene_of
from faults.predictions.suspects import Suspects
from faults.predictions.workshop import Workshop
from faults.ranking import Ranking

_WORTH_PAIRS = 300
_WORTH_DUMP_PAIRS = 120
_BEST_GROUPS = 30
_ROUNDS = ((1, _WORTH_PAIRS), (6, 2 * _WORTH_PAIRS))
"""Rounds of pairs: how many faults stand for a group, and how many pairs are tried at most."""


@frozen(eq=False)
class Diagnosis:
    """A case, matched. ``subjects``: what each hypothesis of the ranking is, in its order."""

    scene: Scene
    suspects: Suspects
    dumps: tuple[Observed, ...]
    ranking: Ranking
    predicted: Predicted
    subjects: tuple[Subject, ...]
    columns: Columns
    note: str

    @property
    def case(self) -> Case:
        """The case."""
        return self.scene.case


def diagnose(case: Case, *, progress: Progress = no_progress, pairs: bool = True) -> Diagnosis:
    """Return the diagnosis of a case. Raises InputError for one that does not check."""
    scene = scene_of(case)
    refuse_bad(scene)
    workshop = Workshop(scene.board, scene.priors, progress)
    found = diagnose_scene(scene, workshop, pairs=pairs)
    workshop.save()
    return found


def diagnose_scene(
    scene: Scene, workshop: Workshop, dumps: Mapping[int, Observed] | None = None, *, pairs: bool = True
) -> Diagnosis:
    """Return the diagnosis of a scene in a workshop of its board, which may serve many.

    ``dumps``: by entry number; read from their files if not given.
    """
    case = scene.case
    if dumps is None:
        dumps = {n: observed_dump(scene, n, e) for n, e in enumerate(case.entries) if isinstance(e, Dump)}
    clues = clues_of(case, scene.machine, [d for d in dumps.values() if not d.misread_file])
    clues = evolve(clues, touched=_touched(scene, workshop))
    suspects = workshop.maker.suspects(clues)
    columns = Columns(scene, dict(dumps), workshop)
    subjects = tuple(Subject(s.fault, s.chancy) for s in suspects.all)
    hypotheses = suspects.hypotheses
    predicted = columns.predict(subjects, weights_of(hypotheses))
    ranking = rank(
        hypotheses, predicted.columns, mends=predicted.mends, nothing=scene.priors.nothing, note=suspects.note
    )
    if pairs and predicted.columns and not predicted.mends and ranking.outcome in ("nothing", "misread"):
        ranking, subjects = _paired(columns, ranking, subjects, scene)
    note = "; ".join(dict.fromkeys(n for n in (suspects.note, ranking.note) if n))
    read = tuple(columns.dumps.values())  # predicting may have found that a file was misread
    return Diagnosis(scene, suspects, read, ranking, predicted, subjects, columns, note)


def _touched(scene: Scene, workshop: Workshop) -> dict[int, tuple[IntArray, ...]]:
    """Return for each store the addresses that each program of which the case tells touches."""
    entries = [e for e in scene.case.entries if judge_of(e, scene.machine) is not None]
    names = dict.fromkeys(str(getattr(e, "program", "")) for e in entries)
    runs = [workshop.runs(scene.program(name)) for name in names]
    return {n: tuple(run.touched(n) for run in runs) for n in range(len(scene.machine.stores))}


def _paired(
    columns: Columns, single: Ranking, subjects: tuple[Subject, ...], scene: Scene
) -> tuple[Ranking, tuple[Subject, ...]]:
    """Return the ranking with pairs of faults, if there are pairs worth trying."""
    whole = columns.predict(subjects, weights_of(single.hypotheses), sift=False)
    tried = rank(single.hypotheses, whole.columns, nothing=scene.priors.nothing, note=single.note)
    ranking, everybody = single, subjects
    for varied, most in _ROUNDS:
        plan = _planned(tried, columns, subjects, varied, most)
        if len(plan.pairs):
            ranking, everybody = _with(plan, tried, columns, subjects, scene)
        if ranking.outcome not in ("nothing", "misread"):
            break
    return ranking, everybody


def _with(
    plan: PairPlan, tried: Ranking, columns: Columns, subjects: tuple[Subject, ...], scene: Scene
) -> tuple[Ranking, tuple[Subject, ...]]:
    """Return the ranking with the planned pairs."""
    found = hypotheses_of(tried, plan, scene.priors.second)
    made = tuple(Subject(parse_fault(h.fault, scene.board)) for h in found)
    hypotheses, everybody = (*tried.hypotheses, *found), (*subjects, *made)
    # predicted anew all together: the chances of a dump are scaled by the best of those compared
    foretold = columns.predict(everybody, weights_of(hypotheses), sift=True).columns
    ranking = rank(hypotheses, foretold, nothing=scene.priors.nothing, note=plan.note)
    return ranking, everybody


def _planned(
    ranking: Ranking, columns: Columns, subjects: tuple[Subject, ...], varied: int, most: int
) -> PairPlan:
    """Return the pairs to try: those proposed, all among the best, those that explain a dump together.

    Of a dump, most faults explain a part: where two strike different words, what both leave wrong adds up.
    """
    plan = propose(ranking, per_observation=20, most=most, varied=varied)
    extra = [columns.dump_pairs(number, subjects, _WORTH_DUMP_PAIRS) for number in columns.dumps]
    found = np.concatenate([plan.pairs, among_the_best(ranking, _BEST_GROUPS), *extra])
    kept = [(i, j) for i, j in found.tolist() if not subjects[i].chancy and not subjects[j].chancy]
    pairs = np.array(list(dict.fromkeys(kept)), np.int64).reshape(-1, 2)
    more = len(pairs) - len(plan.pairs)
    note = f"{plan.note}; {more} more among the {_BEST_GROUPS} best groups or of those explaining a dump"
    return PairPlan(pairs, plan.considered, note)
