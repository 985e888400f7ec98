"""What the report of a case says in words, beside the probabilities that other tests hold."""

import shutil
from pathlib import Path

import pytest

from emu.load import load_machine
from faults.boards import load_board
from faults.case.load import load_case
from faults.case.model import kind_of
from faults.caseanswer import answer_of, confidence_of, fault_name
from faults.casereport import case_report, caution_of
from faults.diagnose import diagnose
from faults.hypotheses import Hypothesis, pair
from faults.likelihood import Column, foretold
from faults.match import rank
from faults.measurements import WIPES, _Maker, shortlist_of
from faults.notation import parse_fault

EVENING = Path(__file__).parents[2] / "programs" / "ravensholm" / "evening"
MEND = '\n[[entry]]\nkind = "mended"\nwhat = "pin 24 pushed home"\nsite = "rope/address/12"\n'
PASSED = '\n[[entry]]\nkind = "passed"\nprogram = "gates"\n'


@pytest.fixture(scope="module")
def diagnosed(tmp_path_factory):
    """The evening's case after the mend, and one run since that was clean."""
    folder = tmp_path_factory.mktemp("mended")
    for name in ("case.toml", "rope-reading.oct"):
        shutil.copy(EVENING / name, folder)
    case = folder / "case.toml"
    case.write_text(case.read_text(encoding="utf-8") + MEND + PASSED, encoding="utf-8")
    return diagnose(load_case(case))


@pytest.fixture(scope="module")
def mended(diagnosed):
    return case_report(diagnosed, None)


def test_after_a_mend_what_was_seen_before_contradicts_nothing(mended):
    names = mended.agreement.columns
    assert names[0].endswith("healthy")
    words = [row.verdicts[0].word for row in mended.agreement.rows]
    assert words == ["silent"] * 5 + ["agrees"]
    assert all("before a later mend" in row.verdicts[0].reason for row in mended.agreement.rows[:5])
    assert mended.unexplained == ()


def test_after_a_mend_the_answer_says_how_many_clean_runs_are_wanting(mended):
    """Restarts count as one failing run: rate 2/3 by Laplace's rule, 3 clean runs for 95 % (1/27 < 5 %)."""
    assert mended.answer.sentence.startswith(
        "Nothing that was observed speaks of a fault any more. But: gates"
    )
    assert "Make 2 more (3 in all)" in mended.answer.sentence
    assert mended.confidence.words == "that nothing is wrong"
    assert "the mend worked" in mended.confidence.note
    assert "Make 2 more" in mended.history[0].result


def test_a_map_from_before_the_mend_says_so(mended):
    assert mended.maps[0].note.startswith("Read before the last mend. ")
    assert "2 words were read only in part" in mended.maps[0].note


def test_words_to_examine_are_shown_as_the_panel_shows_them(diagnosed):
    maker = _Maker(diagnosed, shortlist_of(diagnosed))
    assert [kind_of(e) for e in maker.now] == ["passed"]  # what was done before the mend may be done again
    found = list(maker.words(diagnosed.scene.costs.of("examine")))
    names = [m.name for m in found]
    assert len(set(names)) == len(names)
    rope = [m for m in found if " of the rope" in m.name]
    core = [m for m in found if " of the core" in m.name]
    assert rope
    assert core
    for m in found:
        assert (WIPES in m.caution) == (m in core)  # a deposit is the only one that writes
        assert m.action.startswith("Deposit 0o" if m in core else "Examine word 0o")
        assert "parity 0" not in " ".join(m.forecast.names)  # the panel shows data; the check, its alarm
    assert any("with alarm parity" in name for m in found for name in m.forecast.names)


def test_at_chips_the_caution_is_that_of_chips():
    """Static and missing supplies for chips, drive lines for core: common practice, no source."""
    boards = {name: load_board(load_machine(name)) for name in ("sandpiper", "dunlin")}
    dead = parse_fault("chips/row/1:dead", boards["sandpiper"]).parts[0]
    assert "wrist strap" in caution_of(boards["sandpiper"], dead)
    wire = parse_fault("core/y/5:open", boards["dunlin"]).parts[0]
    assert "core windings" in caution_of(boards["dunlin"], wire)


def test_two_faults_at_once_are_named_each_with_its_own_kind():
    one = Hypothesis("rope/row/1:dead", label="row 1 (card A1; card A2)")
    other = Hypothesis("bus/address/0:open@50%", label="line 0 of the address bus")
    both = pair(one, other, total=2, second=0.1)
    ranking = rank([one, other, both], [Column("x", foretold([False, False, True]), 0.1, 0.01)])
    assert fault_name(ranking, both) == (
        "Row 1 (card A1; card A2): dead together with line 0 of the address bus: open"
    )
    assert fault_name(ranking, one) == "Row 1 (card A1; card A2): dead"


def test_a_figure_that_rests_on_a_slip_is_not_called_calibrated():
    many = [Hypothesis(f"a/{n}:open") for n in range(100)]
    ranking = rank(many, [Column("x", foretold([False] * 100), 0.0001, 0.5)])
    assert ranking.outcome == "misread"
    told = confidence_of(ranking)
    assert told is not None
    assert told.basis == "prior-driven"
    assert "if that was misread" in told.words


def test_healthy_is_no_result_where_something_seen_since_contradicts_it(tmp_path):
    shutil.copy(EVENING / "rope-reading.oct", tmp_path)
    failed = '\n[[entry]]\nkind = "failed"\nprogram = "gates"\nruns = 10\nfailures = 1\ncondition = "cold"\n'
    case = tmp_path / "case.toml"
    case.write_text((EVENING / "case.toml").read_text(encoding="utf-8") + MEND + failed, encoding="utf-8")
    told = answer_of(diagnose(load_case(case)))
    assert told.kind != "result"
    assert not told.sentence.startswith("Nothing that was observed speaks of a fault")
    assert "gates failed 1 of 10 times" in told.sentence or told.fault
