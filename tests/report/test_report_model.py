"""The report value: probabilities never overstate, runs cover every word once, privacy by construction."""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faults.report.model import (
    Agreement,
    AgreementRow,
    Confidence,
    InputFile,
    MemoryMap,
    Report,
    Run,
    Verdict,
    percent,
    runs_of,
    to_permille,
    total_words,
)

KINDS = ("same", "bits", "copy", "zero", "merged", "unknown", "unread")
KIND = st.sampled_from(KINDS)


@given(st.floats(0, 1))
def test_a_probability_is_never_rounded_up(probability: float) -> None:
    permille = to_permille(probability)
    assert Fraction(permille, 1000) <= Fraction(probability) + Fraction(1, 10**11)
    assert probability - permille / 1000 < 0.001 + 1e-9
    if 0 < permille < 1000:
        shown = Fraction(re.fullmatch(r"([\d.]+) %", percent(permille)).group(1))
        assert shown <= Fraction(permille, 10)


@pytest.mark.parametrize(
    ("permille", "said"),
    [(0, "under 0.1 %"), (1, "0.1 %"), (99, "9.9 %"), (100, "10 %"), (899, "89 %"), (990, "99.0 %"), (999, "99.9 %"),
     (1000, "over 99.9 %")],
)  # fmt: skip
def test_percent_is_worded_at_its_bounds(permille: int, said: str) -> None:
    assert percent(permille) == said


@pytest.mark.parametrize("wrong", [-0.1, 1.1, float("nan")])
def test_what_is_no_probability_is_refused(wrong: float) -> None:
    with pytest.raises(ValueError, match=r"0\.\.1"):
        to_permille(wrong)


def test_confidence_beyond_a_thousand_is_refused() -> None:
    with pytest.raises(ValueError, match="thousandths"):
        Confidence(1001)


@given(st.lists(st.tuples(KIND, st.none() | st.integers(0, 9), st.sampled_from(["", "3"])), max_size=40))
def test_folding_into_runs_loses_no_word(words: list) -> None:
    runs = runs_of([k for k, _, _ in words], [s for _, s, _ in words], [b for _, _, b in words])
    unfolded = [
        (run.kind, None if run.source is None else run.source + i, run.bits)
        for run in runs
        for i in range(run.count)
    ]
    assert unfolded == words
    assert [run.first for run in runs] == [sum(r.count for r in runs[:i]) for i in range(len(runs))]


def test_neighbours_that_continue_a_copy_are_one_run() -> None:
    assert runs_of(["copy"] * 4, [8, 9, 10, 3]) == (Run(0, 3, "copy", 8), Run(3, 1, "copy", 3))


@given(st.lists(st.tuples(st.integers(0, 5), st.integers(1, 5), KIND), max_size=10), st.integers(1, 5))
def test_gaps_count_as_not_read(steps: list, rest: int) -> None:
    runs, at = [], 0
    for gap, count, kind in steps:
        runs.append(Run(at + gap, count, kind))
        at += gap + count
    whole = MemoryMap("s", at + rest, 4, tuple(runs)).whole()
    assert [w for r in whole for w in range(r.first, r.first + r.count)] == list(range(at + rest))
    counts = total_words(whole)
    assert sum(counts.values()) == at + rest
    gaps = rest + sum(gap for gap, _, _ in steps)
    assert counts["unread"] == gaps + sum(count for _, count, kind in steps if kind == "unread")


@pytest.mark.parametrize(
    ("runs", "said"),
    [
        ((Run(0, 4, "same"), Run(3, 2, "bits")), "overlaps"),
        ((Run(5, 4, "same"), Run(0, 2, "bits")), "overlaps"),
        ((Run(0, 0, "same"),), "empty"),
        ((Run(12, 5, "same"),), "beyond"),
        ((Run(0, 1, "purple"),), "no such word class"),
    ],
)
def test_runs_that_cannot_be_are_refused(runs: tuple, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        MemoryMap("s", 16, 4, runs)


def test_a_missing_verdict_is_refused() -> None:
    with pytest.raises(ValueError, match="1 verdicts for 2 candidates"):
        Agreement(("a", "b"), (AgreementRow("seen", (Verdict("agrees"),)),))


def test_a_digest_is_checked() -> None:
    with pytest.raises(ValueError, match="64"):
        InputFile("a.toml", "abc")


FOLDER = st.text("abcdefghijklmnopqrstuvwxyz.-_", min_size=3, max_size=8).map(lambda s: f"q{s}")


@given(
    st.sampled_from(["/", "~/", "C:\\", "d:/", "~jo/"]), st.lists(FOLDER, min_size=1, max_size=4, unique=True)
)
def test_no_folder_of_an_absolute_path_survives(root: str, folders: list[str]) -> None:
    between = "\\" if "\\" in root else "/"
    path = root + between.join([*folders, "case.toml"])
    assert InputFile(path, "0" * 64).name == "case.toml"
    for command in (f"corewright match {path}", f"corewright match --image={path} -q", f"run '{path}' x"):
        shown = Report("t", command=command).command
        assert "case.toml" in shown
        assert not any(folder in shown for folder in folders)
        assert root not in shown


@pytest.mark.parametrize(
    "text", ["dumps/a.octal", "rope/address/10:stuck-0", "../a/b.toml", "predict fulmar a/b.asm"]
)
def test_relative_paths_and_faults_are_kept(text: str) -> None:
    assert Report("t", command=text).command == text
