"""``corewright grade`` and ``corewright march --machine`` on the command line."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from emu.engine.compiled import have_numba
from emu.load import load_machine
from emu.shipped import find_program
from faults.boards import load_board
from faults.campaign import run_campaign
from faults.cli import exit_code_of
from faults.cli.reading import read_program
from faults.cli.schemas import check_against, declared_schemas
from faults.universe import universe_of
from faults.workload import PLANS_PER_CHUNK, Job, Program

ROOT = Path(__file__).resolve().parents[2]
SMALL = ["--no-cells", "--store", "core", "--kind", "open", "--no-others", "-q"]


def told(capsys, *arguments: str) -> tuple[int, str, str]:
    code = exit_code_of(list(arguments))
    return (code, *capsys.readouterr())


def test_json_is_of_its_schema_and_sums_are_right(capsys) -> None:
    code, out, _ = told(capsys, "grade", "fulmar", "selftest-parity", "selftest-registers", *SMALL, "--json")
    found = json.loads(out)
    assert not check_against(declared_schemas()["grade/1"], found)
    union = found["union"]
    assert code == 1
    assert union["tally"]["total"] == found["faults"] == sum(k["total"] for k in union["kinds"].values())
    assert sum(e["count"] for e in union["escapes"]) == union["tally"]["total"] - union["tally"]["found"]
    assert {p["name"] for p in found["programs"]} == {"selftest-parity", "selftest-registers"}
    best = max(p["tally"]["found"] for p in found["programs"])
    assert best <= union["tally"]["found"]


def test_text_names_escapes_with_their_reasons(capsys) -> None:
    code, out, _ = told(capsys, "grade", "fulmar", "selftest-registers", *SMALL)
    assert code == 1
    assert "What escapes, and why" in out
    assert "never read" in out
    assert "core/address/3:open" in out


def test_all_escapes_are_named_if_asked_for(capsys) -> None:
    asked = ["grade", "fulmar", "selftest-registers", *SMALL]
    _, out, _ = told(capsys, *asked)
    assert "more" in out
    assert "--all-escapes names all of them" in out
    _, out, _ = told(capsys, *asked, "--all-escapes")
    assert "more" not in out
    assert "--all-escapes" not in out
    _, text, _ = told(capsys, *asked, "--all-escapes", "--json")
    union = json.loads(text)["union"]
    named = [fault for escapes in union["escapes"] for fault in escapes["examples"]]
    assert len(named) == len(set(named)) == union["tally"]["total"] - union["tally"]["found"]
    assert all(fault in out for fault in named)


def test_what_each_of_the_smallest_set_is_there_for(capsys) -> None:
    """Leaving one program out of the smallest set loses what that program alone finds."""
    names = ["selftest-parity", "selftest-registers", "selftest-core-checker"]
    small = ["--no-cells", "--store", "core", "--kind", "stuck", "--no-others", "-q", "--json"]

    def graded(*programs: str):
        return json.loads(told(capsys, "grade", "fulmar", *programs, *small)[1])

    whole = graded(*names)
    assert len(whole["smallest"]) > 1
    for name, alone in zip(whole["smallest"], whole["smallest_alone"], strict=True):
        rest = graded(*(n for n in whole["smallest"] if n != name))
        assert whole["union"]["tally"]["found"] - rest["union"]["tally"]["found"] == alone > 0


def test_a_plan_of_the_work_runs_no_fault(capsys) -> None:
    code, out, _ = told(capsys, "grade", "fulmar", "selftest-registers", *SMALL, "--plan")
    assert code == 0
    assert "pairs of group and program" in out
    code, _, error = told(capsys, "grade", "fulmar", "selftest-registers", *SMALL, "--plan", "--json")
    assert code == 2
    assert "leave out --json" in error


def test_a_plan_says_what_is_kept_and_damage_is_told(capsys, tmp_path) -> None:
    kept = tmp_path / "kept"
    arguments = ["grade", "fulmar", "selftest-registers", *SMALL, "--results", str(kept)]
    code, out, _ = told(capsys, *arguments, "--plan")
    assert code == 0
    assert " 0 are kept" in out
    assert not kept.exists()
    first = told(capsys, *arguments)
    assert told(capsys, *arguments) == first
    groups = re.search(r"in (\S+) groups", out)[1]
    assert (
        f"0 of {groups} pairs of group and program; {groups} are kept"
        in told(capsys, *arguments, "--plan")[1]
    )
    data = bytearray(kept.read_bytes())
    data[80] ^= 1
    kept.write_bytes(data)
    plan = " ".join(told(capsys, *arguments, "--plan")[1].split())
    left = int(re.search(rf"to do (\d+) of {groups} pairs", plan)[1])
    assert 0 < left <= PLANS_PER_CHUNK  # one part
    code, out, error = told(capsys, *arguments)
    assert (code, out) == first[:2]
    assert "was damaged or cut short" in error
    assert told(capsys, *arguments) == first


def test_ctrl_c_at_any_stage_says_how_to_go_on(capsys, tmp_path, monkeypatch) -> None:
    def pressed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    for stage in ("get_ready", "run_campaign", "Grader"):
        with monkeypatch.context() as here:
            here.setattr(f"faults.cli.grade.{stage}", pressed)
            kept = str(tmp_path / stage)
            arguments = ["grade", "fulmar", "selftest-registers", *SMALL]
            code, out, error = told(capsys, *arguments, "--results", kept)
            assert (code, out) == (130, "")
            assert f"--results {kept} again to go on" in error
            code, out, error = told(capsys, *arguments)
            assert (code, out) == (130, "")
            assert "nothing was kept" in error


def test_who_waits_long_is_told_why(capsys, monkeypatch) -> None:
    monkeypatch.setattr("faults.cli.grade._LONG_S", 0.01)
    monkeypatch.setattr("faults.cli.grade.get_ready", lambda *_, **__: time.sleep(0.3))
    asked = ["grade", "fulmar", "selftest-registers", *(word for word in SMALL if word != "-q")]
    monkeypatch.setattr("faults.cli.grade.have_numba", lambda: True)
    assert "is compiled, once" in told(capsys, *asked)[2]
    monkeypatch.setattr("faults.cli.grade.have_numba", lambda: False)
    assert "every program runs once" in told(capsys, *asked)[2]
    monkeypatch.setattr("faults.cli.grade.have_numba", lambda: True)
    assert told(capsys, *asked, "-q")[2] == ""
    monkeypatch.setattr("faults.cli.grade._LONG_S", 30)
    assert "is compiled" not in told(capsys, *asked)[2]


def test_what_grade_did_not_write_it_does_not_overwrite(capsys, tmp_path) -> None:
    notes = tmp_path / "notes"
    notes.mkdir()
    (notes / "a.txt").write_text("written by hand, in many hours")
    arguments = ["grade", "fulmar", "selftest-registers", *SMALL]
    code, _, error = told(capsys, *arguments, "--save", str(notes), "--force")
    assert code == 3
    assert "not-a-dictionary" in error
    code, _, error = told(capsys, *arguments, "--results", str(notes / "a.txt"))
    assert code == 3
    assert "not-results" in error
    assert (notes / "a.txt").read_text() == "written by hand, in many hours"


def test_programs_whose_files_have_one_name_are_told_apart(capsys, tmp_path) -> None:
    paths = [tmp_path / name / "check.asm" for name in ("old", "new")]
    for path, text in zip(
        paths, ("        .at 6000\n        stop\n", "        .at 6000\nx:      jump x\n"), strict=True
    ):
        path.parent.mkdir()
        path.write_text(text)
    _, out, _ = told(capsys, "grade", "fulmar", *map(str, paths), "selftest-registers", *SMALL, "--json")
    named = [program["name"] for program in json.loads(out)["programs"]]
    assert named == [*map(str, paths), "selftest-registers"]


def test_what_makes_figures_worth_less_is_said(capsys, tmp_path) -> None:
    round_and_round, long, alarmed = (tmp_path / f"{name}.asm" for name in ("round", "long", "alarmed"))
    round_and_round.write_text("        .at 6000\nx:      rearm\n        jump x\n")
    count = "        .at 6000\nx:      rearm\n        load 100\n        add one\n        store 100\n        jump x\n"
    long.write_text(count + "one:    .word 1\n")
    bad = "        set 'B'\n        write-port 1\n        set 'A'\n        write-port 1\n        set 'D'\n"
    alarmed.write_text("        .at 6000\n" + bad + "        write-port 1\n        stop\n")
    arguments = [*map(str, (round_and_round, long, alarmed)), *SMALL]
    code, out, _ = told(capsys, "grade", "fulmar", *arguments, "--max-steps", "2000")
    assert code == 1
    out = " ".join(out.split())
    assert "round goes round for ever on a healthy machine; so no fault counts as a hang" in out
    assert (
        "long did not come to an end of its own while watched, for 2,000 instructions (limit of steps)" in out
    )
    assert "alarmed prints a failure report on a healthy machine too; so no fault counts as reported" in out
    assert out.count("no end") == 2
    _, out, _ = told(capsys, "grade", "fulmar", *arguments, "--max-steps", "2000", "--json")
    found = json.loads(out)
    assert not check_against(declared_schemas()["grade/1"], found)
    assert [p["false_report"] for p in found["programs"]] == [False, False, True]
    _, out, _ = told(capsys, "grade", "fulmar", "selftest-parity", *SMALL)
    assert "on a healthy machine too" not in out


def test_cells_that_make_no_whole_words_are_refused(capsys) -> None:
    for arguments in (["--bits", "4", "--cells", "10"], ["--bits", "4", "--cells", "2"], ["--bits", "0"]):
        code, _, error = told(capsys, "march", "March C-", *arguments)
        assert code == 2
        assert "no whole number of words" in error
    code, _, error = told(capsys, "march", "March C-", "--class", "FOO")
    assert code == 3
    assert "the classes are SAF, TF" in error


def test_a_wrong_pattern_and_an_empty_universe_are_refused(capsys) -> None:
    code, _, error = told(capsys, "grade", "fulmar", "selftest-registers", *SMALL, "--report", "(")
    assert code == 3
    assert "report-pattern" in error
    code, _, error = told(capsys, "grade", "fulmar", "selftest-registers", "--kind", "nothing")
    assert code == 2
    assert "got 'nothing'" in error
    code, _, error = told(capsys, "grade", "fulmar", "selftest-registers", "--kind", "open", "--kind", "opne")
    assert code == 2
    assert "got 'opne'" in error
    code, _, error = told(
        capsys, "grade", "sandpiper", "selftest-registers", "--kind", "missed", "--no-cells"
    )
    assert code == 2
    assert "corewright faults" in error


def test_a_folder_is_no_results_file(capsys, tmp_path) -> None:
    for plan in ([], ["--plan"]):
        asked = ["grade", "fulmar", "selftest-registers", *SMALL, "--results", str(tmp_path), *plan]
        code, _, error = told(capsys, *asked)
        assert code == 3
        assert "this is a folder" in error


def test_a_dictionary_is_not_overwritten_without_force(capsys, tmp_path) -> None:
    arguments = ["grade", "fulmar", "selftest-registers", *SMALL, "--save", str(tmp_path / "d")]
    assert told(capsys, *arguments)[0] == 1
    code, _, error = told(capsys, *arguments)
    assert code == 2
    assert "--force" in error
    assert told(capsys, *arguments, "--force")[0] == 1


def test_march_writes_a_program_that_runs(capsys, tmp_path) -> None:
    path = tmp_path / "x.asm"
    assert told(capsys, "march", "MATS+", "--machine", "dunlin", "--solid", "-o", str(path))[0] == 0
    code, out, _ = told(capsys, "run", "dunlin", str(path), "-q")
    assert code == 0
    assert "GOOD" in out
    assert told(capsys, "march", "MATS+", "-o", str(path))[0] == 2


@pytest.mark.slow
@pytest.mark.skipif(
    os.name == "nt" or not have_numba(), reason="needs signals, and a campaign of some seconds"
)
def test_ctrl_c_stops_within_a_second_and_says_how_to_go_on(tmp_path) -> None:
    kept = tmp_path / "kept"
    command = "from faults.cli import main; main()"
    arguments = ["grade", "dunlin", "selftest-march", "selftest-march-low", "--results", str(kept), "-q"]
    process = subprocess.Popen(
        [sys.executable, "-c", command, *arguments], stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    deadline = time.monotonic() + 120
    while (not kept.exists() or kept.stat().st_size < 100) and time.monotonic() < deadline:
        time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    begun = time.monotonic()
    error = process.communicate(timeout=30)[1]
    # a second on a quiet machine; where others wait for its processors, each of them gets its turn first
    assert time.monotonic() - begun < 3 + os.getloadavg()[0]
    assert process.returncode == 130
    assert f"--results {kept}" in error


@pytest.mark.slow
def test_a_cluster_of_two_workers_gives_the_same_answer() -> None:
    distributed = pytest.importorskip("distributed")
    machine = load_machine("fulmar")
    image = read_program(machine, str(find_program("fulmar", "selftest-parity")))
    jobs = [Job(machine, Program("parity", image))]
    universe = universe_of(load_board(machine), False, stores=["core"])
    alone = run_campaign(universe, jobs, workers=1)
    with (
        distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):
        together = run_campaign(universe, jobs, executor=client.get_executor())
    assert (together.seen == alone.seen).all()
    assert (together.reasons == alone.reasons).all()
    assert together.records == alone.records
