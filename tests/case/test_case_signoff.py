"""Mended, or only quiet? The runs that are needed are those of the binomial law."""

import pytest

from emu.where import Source
from faults.case.load import parse_case
from faults.case.signoff import sign_off

HEAD = 'format = "case/1"\nmachine = "fulmar"\n'
MEND = '[[entry]]\nkind = "mended"\nwhat = "reseated"\ncard = "A7"\n'


def ran(kind, **values):
    said = "".join(f"{k} = {v if isinstance(v, int) else repr(v)}\n" for k, v in values.items())
    return f"[[entry]]\nkind = '{kind}'\n{said}"


def signed(*parts):
    return sign_off(parse_case(Source("c.toml", HEAD + "".join(parts))))


BEFORE = ran("failed", program="walk", runs=18, failures=1) + ran("failed", program="sum")


def test_nothing_mended_nothing_to_sign():
    assert signed(BEFORE) == ()
    assert signed(ran("passed", program="walk"), MEND) == ()


def test_clean_runs_needed_are_those_of_the_binomial_law():
    """1 - (1 - q)^n >= 0.95: for q = 0.1 n = 29, and for q = 2/3 n = 3 (recomputed by hand below)."""
    walk, total = signed(BEFORE, MEND)
    assert (walk.rate, walk.needed) == (pytest.approx(0.1), 29)
    assert 0.9**29 <= 0.05 < 0.9**28
    assert (total.rate, total.needed) == (pytest.approx(2 / 3), 3)
    assert (1 / 3) ** 3 <= 0.05 < (1 / 3) ** 2
    assert [s.verdict for s in (walk, total)] == ["not run", "not run"]
    assert "29 clean runs are needed" in walk.sentence


@pytest.mark.parametrize(("runs", "verdict"), [(28, "more runs"), (29, "enough")])
def test_enough_is_enough(runs, verdict):
    walk, _ = signed(BEFORE, MEND, ran("passed", program="walk", runs=runs))
    assert walk.verdict == verdict
    assert ("Make 1 more" in walk.sentence) == (verdict == "more runs")


def test_one_failure_since_is_a_failure():
    walk, _ = signed(
        BEFORE,
        MEND,
        ran("passed", program="walk", runs=100),
        ran("failed", program="walk", runs=2, failures=1),
    )
    assert walk.verdict == "still fails"
    assert "1 failure in 102 runs" in walk.sentence


def test_only_the_last_mend_and_the_same_condition_count():
    cold = ran("failed", program="walk", condition="cold", runs=4)
    parts = (
        cold,
        MEND,
        ran("passed", program="walk", condition="cold", runs=50),
        MEND,
        ran("passed", program="walk", runs=50),
    )
    (only,) = signed(*parts)
    assert (only.condition, only.runs_before, only.failures_before, only.runs_since) == ("cold", 54, 4, 0)


def test_a_hung_program_counts_as_one_failure():
    (only,) = signed(ran("hung", program="walk"), MEND)
    assert (only.failures_before, only.runs_before) == (1, 1)


def test_alarms_and_restarts_before_a_mend_ask_for_clean_runs():
    """Laplace: (1 + 1) / (1 + 2) = 2/3, so 3 clean runs; what was looked for and not seen is no failure."""
    lamps = ran("alarm", program="walk", alarm="parity", count="many") + ran("restarts", program="sum")
    none = ran("alarm", program="gates", alarm="parity", count="none")
    walk, total = signed(lamps, none, MEND, ran("passed", program="sum", runs=3))
    assert (walk.program, walk.failures_before, walk.needed, walk.verdict) == ("walk", 1, 3, "not run")
    assert (total.program, total.verdict) == ("sum", "enough")


def test_an_alarm_since_the_mend_is_not_called_a_failure():
    (walk,) = signed(
        ran("failed", program="walk"), MEND, ran("alarm", program="walk", alarm="parity", count="many")
    )
    assert walk.verdict == "not run"


def test_what_is_seen_again_since_the_mend_still_fails():
    again = ran("restarts", program="walk", every="about 2 s")
    (walk,) = signed(again, MEND, again)
    assert walk.verdict == "still fails"


def test_a_failure_under_another_condition_still_fails():
    (walk,) = signed(
        ran("failed", program="walk"), MEND, ran("failed", program="walk", runs=10, failures=1, condition="cold"),
        ran("passed", program="walk", runs=200, condition="warm"),
    )  # fmt: skip
    assert walk.verdict == "still fails"
    assert "1 failure in 210 runs" in walk.sentence


def test_runs_under_another_condition_only_do_not_count():
    (walk,) = signed(
        ran("failed", program="walk"), MEND, ran("passed", program="walk", runs=200, condition="warm")
    )
    assert walk.verdict == "not run"
    assert "under the condition under which it failed" in walk.sentence
