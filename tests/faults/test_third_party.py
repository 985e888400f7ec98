"""Another package adds a kind of fault and a way of building by entry points, and everything picks them up."""

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PACKAGE = Path(__file__).parent / "third_party"
SCRIPT = """
import json
from emu.load import load_machine
from emu.where import Source
from faults.boards import load_board, parse_board
from faults.kinds import all_kinds
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault
from faults.universe import universe_of

fulmar = load_machine("fulmar")
board = load_board(fulmar)
fault = parse_fault("core/sense/3:flipped", board)
drum = parse_board(fulmar, Source("f.board.toml",
    'format = "board/1"\\nmachine = "fulmar"\\n[[store]]\\nstore = "core"\\nbuilt = "drum"\\n'))
counts = universe_of(board, cells=False).counts()
print(json.dumps({
    "kind": "flipped" in all_kinds(),
    "text": fault_text(fault),
    "rules": [r.action for r in plan_of(board, fault).modes[0].rules],
    "counted": counts["flipped"],
    "sites": [s.path for s in drum.sites() if s.path.startswith("core/head") or s.path == "core/motor"],
    "heads": [fault_text(f) for f in universe_of(drum, cells=False, kinds=["flipped"], stores=["core"]).faults][-1],
    "motor": len(plan_of(drum, parse_fault("core/motor:dead", drum)).modes[0].tables[0].moved),
}))
"""


COMMAND = "from faults.cli import main; main()"


def run(path, script=SCRIPT, *arguments):
    return subprocess.run(
        [sys.executable, "-c", script, *arguments],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={"PYTHONPATH": path, "PATH": ""},
        check=False,
    )


def test_kind_and_board_are_picked_up():
    out = run(f"{ROOT}:{PACKAGE}")
    assert out.returncode == 0, out.stderr
    found = json.loads(out.stdout)
    assert found["kind"]
    assert found["text"] == "core/sense/3:flipped"
    assert found["rules"] == ["flip"]
    assert found["counted"] > 17
    assert len(found["sites"]) == 18
    assert found["heads"].startswith("core/head/")
    assert found["motor"] == 2048


def told(*arguments):
    out = run(f"{ROOT}:{PACKAGE}", COMMAND, *arguments, "--json", "-q")
    assert out.returncode in (0, 1), out.stderr
    return json.loads(out.stdout)


def test_commands_pick_it_up():
    """List, predict and grade, with no edit anywhere."""
    assert told("faults", "dunlin", "--kind", "flipped")["counts"] == {"flipped": 36}
    assert told("predict", "dunlin", "tides", "--fault", "core/data/3:flipped")["differs"]
    graded = told("grade", "dunlin", "selftest-march", "--kind", "flipped", "--no-others")
    assert graded["faults"] == 36
    assert graded["programs"][0]["kinds"]["flipped"]["found"] == 36


def test_without_the_package_they_are_unknown():
    out = run(str(ROOT))
    assert out.returncode != 0
    assert "unknown-fault-kind" in out.stderr


def test_it_takes_few_lines():
    assert len((PACKAGE / "gremlin.py").read_text().splitlines()) < 50
