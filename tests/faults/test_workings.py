"""The digest of the code covers what decides a faulty run, and nothing that it covers can change unseen."""

import ast
from pathlib import Path

import pytest

import faults
from faults import workings

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
