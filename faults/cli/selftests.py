"""The page of the self-tests: what each says of itself, and how long it takes on the real machine.

``python -m faults.cli.selftests`` writes ``docs/reference/self-tests.md``; a test compares it with what is
there. The times are measured by running every test.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import click
from attrs import frozen

from emu.engine.compiled import CompiledEngine
from emu.engine.contract import RunRequest, RunResult
from emu.load import load_machine
from emu.shipped import machine_names, program_names, programs_folder
from faults.cli.reading import read_program

PREFIX: Final = "selftest-"
MAX_STEPS: Final = 100_000_000
_PAGE: Final = Path(__file__).resolve().parents[2] / "docs" / "reference" / "self-tests.md"
_HEADING: Final = re.compile(r"([A-Z][a-z]+): +(.*)")
_HEAD: Final = """\
# The self-tests

Programs that look for faults of the machine that they run on, in `programs/`. This page is made from the
comments at their beginning and from running them on a healthy machine; the times are those of the real
machine, reckoned from its memory cycles.

`corewright run MACHINE selftest-NAME` runs one (with `--max-steps 100000000`: some need more than the million
instructions that it allows otherwise), `corewright grade` says what it finds. How they report:

| machine | a wrong word | a restart | nothing found |
|---|---|---|---|
| fulmar | `BAD adr expected got`, stop | `RST adr expected got`, stop | `GOOD`, stop |
| dunlin | `BAD adr expected got`, up to eight lines | (has none) | `GOOD`, stop with `mark` 0 |
| sandpiper | `BAD adr expected got`, up to eight lines | (halts by the alarm `memory`) | `GOOD`, stop |

Where a test reports otherwise its entry says so. Look at the alarms too: a mended bit is no wrong word.

**Before you run one**: a test destroys what is in the memory that it tests. Dump the contents first, all of
them: the first read may be the only one.
"""


@frozen
class SelfTest:
    """A self-test as its own comment describes it: what it is about, then its headings by name."""

    machine: str
    name: str
    about: str
    headings: dict[str, str]


def self_tests(machine: str) -> tuple[SelfTest, ...]:
    """Return the self-tests that come with a machine, by name."""
    return tuple(_self_test(machine, name) for name in program_names(machine) if name.startswith(PREFIX))


def _self_test(machine: str, name: str) -> SelfTest:
    path = programs_folder() / machine / f"{name}.asm"
    head = path.read_text(encoding="utf-8").partition("\n\n")[0]
    about: list[str] = []
    headings: dict[str, str] = {}
    current = ""
    for line in (line.removeprefix(";").removeprefix(" ") for line in head.splitlines()[2:]):
        found = _HEADING.fullmatch(line)
        if found:
            current = found[1]
            headings[current] = found[2]
        elif current:
            headings[current] += f" {line.strip()}"
        else:
            about.append(line)
    return SelfTest(machine, name, "\n".join(about).strip(), headings)


def healthy_run(test: SelfTest) -> RunResult:
    """Run a self-test on a healthy machine to its stop."""
    machine = load_machine(test.machine)
    image = read_program(machine, test.name)
    return CompiledEngine().run(RunRequest(machine, image, max_steps=MAX_STEPS, stop_on_loop=False))


def duration(nanoseconds: int) -> str:
    """Return a time as a person would say it, three digits of it."""
    seconds = nanoseconds / 1e9
    return f"{seconds:.3g} s" if seconds >= 1 else f"{seconds * 1000:.3g} ms"


def self_tests_page() -> str:
    """Return the page; runs every self-test on its machine."""
    lines = [_HEAD.rstrip()]
    for machine in machine_names():
        tests = self_tests(machine)
        runs = [healthy_run(test) for test in tests]
        lines += ["", f"## {machine}", "", "| self-test | takes | instructions |", "|---|---:|---:|"]
        lines += [
            f"| [{test.name}](#{machine}-{test.name}) | {duration(run.time_ns)} | {run.steps:,} |"
            for test, run in zip(tests, runs, strict=True)
        ]
        for test in tests:
            lines += ["", *_entry(test)]
    return "\n".join(lines) + "\n"


def _entry(test: SelfTest) -> Iterator[str]:
    yield f"### {test.machine} {test.name}"
    yield ""
    yield test.about
    yield ""
    for heading, text in test.headings.items():
        yield f"- **{heading}**: {text}"


def main() -> None:
    """Write the page."""
    _PAGE.write_text(self_tests_page(), encoding="utf-8")
    click.echo("docs/reference/self-tests.md")


if __name__ == "__main__":
    main()
