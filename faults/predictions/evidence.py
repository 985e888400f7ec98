"""A dump as it was read, beside what should be there."""

from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import frozen

from emu.codes import encode
from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.files.suspicions import Suspicion, suspect
from emu.image import MemoryImage, ProgramImage
from emu.memory import EXTRA_CELLS
from emu.words import WordFormat
from faults.case.model import Dump
from faults.predictions.scene import Scene

Words = npt.NDArray[np.int64]
FEWEST_MOVED: Final = 32
FARTHEST: Final = 64


@frozen(eq=False)
class Observed:
    """``entry``: number in the case. ``words``, ``known``: int64[store words] as read; ``expected``: what the
    store should hold, ``sure``: which of its bits are known. ``suspected``: what may be wrong with the file.
    """  # noqa: D205

    entry: int
    dump: Dump
    store: int
    words: Words
    known: Words
    expected: Words
    sure: Words
    suspected: tuple[Suspicion, ...] = ()

    @property
    def written(self) -> bool:
        """Whether what it holds was written with the fault there: by a program. Else it was there before."""
        return bool(self.dump.program)

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
    if dump.expected:
        wanted = scene.stored(scene.dump(dump.expected, spec).image, spec)
        expected, sure = wanted.to_arrays(spec.words)
        expected = with_checks(scene, store, expected)
        sure = np.where(sure != 0, (1 << spec.bits) - 1, 0)
    else:
        image_of = scene.program(dump.program).image if dump.program else ProgramImage({})
        expected = power_up(RunRequest(machine, image_of))[store][:-EXTRA_CELLS]
        segment = image_of.segments.get(spec.name)
        sure = np.full(spec.words, (1 << spec.bits) - 1, np.int64)
        if segment is None:
            sure[:] = 0
        wanted = MemoryImage.of_words(spec.bits, expected.tolist())
    suspected: tuple[Suspicion, ...] = ()
    if bool(np.any(sure)):
        suspected = suspect(_narrow(image, spec.data_bits), _narrow(wanted, spec.data_bits), _base(scene))
    expected = expected.astype(np.int64)
    if not suspected:
        suspected = moved(words, known & sure, expected, _base(scene))
    return Observed(number, dump, store, words, known, expected, sure, suspected)


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
