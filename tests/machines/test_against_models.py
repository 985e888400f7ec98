"""The walking engine against the hand-written models, over generated instructions.

Memory, inputs and registers are drawn; both sides must agree in registers, memory, outputs, alarms, restarts,
accesses and simulated time.
"""

import importlib.util
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from random import Random
from types import ModuleType
from typing import Any

import pytest
from attrs import evolve

from emu.codes import encode, stored_bits
from emu.engine.contract import RunRequest, RunResult, Stop
from emu.engine.walker import WalkingRun, memory_for
from emu.image import MemoryImage, ProgramImage
from emu.load import load_machine
from emu.spec import MachineSpec

ORACLES = Path(__file__).parents[1] / "oracles"


def oracle(name: str) -> ModuleType:
    """Load a model by its path: it is no part of any package."""
    spec = importlib.util.spec_from_file_location(name, ORACLES / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


FULMAR, DUNLIN, SANDPIPER = (oracle(f"{m}_model") for m in ("fulmar", "dunlin", "sandpiper"))


class Pair:
    """The walking engine and a model side by side, in bursts that begin with drawn registers.

    Drawn code soon falls into a tight loop; so each burst is short and starts anywhere.
    """

    def __init__(
        self, machine: MachineSpec, segments: dict[str, list[int]], inputs: dict[int, list[int]], model: Any
    ) -> None:
        images = {n: MemoryImage.of_words(machine.store(n).bits, words) for n, words in segments.items()}
        offered = {port: tuple(words) for port, words in inputs.items()}
        request = RunRequest(machine, ProgramImage(images), inputs=offered, stop_on_loop=False)
        unlimited = evolve(request, max_steps=1 << 60, max_outputs=1 << 60, max_restarts=1 << 60)
        self.walked, self.model = WalkingRun(unlimited, memory_for(unlimited)), model

    def draw_registers(self, rng: Random, names: dict[str, int]) -> None:
        """Put drawn words into registers of both sides, and let both go on if they had halted."""
        for name, bits in names.items():
            word = edge_word(rng, bits) if name != "pc" else rng.getrandbits(bits)
            self.walked.registers[name] = word
            setattr(self.model, name, word)
        for file, registers in self.walked.files.items():
            registers[:] = [edge_word(rng, 24) for _ in registers]
            setattr(self.model, file, list(registers))
        self.walked.stop, self.model.halted = None, False

    def burst(self, before: Callable[[], None], steps: int) -> None:
        """Execute some instructions on both sides; what the clock does comes before each."""
        for _ in range(steps):
            before()
            self.model.step()
            self.walked.step()
            if self.model.halted:
                break

    def compare(self, names: Iterable[str]) -> None:
        """Compare everything but memory and outputs."""
        walked, model = self.walked, self.model
        assert (walked.stop is not None) == model.halted
        assert {n: walked.registers[n] for n in names} == {n: getattr(model, n) for n in names}
        assert (walked.steps, walked.time_ns) == (model.steps, model.time)
        assert (walked.fetches, walked.reads, walked.writes) == (model.fetches, model.reads, model.writes)
        assert {name: tally.count for name, tally in walked.tallies.items()} == model.alarms
        assert walked.restarts == model.restarts

    def finish(self) -> RunResult:
        """Compare the outputs and return the walking engine's result."""
        self.walked.stop = Stop("steps", 0)
        result = self.walked.result()
        assert [(port, word) for _, port, word in result.outputs] == self.model.outputs
        return result


def compare_in_bursts(pair: Pair, rng: Random, steps: int, before: Callable[[], None]) -> None:
    """Run bursts of up to 100 instructions until both sides have executed ``steps``."""
    machine = pair.walked.machine
    names = {r.name: r.bits for r in machine.registers if not r.count}
    while pair.model.steps < steps:
        pair.draw_registers(rng, names)
        pair.burst(before, 100)
        pair.compare(names)


def mixed(rng: Random, bits: int, known: Iterable[int], count: int) -> list[int]:
    """Draw words: mostly instructions with drawn operands, some of them any word at all."""
    starts = list(known)
    words = []
    for _ in range(count):
        if rng.random() < 0.1:
            words.append(rng.getrandbits(bits))
        else:
            words.append(rng.choice(starts))
    return words


def instructions(machine: MachineSpec, rng: Random, each: int) -> list[int]:
    """Draw ``each`` words of every instruction: its fixed bits, its other bits drawn."""
    bits = machine.instruction_bits
    full = (1 << bits) - 1
    return [
        spec.match | rng.getrandbits(bits) & full & ~spec.mask
        for spec in machine.instructions
        for _ in range(each)
    ]


def edge_word(rng: Random, bits: int) -> int:
    """Draw a word, often one at an edge of its range."""
    full = (1 << bits) - 1
    return rng.choice([0, 1, full, full - 1, full >> 1, (full >> 1) + 1, *[rng.getrandbits(bits)] * 6])


def fulmar_case(seed: int, steps: int) -> None:
    rng, machine = Random(seed), load_machine("fulmar")
    words = instructions(machine, rng, 8)
    rope, core = (
        [FULMAR.with_parity(w) ^ (rng.random() < 0.003) << rng.randrange(17) for w in drawn]
        for drawn in (mixed(rng, 16, words, 24576), mixed(rng, 16, words, 2048))
    )
    inputs = {port: [edge_word(rng, 16) for _ in range(rng.randrange(2, 50))] for port in range(4, 8)}
    model = FULMAR.Fulmar(core, rope, inputs)
    pair = Pair(machine, {"core": core, "rope": rope}, inputs, model)
    compare_in_bursts(pair, rng, steps, model.watch)
    result = pair.finish()
    assert result.memory[0].tolist() == model.core
    assert result.memory[1].tolist() == model.rope
    assert result.restarts > 0


def dunlin_case(seed: int, steps: int) -> None:
    rng, machine = Random(seed), load_machine("dunlin")
    core = mixed(rng, 12, instructions(machine, rng, 8), 4096)
    inputs = {3: [edge_word(rng, 12) for _ in range(50)]}
    model = DUNLIN.Dunlin(core, inputs)
    pair = Pair(machine, {"core": core}, inputs, model)
    compare_in_bursts(pair, rng, steps, lambda: None)
    assert pair.finish().memory[0].tolist() == model.core


def sandpiper_case(seed: int, steps: int) -> None:
    rng, machine = Random(seed), load_machine("sandpiper")
    chips = mixed(rng, 24, instructions(machine, rng, 8), 65536)
    bits = stored_bits("sec-ded", 24)
    stored = [encode("sec-ded", 24, word) for word in chips]
    places = rng.sample(range(65536), 2000)
    single, double = frozenset(places[:1800]), frozenset(places[1800:])
    for address in single:
        stored[address] ^= 1 << rng.randrange(bits)
    for address in double:
        a, b = rng.sample(range(bits), 2)
        stored[address] ^= 1 << a | 1 << b
        chips[address] = stored[address] & 0xFFFFFF
    inputs = {port: [edge_word(rng, 24) for _ in range(50)] for port in (2, 3)}
    model = SANDPIPER.Sandpiper(chips, inputs, single, double)
    pair = Pair(machine, {"chips": stored}, inputs, model)
    compare_in_bursts(pair, rng, steps, model.tick)
    memory = pair.finish().memory[0].tolist()
    for address in range(65536):
        if address not in model.single and address not in model.double:
            stored[address] = encode("sec-ded", 24, model.chips[address])
    assert memory == stored
    assert set(model.alarms) == {"mended", "memory", "stray"}


CASES = {"fulmar": fulmar_case, "dunlin": dunlin_case, "sandpiper": sandpiper_case}


@pytest.mark.parametrize("name", CASES)
def test_a_hundred_thousand_instructions_of_each(name: str) -> None:
    CASES[name](1, 100_000)


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("seed", range(2, 12))
def test_a_million_instructions_of_each(name: str, seed: int) -> None:
    CASES[name](seed, 100_000)
