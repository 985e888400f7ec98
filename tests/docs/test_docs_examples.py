"""Every example of README.md and docs/ is run: files are written, commands called, what they print compared.

How a page says it:

- ``<!-- file: NAME -->`` before a fenced block: the block is that file, in the folder of the page;
- ``<!-- added to: fulmar.toml -->``: the block is put behind a copy of the shipped machine file of that name;
- a block marked ``console``: lines that begin with ``$ `` are commands, the lines below what they show, on
  both streams together; a line ``...`` stands for any lines; ``echo $?`` shows the exit code;
- ``<!-- not run: REASON -->`` before a console block: it is left out, and the reason is on the page.

- ``<!-- with the files of: PAGE -->`` anywhere: the files of that page are there from the beginning.

A page is a session: its blocks run in order, in one empty folder. The commands are ours, run in this process;
``ls`` and ``cat`` are played, and so is the installation of a small package; once there is one, commands run as
processes of their own. Any other command is a mistake of the page.
"""

import contextlib
import io
import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from attrs import frozen

import emu
import faults
from faults.cli import COMMANDS, exit_code_of

ROOT = Path(__file__).resolve().parents[2]
ENTRY = "from faults.cli import main; main()"
MARK = re.compile(r"<!-- (file|added to|not run|command): (.+?) -->")
SLOW = {
    "README.md",
    "docs/how-to/grade-in-pieces.md",
    "docs/tutorial/add-a-fault-kind.md",
    "docs/tutorial/from-symptoms-to-next.md",
    "docs/tutorial/write-and-grade-a-self-test.md",
}
BEFORE = re.compile(r"^<!-- with the files of: (\S+) -->$", re.MULTILINE)
# Which engine ran depends on what is installed, and on nothing else: pages leave that notice out and say so.
ENGINE = re.compile(r"^engine: .*\n", re.MULTILINE)


@frozen
class Block:
    line: int
    language: str
    mark: tuple[str, str] | None
    text: str


def blocks(page):
    """Yield the fenced blocks of a page, each with the marker comment on the line before it."""
    lines = page.read_text(encoding="utf-8").splitlines()
    number = 0
    while number < len(lines):
        opening = re.match(r"(`{3,})(\S*)", lines[number])
        if not opening:
            number += 1
            continue
        before = next((x for x in reversed(lines[:number]) if x.strip()), "")
        mark = MARK.fullmatch(before.strip())
        end = next(i for i in range(number + 1, len(lines)) if lines[i] == opening[1])
        body = "".join(f"{x}\n" for x in lines[number + 1 : end])
        yield Block(number + 1, opening[2], mark.groups() if mark else None, body)
        number = end + 1


def sessions(text):
    """Yield (command, expected output) of a console block."""
    command, shown = None, []
    for line in text.splitlines():
        if line.startswith("$ "):
            if command is not None:
                yield command, shown
            command, shown = line[2:], []
        else:
            assert command is not None, "a console block begins with a command"
            if shown == [] and command.endswith("\\"):
                command = f"{command[:-1].rstrip()} {line.strip()}"
            else:
                shown.append(line)
    if command is not None:
        yield command, shown


class Session:
    """A folder and the exit code of the last command."""

    def __init__(self, folder, patch):
        self.folder = folder
        self.patch = patch
        self.installed = False
        self.code = 0

    def write(self, name, text):
        path = self.folder / name
        assert path.resolve().is_relative_to(self.folder.resolve())
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")

    def install(self):
        """Put down what an installer would of the package in the folder: its modules, names and entry points."""
        project = tomllib.loads((self.folder / "pyproject.toml").read_text())["project"]
        site = self.folder / f"{project['name'].replace('-', '_')}-{project['version']}.dist-info"
        site.mkdir()
        head = f"Metadata-Version: 2.1\nName: {project['name']}\nVersion: {project['version']}\n"
        (site / "METADATA").write_text(head)
        points = [
            f"[{group}]\n" + "".join(f"{name} = {value}\n" for name, value in entries.items())
            for group, entries in project["entry-points"].items()
        ]
        (site / "entry_points.txt").write_text("\n".join(points))
        self.installed = True
        return ""

    def process(self, arguments):
        """Run a process of its own that sees the package in the folder; return what it shows."""
        path = os.pathsep.join([str(self.folder), str(Path(faults.__file__).parents[1])])
        done = subprocess.run(
            arguments,
            env={**os.environ, "PYTHONPATH": path, "PYTHONIOENCODING": "utf-8", "PYTHONDONTWRITEBYTECODE": "1"},
            cwd=self.folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False, timeout=120,
        )  # fmt: skip
        self.code = done.returncode
        return re.sub(ENGINE, "", done.stdout)

    def play(self, command):
        """Return what the command shows."""
        words = shlex.split(command, comments=True)
        match words:
            case ["echo", "$?"]:
                return f"{self.code}\n"
            case ["cat", name]:
                return (self.folder / name).read_text(encoding="utf-8")
            case ["ls"]:
                return "".join(f"{p.name}\n" for p in sorted(self.folder.iterdir()))
            case ["pip", "install", "--quiet", "--no-deps", "."]:
                return self.install()
            case ["pytest", "-q", name]:
                return self.process([sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", name])
            case ["corewright", *_] if self.installed:
                return self.process([sys.executable, "-c", ENTRY, *words[1:]])
            case ["corewright", *arguments]:
                shown = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True)
                self.patch.setattr("sys.argv", words)
                with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown):
                    self.code = int(exit_code_of(arguments))
                return re.sub(ENGINE, "", shown.buffer.getvalue().decode())
            case _:
                pytest.fail(f"no page may use the command {command!r}")


def agrees(shown, expected):
    """Compare line by line; ``...`` alone stands for any number of lines, at the end of a line for its rest."""
    pattern = "".join(map(_line_pattern, expected))
    return re.fullmatch(pattern + r"\n*", shown) is not None


def _line_pattern(line):
    if line.strip() == "...":
        return r"(?:[^\n]*\n)*?"
    if line.endswith(" ..."):
        return re.escape(line.removesuffix(" ...")) + r"[^\n]*\n"
    return re.escape(line.rstrip()) + r"[ ]*\n"


def pages():
    found = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md"))]
    return [p for p in found if any(b.language == "console" for b in blocks(p))]


def case(page):
    name = page.relative_to(ROOT).as_posix()
    return pytest.param(page, id=name, marks=[pytest.mark.slow] if name in SLOW else [])


@pytest.mark.parametrize("page", [case(p) for p in pages()])
def test_page_runs(page, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    for name in [
        n for n in os.environ if n.startswith(("NO_COLOR", "FORCE_COLOR", "CLICOLOR", "COREWRIGHT"))
    ]:
        monkeypatch.delenv(name)
    monkeypatch.setenv("COLUMNS", "80")
    session = Session(tmp_path, monkeypatch)
    for name in BEFORE.findall(page.read_text(encoding="utf-8")):
        for block in blocks(page.parent / name):
            if block.mark and block.mark[0] == "file":
                session.write(block.mark[1], block.text)
    for block in blocks(page):
        what = block.mark[0] if block.mark else ""
        if what == "file":
            session.write(block.mark[1], block.text)
        elif what == "added to":
            shipped = Path(emu.__file__).parent / "machines" / block.mark[1]
            session.write(block.mark[1], shipped.read_text(encoding="utf-8") + block.text)
        elif block.language == "console" and what != "not run":
            for command, expected in sessions(block.text):
                shown = session.play(command)
                where = f"{page.relative_to(ROOT)}:{block.line}: $ {command}"
                assert agrees(shown, expected), f"{where}\n--- shown\n{shown}\n--- page\n" + "\n".join(
                    expected
                )


def test_every_command_is_shown_on_some_page():
    shown = {
        command.split()[1]
        for page in pages()
        for block in blocks(page)
        if block.language == "console"
        for command, _ in sessions(block.text)
        if command.startswith("corewright ")
    }
    assert shown == set(COMMANDS)


def test_the_comparison_can_fail():
    assert agrees("a\nb\nc\n", ["a", "...", "c"])
    assert agrees("a\n", ["a"])
    assert agrees("a bc\nd\n", ["a ...", "d"])
    assert not agrees("a bc\nd\n", ["a b", "d"])
    assert not agrees("a\nb\n", ["a"])
    assert not agrees("a\nb\n", ["a", "...", "c"])
    assert not agrees("", ["a"])


def test_a_wrong_page_is_found(tmp_path, monkeypatch):
    page = tmp_path / "page.md"
    page.write_text("```console\n$ corewright run fulmar nosuch\n$ echo $?\n0\n```\n")
    found = list(sessions(next(blocks(page)).text))
    assert found == [("corewright run fulmar nosuch", []), ("echo $?", ["0"])]
    monkeypatch.chdir(tmp_path)
    session = Session(tmp_path, monkeypatch)
    session.play(found[0][0])
    assert not agrees(session.play(found[1][0]), found[1][1])


def test_the_two_commands_stand_alone_after_their_marks():
    marked = {b.mark[1]: b for b in blocks(ROOT / "README.md") if b.mark and b.mark[0] == "command"}
    assert set(marked) == {"demo", "test"}
    for block in marked.values():
        assert block.text.count("\n") == 1, "one line, so that it can be copied, and run by .ci/run"
        assert block.text.startswith("python3 -m venv .venv && ")
