"""How well each suspect foretells a dump, or a list of failing addresses.

A dump has thousands of words, so a plain 0 or 1 would throw a suspect away for one garbled line. A dump that
is not exactly what a suspect foretells counts as misread in the words that differ: a rate of garbled words is
averaged over (Beta(1, 1000), a guess), and each garbled word costs half its bits. All is done in logarithms
and scaled together, for only ratios count.
"""

import math
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt
from attrs import frozen

from emu.memory import MemoryPlan
from emu.spec import MachineSpec
from faults.dump import scattered
from faults.fault import Fault
from faults.hypotheses import FloatArray, IntArray
from faults.likelihood import broad_chance
from faults.predictions.book import Book
from faults.predictions.evidence import Observed
from faults.predictions.reading import readings, touches

Words = npt.NDArray[np.int64]
GARBLED: Final = 1000.0
TINY: Final = 1e-300
_MOST_NAMED: Final = 4


@frozen(eq=False)
class Misfit:
    """``wrong``: int64[n], words that differ from what each suspect foretells; ``of``: words compared;
    ``total``: words that differ from what a healthy machine shows. ``cost``: nats for each wrong word.
    ``where``: suspect number -> the first addresses that differ.
    """  # noqa: D205

    wrong: IntArray
    of: int
    total: int
    cost: float
    where: Callable[[int], list[int]]


@frozen(eq=False)
class DumpChances:
    """What a column needs: chances, broad chance, and the chances of a misreading (float64[n])."""

    chance: FloatArray
    broad: float
    misread: FloatArray


def dump_misfit(dump: Observed, book: Book, faults: Sequence[Fault | None], digests: Sequence[str]) -> Misfit:
    """Compare a dump with what it would be under each fault (None: a healthy machine)."""
    both = dump.known & dump.sure
    book.enter(faults, digests)
    wrong = book.wrong(digests, dump.words, both)

    def off(number: int) -> Words:
        plan = book.plans.plan(faults[number])
        differs: Words = (dump.words ^ (dump.expected if plan is None else book.read(plan))) & both
        return differs

    return misfit_of(dump, wrong, off)


def misfit_of(dump: Observed, wrong: IntArray, off: Callable[[int], Words]) -> Misfit:
    """Return the misfit of a dump. ``wrong``: words that differ (int64[n]); ``off``: the bits, by suspect."""
    both = dump.known & dump.sure

    def where(number: int) -> list[int]:
        return [int(a) for a in np.flatnonzero(off(number))[:_MOST_NAMED]]

    total = int(np.count_nonzero((dump.words ^ dump.expected) & both))
    bits = int(both.max()).bit_count() if len(both) else 1
    return Misfit(wrong, int(np.count_nonzero(both)), total, 0.5 * bits * math.log(2), where)


def address_misfit(
    listed: npt.NDArray[np.bool_], store: int, plans: Sequence[MemoryPlan | None], contents: Sequence[Words]
) -> tuple[Misfit, IntArray, npt.NDArray[np.bool_]]:
    """Compare a list of failing addresses with those that fail under each plan.

    ``contents``: fills that were tried. Returns also how many addresses fail under each (int64[n]) and
    whether all that are listed are among them.
    """

    def failing(plan: MemoryPlan | None) -> npt.NDArray[np.bool_]:
        bad = np.zeros(len(listed), np.bool_)
        if plan is not None:
            for fill in contents:
                bad |= readings(plan, store, fill) != fill
        return bad

    count = len(plans)
    wrong, size = np.full(count, int(listed.sum()), np.int64), np.zeros(count, np.int64)
    inside = np.zeros(count, np.bool_)
    for number, plan in enumerate(plans):
        if plan is not None and touches(plan, store):
            bad = failing(plan)
            wrong[number], size[number] = np.count_nonzero(bad != listed), np.count_nonzero(bad)
            inside[number] = not bool(np.any(listed & ~bad))

    def where(number: int) -> list[int]:
        return [int(a) for a in np.flatnonzero(failing(plans[number]) != listed)[:_MOST_NAMED]]

    cost = math.log(max(2, len(listed)))
    return Misfit(wrong, len(listed), int(listed.sum()), cost, where), size, inside


def fills(machine: MachineSpec, store: int) -> list[Words]:
    """Return the contents with which a memory test is taken to have been made: mixed words, and inverted."""
    mixed = scattered(machine, store)
    full = (1 << machine.stores[store].bits) - 1
    return [mixed, mixed ^ full]


def garbled(wrong: IntArray, of: int, cost: float) -> FloatArray:
    """Return the log chance that just these words were garbled (float64[n])."""
    d = np.asarray(wrong, np.float64)
    lgamma = np.vectorize(math.lgamma, otypes=[np.float64])
    kept = lgamma(d + 1) + lgamma(GARBLED + of - d) - lgamma(d + 1 + GARBLED + of - d)
    start = math.lgamma(1) + math.lgamma(GARBLED) - math.lgamma(1 + GARBLED)
    log_chance: FloatArray = kept - start - d * cost
    return log_chance


def exact_or_garbled(misfit: Misfit, weights: FloatArray, unknown: float) -> DumpChances:
    """Return the chances: 1 for an exact fit, else how likely the garbling is that would be needed.

    ``unknown``: log chance of this dump under a cause outside the model, as if every cause were alike.
    """
    exact = (misfit.wrong == 0).astype(np.float64)
    costs, place = np.unique(misfit.wrong, return_inverse=True)
    logs = garbled(costs.astype(np.int64), misfit.of, misfit.cost)[place.reshape(-1)]
    if bool(exact.any()):
        broad = max(TINY, broad_chance(exact, weights, math.exp(max(unknown, -690.0))))
        return DumpChances(exact, broad, np.maximum(np.exp(np.maximum(logs, -690.0)), TINY))
    top = max(float(logs.max()), unknown)
    broad = max(TINY, math.exp(max(unknown - top, -690.0)))
    return DumpChances(exact, broad, np.clip(np.exp(np.maximum(logs - top, -690.0)), TINY, 1.0))


def unknown_log(misfit: Misfit, differs: Words) -> float:
    """Return the log chance of a dump under a cause that the model does not know.

    As long as the shortest description that a general compressor finds for what is wrong (``differs``: the
    bits that are, a word each): a cause with a simple pattern is likelier than one that strikes at random.
    """
    import zlib  # noqa: PLC0415

    if not misfit.total:
        return math.log(0.5)
    direct = -misfit.total * (misfit.cost * 2 + math.log(max(2, misfit.of)))
    packed = zlib.compress(differs.astype(np.int64).tobytes(), 9)
    nothing = zlib.compress(bytes(differs.nbytes), 9)
    return max(direct, -8 * math.log(2) * max(1, len(packed) - len(nothing)))


def partly(misfit: Misfit, size: IntArray, inside: npt.NDArray[np.bool_]) -> DumpChances:
    """Return the chances of a list that need not be complete: every address drawn from those that fail."""
    count = misfit.total
    fits = inside & (size > 0)
    if not bool(fits.any()):
        return DumpChances(fits.astype(np.float64), 0.5, np.full(len(size), 0.5))
    least = float(size[fits].min())
    ratio = np.where(fits, (least / np.maximum(size, 1)) ** min(count, 40), 0.0)
    floor = max(TINY, (least / misfit.of) ** min(count, 40))
    return DumpChances(ratio, max(TINY, 0.5 * floor), np.full(len(size), max(TINY, floor)))


def coming_and_going(misfit_steady: Misfit, dump: Observed, plan: MemoryPlan) -> float:
    """Return the log chance of a dump when the fault was there at some readings only, at an unknown rate.

    Every wrong word must be wrong as the fault makes it; any d of the D words it strikes are then equally
    likely: 1 / ((D + 1) C(D, d)).
    """
    both = dump.known & dump.sure
    struck = readings(plan, dump.store, dump.expected, 1, written=dump.written)
    could = ((struck ^ dump.expected) & both) != 0
    wrong = ((dump.words ^ dump.expected) & both) != 0
    other = int(np.count_nonzero(wrong & (((dump.words ^ struck) & both) != 0)))
    size, hit = int(could.sum()), int(np.count_nonzero(wrong & could))
    ways = math.lgamma(size + 1) - math.lgamma(hit + 1) - math.lgamma(size - hit + 1)
    return float(
        -math.log(size + 1) - ways + garbled(np.array([other]), misfit_steady.of, misfit_steady.cost)[0]
    )
