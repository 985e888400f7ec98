"""Runs the command line inside the test process, or as a process of its own where manners are tested."""

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from attrs import frozen

from faults.cli import exit_code_of

ROOT = Path(__file__).resolve().parents[2]
ENTRY = "from faults.cli import main; main()"


@frozen
class Outcome:
    code: int
    out: str
    err: str


@pytest.fixture
def cli(capsys, monkeypatch):
    """Return a function that runs the command line in this process."""

    def call(*arguments, stdin=None):
        if stdin is not None:
            data = stdin.encode() if isinstance(stdin, str) else stdin
            monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(data)))
        capsys.readouterr()
        code = exit_code_of([str(a) for a in arguments])
        captured = capsys.readouterr()
        return Outcome(int(code), captured.out, captured.err)

    return call


def environment(**more):
    kept = {k: v for k, v in os.environ.items() if not k.startswith(("NO_COLOR", "FORCE_COLOR", "CLICOLOR"))}
    return {**kept, "PYTHONPATH": str(ROOT), "COLUMNS": "80", **more}


def command_line(*arguments):
    return [sys.executable, "-c", ENTRY, *(str(a) for a in arguments)]


@pytest.fixture
def process():
    """Return a function that runs the command line as a process of its own; outputs are bytes."""

    def call(*arguments, env=None, **options):
        return subprocess.run(
            command_line(*arguments),
            env=environment(**(env or {})),
            capture_output=True,
            timeout=60,
            check=False,
            **options,
        )

    return call


@pytest.fixture
def started():
    """Return a function that starts the command line and hands back the process."""

    def call(*arguments, env=None, **options):
        return subprocess.Popen(command_line(*arguments), env=environment(**(env or {})), **options)

    return call
