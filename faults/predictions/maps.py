"""A dump as a map: what was read against what should be there, word by word."""

from typing import Final

import numpy as np
from attrs import evolve

from emu.spec import MachineSpec, StoreSpec
from emu.storedword import StoredFormat
from emu.words import WordFormat
from faults.pattern import analyse
from faults.pattern.evidence import Evidence, dump_evidence
from faults.predictions.evidence import Observed
from faults.report.model import MemoryMap, WordClass, runs_of

COLUMNS: Final = 64
_FINDINGS: Final = 3


def observed_map(machine: MachineSpec, dump: Observed) -> MemoryMap:
    """Return the map of a dump, with the structure of the difference in words."""
    words = len(dump.words)
    kinds: list[WordClass] = ["same"] * words
    sources: list[int | None] = [None] * words
    bits = [""] * words
    spec = machine.stores[dump.store]
    stored = stored_format(machine, spec)
    both = dump.known & dump.sure
    for address in np.flatnonzero(both == 0).tolist():
        kinds[address] = "unread" if dump.known[address] == 0 else "unknown"
    wrong = np.flatnonzero(dump.wrong)
    home = _shift(dump, wrong, both)
    for address in wrong.tolist():
        source = address ^ home if home else None
        if (
            source is not None
            and source < words
            and not (dump.words[address] ^ dump.expected[source]) & both[address]
        ):
            kinds[address], sources[address] = "copy", source
        elif not dump.words[address] & both[address]:
            kinds[address] = "zero"
        else:
            kinds[address] = "bits"
            bits[address] = _bit_names(
                stored, int((dump.words[address] ^ dump.expected[address]) & both[address])
            )
    said = " ".join(f.sentence for f in analyse(dump_difference(machine, dump)).findings[:_FINDINGS])
    partly = int(np.count_nonzero((both != 0) & (both != int(both.max(initial=0)))))
    if partly and said:
        some = "word was" if partly == 1 else "words were"
        said += f" ({partly:,} {some} read only in part and left out of these sentences.)"
    return MemoryMap(
        spec.name, words, min(COLUMNS, words), runs_of(kinds, sources, bits), machine.word.base, said
    )


def dump_difference(machine: MachineSpec, dump: Observed) -> Evidence:
    """Return the difference for ``faults.pattern``; only what was read and is known."""
    both = dump.known & dump.sure
    chosen = np.flatnonzero(
        both == (int(both.max()) if len(both) else 0)
    )  # words read in part would look odd
    spec, word = machine.stores[dump.store], machine.word
    lines = WordFormat(max(1, (len(dump.words) - 1).bit_length()), base=word.base)
    found = dump_evidence(
        chosen, dump.expected[chosen] & both[chosen], dump.words[chosen] & both[chosen], bits=spec.bits,
        base=word.base, numbering=word.numbering, address_bits=lines.bits,
    )  # fmt: skip
    return evolve(found, address=lines, word=stored_format(machine, spec))


def stored_format(machine: MachineSpec, spec: StoreSpec) -> StoredFormat:
    """Return how stored words of a store are written, and their bits named."""
    word = machine.word
    return StoredFormat(spec.bits, base=word.base, numbering=word.numbering, data_bits=spec.data_bits)


def _bit_names(stored: StoredFormat, wrong: int) -> str:
    return ", ".join(stored.label(n) for n in range(wrong.bit_length()) if wrong >> n & 1)


def _shift(
    dump: Observed,
    wrong: np.ndarray[tuple[int], np.dtype[np.int64]],
    both: np.ndarray[tuple[int], np.dtype[np.int64]],
) -> int:
    """Return the address bit under which most wrong words are copies, as a mask; 0 if there is none."""
    best, most = 0, 0
    if not len(wrong):
        return 0
    for bit in range(max(1, (len(dump.words) - 1).bit_length())):
        source = wrong ^ (1 << bit)
        inside = source < len(dump.words)
        same = ((dump.words[wrong[inside]] ^ dump.expected[source[inside]]) & both[wrong[inside]]) == 0
        if int(same.sum()) > most:
            best, most = 1 << bit, int(same.sum())
    return best if most * 2 > len(wrong) else 0
