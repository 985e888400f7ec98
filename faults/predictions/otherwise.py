"""A dump that no suspect explains as it was read, but that one would if the file was misread in a usual way.

A file with its bytes exchanged is known at once when what it holds is right (``emu.files.suspicions``). Under
a fault that spoils many words it is not; then the suspects themselves must say what it should look like.
"""

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from emu.files.suspicions import Kind, Suspicion
from faults.boards.board import Board
from faults.fault import Fault
from faults.notation import fault_text
from faults.predictions.book import Book, Words
from faults.predictions.dumps import Misfit
from faults.predictions.evidence import FEWEST_MOVED, Observed

OFFSETS: Final = (1, 2, 3, 4, 8, 16, 32, 64)
NEAR: Final = 2
"""A dump is far from explained if one word in so many or more stays wrong under every suspect."""
FAR: Final = 50
"""To be taken for misread, so many times more words must be wrong as it was read than read otherwise."""


def read_otherwise(
    dump: Observed,
    misfit: Misfit,
    suspects: tuple[Sequence[Fault | None], Sequence[str]],
    book: Book,
    board: Board,
) -> Suspicion | None:
    """Return how a file may have been misread, if some suspect then explains hardly less than all of it.

    ``suspects``: faults, and the digests of their plans, whose readings are in the book.
    """
    least = int(misfit.wrong.min(initial=misfit.of))
    if dump.after or dump.suspected or least < FEWEST_MOVED or least * NEAR < misfit.of:
        return None
    faults, digests = suspects
    best: tuple[int, Suspicion] | None = None
    for kind, text, words, known in other_readings(dump, board.machine.stores[dump.store].data_bits):
        both = known & dump.sure
        seen = both != 0
        if 2 * np.count_nonzero(seen) < misfit.of or len(np.unique(words[seen])) < FEWEST_MOVED:
            continue  # too little is left to judge by, or words all alike
        wrong = book.wrong(digests, words, both)
        one = int(np.argmin(wrong))
        left = int(wrong[one])
        if left * FAR <= least and (best is None or left < best[0]):
            fault = faults[one]
            name = "a healthy machine" if fault is None else fault_text(fault, board)
            said = f"{text}; read so, {name} would explain all but {left:,} of its words"
            best = (left, Suspicion(kind, said, 0.0))
    return best[1] if best else None


def other_readings(dump: Observed, bits: int) -> Iterator[tuple[Kind, str, Words, Words]]:
    """Yield usual ways in which a file is misread, with words and known bits as they would be read right.

    ``bits``: data bits of the store; check bits are not kept.
    """
    full = (1 << bits) - 1
    data, known = dump.words & dump.known & full, dump.known & full
    if bits % 8 == 0 and bits > 8:
        text = "the bytes of every word stand in reverse order"
        yield "byte-swapped", text, _bytes_reversed(data, bits), _bytes_reversed(known, bits)
    text = "the bits of every word stand in reverse order"
    yield "bits-reversed", text, _bits_reversed(data, bits), _bits_reversed(known, bits)
    yield "complemented", "every bit is inverted", data ^ known, known
    yield "bits-shifted", "every word stands 1 place too far up in its bits", data >> 1, known >> 1
    text = "every word stands 1 place too far down in its bits"
    yield "bits-shifted", text, data << 1 & full, known << 1 & full
    if bits == 16:
        before, after = (_moved(data, -1), _moved(known, -1)), (_moved(data, 1), _moved(known, 1))
        yield "shifted", "the first byte of the file is missing", *_joined(before, (data, known))
        yield "shifted", "one byte too many stands first in the file", *_joined((data, known), after)
    for offset in (n * sign for n in OFFSETS for sign in (1, -1)):
        further = "after" if offset > 0 else "before"
        text = f"every word stands {abs(offset)} address{'es' if abs(offset) > 1 else ''} {further} its own"
        there = _moved(known, offset)
        yield "shifted", text, _moved(data, offset) & there, there


def _joined(high: tuple[Words, Words], low: tuple[Words, Words]) -> tuple[Words, Words]:
    """Return words of 16 bits made of the low byte of one and the high byte of another, and known bits."""
    words, known = ((h & 0xFF) << 8 | lo >> 8 for h, lo in zip(high, low, strict=True))
    return words, known


def _moved(words: Words, offset: int) -> Words:
    """Return the words ``offset`` addresses lower; zeros where none come from."""
    made = np.zeros_like(words)
    if offset > 0:
        made[:-offset] = words[offset:]
    else:
        made[-offset:] = words[:offset]
    return made


def _bytes_reversed(words: Words, bits: int) -> Words:
    return sum(((words >> n & 0xFF) << bits - 8 - n for n in range(0, bits, 8)), np.zeros_like(words))


def _bits_reversed(words: Words, bits: int) -> Words:
    return sum(((words >> n & 1) << bits - 1 - n for n in range(bits)), np.zeros_like(words))
