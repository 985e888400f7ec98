"""What the report of a case says in words, beside the probabilities that other tests hold."""

import shutil
from pathlib import Path

import pytest

from faults.case.load import load_case
from faults.casereport import case_report
from faults.diagnose import diagnose

EVENING = Path(__file__).parents[2] / "programs" / "ravensholm" / "evening"
MEND = '\n[[entry]]\nkind = "mended"\nwhat = "pin 24 pushed home"\nsite = "rope/address/12"\n'
PASSED = '\n[[entry]]\nkind = "passed"\nprogram = "gates"\n'


@pytest.fixture(scope="module")
def mended(tmp_path_factory):
    """The evening's case after the mend, and one run since that was clean."""
    folder = tmp_path_factory.mktemp("mended")
    for name in ("case.toml", "rope-reading.oct"):
        shutil.copy(EVENING / name, folder)
    case = folder / "case.toml"
    case.write_text(case.read_text(encoding="utf-8") + MEND + PASSED, encoding="utf-8")
    return case_report(diagnose(load_case(case)), None)


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
