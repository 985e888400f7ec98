"""How long help and completion keep a person waiting. Reported, never gated: the machine may be busy."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CALL = [sys.executable, "-c", "from faults.cli import main; main()"]


@pytest.mark.perf
@pytest.mark.parametrize(
    "arguments", [["--help"], ["run", "--help"], ["--version"], ["machines"]], ids=" ".join
)
def test_start(benchmark, arguments):
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    benchmark.pedantic(
        lambda: subprocess.run([*CALL, *arguments], env=env, capture_output=True, check=True),
        rounds=9,
        warmup_rounds=1,
    )


@pytest.mark.perf
def test_completion(benchmark):
    env = {
        **os.environ, "PYTHONPATH": str(ROOT), "_COREWRIGHT_COMPLETE": "bash_complete",
        "COMP_WORDS": "corewright run f", "COMP_CWORD": "2",
    }  # fmt: skip
    benchmark.pedantic(
        lambda: subprocess.run(CALL, env=env, capture_output=True, check=True), rounds=9, warmup_rounds=1
    )
