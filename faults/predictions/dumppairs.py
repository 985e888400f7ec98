"""Pairs of faults that may explain a dump between them: by the words each accounts for, or by the bits.

Where two faults strike different words, what both leave wrong adds up. A line that is always on spoils all
words; beside it, a broken data line is still to be seen: under the first fault alone all bits of all words
come out as they were read, but for its own. Bits seldom mix, and so what is left says which bits the second
strikes.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from faults.hypotheses import FloatArray, IntArray
from faults.predictions.book import Book, Words
from faults.predictions.dumps import Misfit
from faults.predictions.evidence import Observed

_MOST_BITS: Final = 2  # left by the first fault: lines that are shorted or swapped strike two
_MOST_FIRST: Final = 40
_MOST_USEFUL: Final = 600


def by_words(misfit: Misfit, digests: Sequence[str], most: int) -> IntArray:
    """Return pairs of numbers of digests (int64[m, 2], m at most ``most``), the most promising first.

    Promising is a pair that leaves few words wrong if each fault does to its own what it does alone.
    """
    _, first = np.unique(np.array(digests), return_index=True)
    gain = misfit.total - misfit.wrong[first]
    useful = first[np.argsort(-gain, kind="stable")[: int(min(_MOST_USEFUL, (gain > 0).sum()))]]
    left = misfit.wrong[useful]
    estimate = np.abs(left[:, None] + left[None, :] - misfit.total)
    one, other = np.triu_indices(len(useful), 1)
    order = np.argsort(estimate[one, other], kind="stable")[:most]
    return np.stack([useful[one[order]], useful[other[order]]], axis=1).astype(np.int64)


def by_bits(book: Book, dump: Observed, digests: Sequence[str], weights: FloatArray, most: int) -> IntArray:
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
