"""The digest of the code covers what decides a faulty run, and nothing that it covers can change unseen."""

import ast
from functools import partial
from pathlib import Path

import pytest

import faults
from emu.engine.profile import profile_run
from emu.load import load_machine
from faults import workings
from faults.boards import load_board
from faults.cli.reading import read_program
from faults.notation import parse_fault
from faults.predictions.plans import Plans
from faults.predictions.runs import ProgramRuns
from faults.predictions.scene import Program as SceneProgram

FAULTS = Path(faults.__file__).parent
# what these of ours import from faults beside each other, and why that need not be in the digest
ELSEWHERE = {
    "faults.boards.board": "makes plans, whose digests are in the ids",
    "faults.fault": "makes plans",
    "faults.lower": "makes plans",
    "faults.universe": "makes plans, and numbers faults",
    "faults.workings": "is the digest",
}


def imported(path: Path) -> set[str]:
    tree = ast.parse(path.read_text())
    return {str(n.module) for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)}


def test_the_digest_covers_every_module_that_decides_a_run() -> None:
    names = [name for name, _ in workings.sources()]
    assert names == sorted(set(names))
    assert {"emu/engine/kernel.py", "emu/engine/generate.py", "emu/engine/compiled.py"} <= set(names)
    assert {"emu/memory.py", "emu/rules.py", "emu/behaviour/functions.py", "faults/screen.py"} <= set(names)
    covered = {"faults." + name.removesuffix(".py") for name in workings.MODULES}
    for name in workings.MODULES:
        ours = {module for module in imported(FAULTS / name) if module.startswith("faults")}
        assert ours <= covered | set(ELSEWHERE), name


def test_a_change_of_one_character_changes_the_digest(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = list(workings.sources())
    for name, path in found:
        copy = tmp_path / name
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(path.read_bytes())
    copies = [(name, tmp_path / name) for name, _ in found]
    monkeypatch.setattr(workings, "sources", lambda: iter(copies))
    assert workings.workings_digest.__wrapped__() == workings.workings_digest()
    for name in ("emu/engine/kernel.py", "faults/screen.py"):
        text = (tmp_path / name).read_bytes()
        (tmp_path / name).write_bytes(text.replace(b"\n", b"\r\n"))
        assert workings.workings_digest.__wrapped__() == workings.workings_digest()
        (tmp_path / name).write_bytes(text.replace(b"1", b"2", 1))
        assert workings.workings_digest.__wrapped__() != workings.workings_digest()
        (tmp_path / name).write_bytes(text)


def test_symptoms_that_other_code_has_kept_are_not_used(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setattr("faults.predictions.runs.profile_run", partial(profile_run, jit=False))
    machine = load_machine("dunlin")
    board, name = load_board(machine), "selftest-registers"
    program = SceneProgram(name, read_program(machine, name), {})
    fault = parse_fault("core/data/3:stuck-1", board)

    def runs(version: str) -> ProgramRuns:
        monkeypatch.setattr("faults.predictions.runs.workings_digest", lambda: version)
        return ProgramRuns(machine, program, Plans(board))

    first = runs("one")
    seen = first.symptoms([fault])
    first.save()
    assert len(runs("one").kinds) == len(first.kinds) == 2
    assert len(runs("two").kinds) == 1  # only the healthy run, which was made just now
    assert runs("two").symptoms([fault]) == seen
