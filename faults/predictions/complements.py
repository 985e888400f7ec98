"""Pairs of which one fault accounts for a dump but for a few bits of the word, and the other for those bits.

A line that is always on spoils a whole store; beside it, a broken data line is still to be seen: under the
first fault alone all bits of all words come out as they were read, but for its own. Bits seldom mix, and so
what is left says which bits the second fault strikes.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from faults.hypotheses import FloatArray, IntArray
from faults.predictions.book import Book, Words
from faults.predictions.evidence import Observed

_MOST_BITS: Final = 2  # left by the first fault: lines that are shorted or swapped strike two
_MOST_FIRST: Final = 40


def complements(
    book: Book, dump: Observed, digests: Sequence[str], weights: FloatArray, most: int
) -> IntArray:
    """Return pairs of numbers of digests (int64[m, 2], m at most ``most``), the most promising first.

    All digests must be in the book; of equal ones the first stands for all, and heavier ones come first.
    """
    both = dump.known & dump.sure
    _, first = np.unique(np.array(digests), return_index=True)
    first = first[np.argsort(-weights[first], kind="stable")]
    names = [digests[i] for i in first]
    left, struck = book.bits_off(names, dump.words, both), book.bits_struck(names, both)
    seen = _any((dump.words ^ dump.expected) & both)
    able = [i for i, rest in enumerate(left.tolist()) if rest.bit_count() <= _MOST_BITS and rest != seen]
    wrong = book.wrong([names[i] for i in able], dump.words, both).tolist()
    ordered = sorted(zip(able, wrong, strict=True), key=lambda one: (int(left[one[0]]).bit_count(), one[1]))
    found: list[tuple[int, int]] = []
    for one, _ in ordered[:_MOST_FIRST]:
        rest = int(left[one])
        fits = (struck & ~rest == 0) & ((struck != 0) == (rest != 0))
        found += [(int(first[one]), int(first[other])) for other in np.flatnonzero(fits) if other != one]
    return np.array(found[:most], np.int64).reshape(-1, 2)


def _any(words: Words) -> int:
    return int(np.bitwise_or.reduce(words, initial=0))
