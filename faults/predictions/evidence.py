"""A dump as it was read, beside what should be there."""

from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import frozen

from emu.codes import encode
from emu.engine.choose import choose_engine
from emu.engine.contract import RunRequest, RunResult
from emu.engine.powerup import power_up
from emu.files.suspicions import Suspicion, suspect
from emu.image import MemoryImage, ProgramImage
from emu.memory import EXTRA_CELLS
from emu.words import WordFormat
from faults.case.model import Dump
from faults.predictions.runs import MOST_RESTARTS, MOST_STEPS
from faults.predictions.scene import Scene

Words = npt.NDArray[np.int64]
FEWEST_MOVED: Final = 32
FARTHEST: Final = 64
LOOKS: Final = (0.19, 0.37, 0.53, 0.71, 0.89)
"""Parts of a run without end after which memory is looked at."""


@frozen(eq=False)
class Observed:
    """``entry``: number in the case. ``words``, ``known``: int64[store words] as read; ``expected``: what the
    store should hold, ``sure``: which of its bits are known. ``suspected``: what may be wrong with the file.
    ``after``: the program that ran on the broken machine before the reading and could write the store.
    ``warnings``: what was odd about the file, in words.
    """  # noqa: D205

    entry: int
    dump: Dump
    store: int
    words: Words
    known: Words
    expected: Words
    sure: Words
    suspected: tuple[Suspicion, ...] = ()
    after: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def written(self) -> bool:
        """Whether a program or a fill wrote what it holds with the fault there; else it was there before."""
        return bool(self.dump.program) or self.dump.filled

    @property
    def misread_file(self) -> tuple[Suspicion, ...]:
        """The suspicions that forbid to take the file for what the store holds; missing words do not."""
        return tuple(s for s in self.suspected if not s.sentence.startswith("the file agrees but lacks"))

    @property
    def wrong(self) -> npt.NDArray[np.bool_]:
        """Which words differ from what should be there, in bits that both know."""
        differs: Words = (self.words ^ self.expected) & self.known & self.sure
        return np.asarray(differs != 0, np.bool_)


def observed_dump(scene: Scene, number: int, dump: Dump) -> Observed:
    """Read a dump and what it should hold. Raises InputError for files that cannot be read."""
    machine = scene.machine
    store = machine.store_index(dump.store)
    spec = machine.stores[store]
    read = scene.dump(dump.file, spec, dump.layout, scene.case.place(dump, "layout"))
    image = scene.stored(read.image, spec)
    words, known = image.to_arrays(spec.words)
    if read.word.checks == "absent":
        known = known & ((1 << spec.data_bits) - 1)  # computed on reading: nobody read them
    after = dump.program if spec.writable and not dump.expected and not dump.loaded else ""
    if dump.expected:
        wanted = scene.stored(scene.dump(dump.expected, spec).image, spec)
        expected, sure = wanted.to_arrays(spec.words)
        expected = with_checks(scene, store, expected)
        sure = np.where(sure != 0, (1 << spec.bits) - 1, 0)
    else:
        expected, sure = _loaded(scene, store, dump.program)
        if after:
            expected, sure = _left(scene, store, after, expected, sure)
        wanted = MemoryImage.of_words(spec.bits, expected.tolist())
    suspected: tuple[Suspicion, ...] = ()
    if bool(np.any(sure)):
        suspected = suspect(_narrow(image, spec.data_bits), _narrow(wanted, spec.data_bits), _base(scene))
    expected = expected.astype(np.int64)
    if not suspected:
        suspected = moved(words, known & sure, expected, _base(scene))
    warnings = tuple(w.message for w in read.warnings)
    return Observed(number, dump, store, words, known, expected, sure, suspected, after, warnings)


def _loaded(scene: Scene, store: int, program: str) -> tuple[Words, Words]:
    """Return what a store holds when a program is loaded, and which bits of it are known for sure.

    What a store that can be written holds beside the program, nobody knows.
    """
    spec = scene.machine.stores[store]
    image = scene.program(program).image if program else ProgramImage({})
    cells = power_up(RunRequest(scene.machine, image))[store][:-EXTRA_CELLS]
    segment = image.segments.get(spec.name)
    sure = np.zeros(spec.words, np.int64)
    if segment is not None:
        given = [address for address, _, _ in segment.words()] if spec.writable else slice(None)
        sure[given] = (1 << spec.bits) - 1
    return cells, sure


def _left(scene: Scene, store: int, name: str, loaded: Words, sure: Words) -> tuple[Words, Words]:
    """Return what a program leaves in a store on a healthy machine, and which bits of it are known for sure.

    Of a program that goes round for ever it cannot be told when it was stopped: words that it is seen to have
    altered, at the end or at several moments before, are not sure.
    """
    program = scene.program(name)

    def after(steps: int) -> RunResult:
        request = RunRequest(
            scene.machine, program.image, None, program.inputs, max_steps=steps, max_restarts=MOST_RESTARTS
        )
        return choose_engine(request).engine.run(request)

    run, full = after(10 * MOST_STEPS), (1 << scene.machine.stores[store].bits) - 1
    changed = run.memory[store] != loaded
    if run.stop.kind in ("halt", "alarm-halt"):
        return run.memory[store], np.where(changed, full, sure)
    for part in LOOKS:
        changed |= after(int(min(run.steps, MOST_STEPS) * part)).memory[store] != loaded
    return run.memory[store], np.where(changed, 0, sure)


def moved(words: Words, both: Words, expected: Words, base: int) -> tuple[Suspicion, ...]:
    """Return the suspicion that all words stand some addresses off, if that leaves next to nothing wrong.

    For contents of which much repeats: there most words still agree when all are moved, so that evidence by
    agreement says little. What counts is that many words are wrong as they stand, and hardly one if moved.
    """
    as_read = int(np.count_nonzero((words ^ expected) & both))
    if as_read < FEWEST_MOVED:
        return ()
    for offset in (n * sign for n in range(1, FARTHEST + 1) for sign in (1, -1)):
        left, right = (
            (words[offset:], expected[:-offset]) if offset > 0 else (words[:offset], expected[-offset:])
        )
        seen = both[offset:] if offset > 0 else both[:offset]
        if np.count_nonzero((left ^ right) & seen) * 100 <= as_read:
            where = "after" if offset > 0 else "before"
            away = WordFormat(16, base=16 if base == 16 else 8).tagged(abs(offset))
            text = f"every word stands {away} addresses"
            return (Suspicion("shifted", f"{text} {where} its own", float(as_read)),)
    return ()


def with_checks(scene: Scene, store: int, words: Words) -> Words:
    """Return words with the check bits of the store, where they have none."""
    spec = scene.machine.stores[store]
    if spec.protection == "none":
        return words
    data = words & ((1 << spec.data_bits) - 1)
    coded = np.array([encode(spec.protection, spec.data_bits, w) for w in data.tolist()], np.int64)
    return np.where(words == data, coded, words)


def _narrow(image: MemoryImage, bits: int) -> MemoryImage:
    full = (1 << bits) - 1
    return MemoryImage(bits, {a: (v & full, k & full) for a, (v, k) in image.cells.items()})


def _base(scene: Scene) -> Any:
    return 16 if scene.machine.word.base == 16 else 8
