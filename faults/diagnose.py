"""From a case to its ranking: reads the evidence, predicts, ranks, and searches pairs where nothing fits."""

from collections.abc import Mapping

from attrs import evolve, frozen

from faults.case.load import Case
from faults.case.model import Dump
from faults.hypotheses import IntArray, weights_of
from faults.match import rank
from faults.pairsearch import search_pairs
from faults.predictions.clues import clues_of
from faults.predictions.columns import Columns, Predicted, Subject
from faults.predictions.evidence import Observed, observed_dump
from faults.predictions.programs import judge_of
from faults.predictions.runs import Progress, no_progress
from faults.predictions.scene import Scene, refuse_bad, scene_of
from faults.predictions.suspects import Suspects
from faults.predictions.workshop import Workshop
from faults.ranking import Ranking


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
        ranking, subjects = search_pairs(columns, ranking, subjects, scene)
    note = "; ".join(dict.fromkeys(n for n in (suspects.note, ranking.note) if n))
    read = tuple(columns.dumps.values())  # predicting may have found that a file was misread
    return Diagnosis(scene, suspects, read, ranking, predicted, subjects, columns, note)


def _touched(scene: Scene, workshop: Workshop) -> dict[int, tuple[IntArray, ...]]:
    """Return for each store the addresses that each program of which the case tells touches."""
    entries = [e for e in scene.case.entries if judge_of(e, scene.machine) is not None]
    names = dict.fromkeys(str(getattr(e, "program", "")) for e in entries)
    runs = [workshop.runs(scene.program(name)) for name in names]
    return {n: tuple(run.touched(n) for run in runs) for n in range(len(scene.machine.stores))}
