"""Assembling and running programs of the library, for the tests in this folder."""

import sys
from collections.abc import Mapping
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from attrs import evolve, frozen

from emu.assemble import Assembly, assemble
from emu.engine.compiled import CompiledEngine
from emu.engine.contract import Engine, RunRequest, RunResult
from emu.engine.walker import Walker
from emu.inputs import parse_inputs
from emu.memory import MemoryPlan, Mode, StoreTable, identity_plan, shapes_of
from emu.spec import MachineSpec
from emu.where import Source

GENERATED = CompiledEngine(jit=False)  # ten times the walker's speed, and nothing to compile
WALKER = Walker()
PROGRAMS = Path(__file__).parents[2] / "programs"


def assembled(machine: MachineSpec, path: Path, changes: Mapping[str, str] | None = None) -> Assembly:
    """Assemble a program; ``changes`` are replacements in its text and in what it includes."""

    def read(file: Path) -> Source:
        text = file.read_text(encoding="utf-8")
        for old, new in (changes or {}).items():
            text = text.replace(old, new)
        return Source(file.name, text)

    return assemble(read(path), machine, lambda name: read(path.parent / name))


def inputs_for(machine: MachineSpec, path: Path) -> dict[int, tuple[int, ...]]:
    """Read a file of inputs."""
    return dict(parse_inputs(Source(path.name, path.read_text(encoding="utf-8")), machine))


@frozen
class Ran:
    """A program and its run."""

    assembly: Assembly
    result: RunResult

    @property
    def printed(self) -> str:
        """What came out of the first port, as characters."""
        return "".join(chr(word) for _, port, word in self.result.outputs if port == 1)

    @property
    def alarms(self) -> dict[str, int]:
        """How often each alarm was raised."""
        return {tally.name: tally.count for tally in self.result.alarms}

    def words(self, store: str) -> list[int]:
        """Return the data words of a store at the end."""
        machine = self.assembly.machine
        stored: Any = self.result.memory[machine.store_index(store)]
        words: list[int] = (stored & (1 << machine.word.bits) - 1).tolist()
        return words


def run_program(
    machine: MachineSpec,
    name: str,
    changes: Mapping[str, str] | None = None,
    plan: MemoryPlan | None = None,
    engine: Engine = GENERATED,
    **limits: Any,
) -> Ran:
    """Assemble and run a program of the library, with its inputs if it has some."""
    path = PROGRAMS / machine.name / f"{name}.asm"
    inputs_file = path.with_suffix(".inputs")
    inputs = inputs_for(machine, inputs_file) if inputs_file.exists() else {}
    assembly = assembled(machine, path, changes)
    request = RunRequest(machine, assembly.image, plan, inputs=inputs, **{"max_steps": 3_000_000} | limits)
    return Ran(assembly, engine.run(request))


def run_text(machine: MachineSpec, text: str, **limits: Any) -> Ran:
    """Assemble and run a program given as text."""
    assembly = assemble(Source("test.asm", text), machine)
    return Ran(assembly, WALKER.run(RunRequest(machine, assembly.image, **{"max_steps": 100_000} | limits)))


def altered(machine: MachineSpec, store: str, change: StoreTable) -> MemoryPlan:
    """Return the plan in which one store behaves as its table says and all else is healthy."""
    plan = identity_plan(shapes_of(machine.stores))
    number = machine.store_index(store)
    mode = plan.modes[0]
    tables = (*mode.tables[:number], change, *mode.tables[number + 1 :])
    return evolve(plan, modes=(Mode(tables),))


def stuck_cells(
    cells: list[int], bits: int, *, ones: int = 0, zeros: int = 0, entry: bool = False
) -> StoreTable:
    """Return the table in which bits of cells are always read (or, with ``entry``, always written) so."""
    full, none = (1 << bits) - 1, np.zeros(len(cells), np.int64)
    moved = np.zeros(0, np.int32)
    rows = np.zeros((0, 2), np.int32)
    keep, put = np.full(len(cells), full ^ zeros, np.int64), np.full(len(cells), ones, np.int64)
    plain = np.full(len(cells), full, np.int64)
    where = np.array(sorted(cells), np.int32)
    if entry:
        return StoreTable(moved, rows, rows, where, plain, none, keep, put)
    return StoreTable(moved, rows, rows, where, keep, put, plain, none)


def moved_reads(moves: Mapping[int, int]) -> StoreTable:
    """Return the table in which reads of some addresses open another cell."""
    none, nowhere = np.zeros(0, np.int64), np.zeros(0, np.int32)
    addresses = sorted(moves)
    to = np.array([[moves[a]] * 2 for a in addresses], np.int32)
    where = np.array(addresses, np.int32)
    return StoreTable(where, to, to, nowhere, none, none, none, none)


@pytest.fixture(scope="session")
def library() -> ModuleType:
    """What stands in this file, for the tests (they cannot import it)."""
    return sys.modules[__name__]
