"""One sitting with a machine that does not come along: described, broken, and found again from a case.

``tests/machines/whimbrel`` was written from README.md and docs/ alone: words of 18 bits with even parity, one core
store without which nothing runs, bits numbered from the left.
"""

import json
import shutil
from pathlib import Path

import pytest

FILES = Path(__file__).parents[1] / "machines" / "whimbrel"
HIDDEN = "core/sense/8:open"
# What the volunteers wrote down: word 1000 of the store has its bit 8 read as 0, and a digit could not be read.
PANEL = "words 18 base octal\n0770: 000770 000771 0007?2 000773\n1000: 000000 000001 000002\n1013: 000013\n"


@pytest.fixture
def sitting(tmp_path, monkeypatch):
    shutil.copytree(FILES, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_machine_its_board_and_its_program_run(cli, sitting):
    assert json.loads(cli("machines", "whimbrel.toml", "--json").out)["word"]["bits"] == 18
    assert json.loads(cli("faults", "whimbrel.toml", "--no-cells", "--json").out)["described"]
    run = cli("run", "whimbrel.toml", "look.asm", "-q")
    assert (run.code, "\nG\n" in run.out) == (0, True)
    told = cli("predict", "whimbrel.toml", "look.asm", "--fault", "core/y/11:open", "-q")
    assert (told.code, "connector P2 · pin B4" in told.out) == (1, True)


@pytest.mark.slow
def test_the_fault_is_found_from_what_was_written_down(cli, sitting):
    (sitting / "panel.lst").write_text(PANEL, encoding="utf-8")
    entries = (
        ("stop", "program=look.asm", "lamps=main=1000 spot=1000 counter=32 parity=1"),
        ("alarm", "program=look.asm", "alarm=parity", "count=1"),
        ("dump", "store=core", "file=panel.lst", "program=look.asm"),
    )
    assert cli("case", "new", "case.toml", "whimbrel.toml").code == 0
    for entry in entries:
        assert cli("case", "add", "case.toml", *entry).code == 0
    found = json.loads(cli("match", "case.toml", "--no-next", "-q", "--json").out)
    best = found["groups"][0]
    assert found["outcome"] == "fits"
    assert HIDDEN in [member["fault"] for member in best["members"]]
    assert best["probability"] > 0.9
    assert "Ring out" in cli("next", "case.toml", "-q").out


@pytest.mark.slow
def test_a_march_test_of_ones_own_template_finds_more(cli, sitting):
    assert cli("march", "March C-", "--machine", "whimbrel.toml", "-o", "march.asm", "-q").code == 0
    run = cli("run", "whimbrel.toml", "march.asm", "-q")
    assert (run.code, "\nG\n" in run.out) == (0, True)
    graded = json.loads(
        cli("grade", "whimbrel.toml", "look.asm", "march.asm", "--no-cells", "-q", "--json").out
    )
    look, march = (one["tally"] for one in graded["programs"])
    assert march["found"] > look["found"]
    parted = cli("separate", "core/y/11:open", "core/y/12:open", "--for", "whimbrel.toml", "-q")
    assert (parted.code, "0o0540 reads 0o000000" in parted.out) == (0, True)
