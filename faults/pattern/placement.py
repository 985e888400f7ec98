"""Where the failing addresses lie: their bits, cubes, blocks, runs, and products of two sets of bits."""

from typing import ClassVar, Final

import numpy as np
from attrs import frozen

from faults.counts import counted, verb
from faults.pattern.evidence import Addresses, Evidence, Flags, bits_of
from faults.pattern.finding import Finding
from faults.pattern.fit import silent_words
from faults.pattern.law import Law
from faults.pattern.region import Cube, block_text, enclosing_cube, named_bits, region_text

MOST_RUNS: Final = 8


@frozen
class AddressBits(Finding):
    """Which address bits are always 0, always 1 or mixed among the failing addresses (masks)."""

    kind: ClassVar[str] = "address-bits"
    zeros: int
    ones: int
    mixed: int

    def holds(self, evidence: Evidence) -> bool:
        """Look at every failing address again."""
        seen = evidence.failures
        over = sum(1 << n for n in evidence.varying)
        rise, fall = (bool((seen & self.ones == self.ones).all()), bool((seen & self.zeros == 0).all()))
        both = all(0 < int((seen >> n & 1).sum()) < seen.size for n in bits_of(self.mixed))
        return rise and fall and both and self.zeros | self.ones | self.mixed == over == self._sum()

    def _sum(self) -> int:
        return self.zeros + self.ones + self.mixed


@frozen
class CubeFinding(Finding):
    """The condition that all failing addresses share, and how well it predicts failing.

    Of the addresses read that meet it, ``failing`` fail, ``silent`` are right but would be right under
    ``law`` too (0 without a law), and ``right`` are right although they need not be.
    """

    kind: ClassVar[str] = "cube"
    cube: Cube
    silent: int
    right: int
    law: Law | None

    def holds(self, evidence: Evidence) -> bool:
        """Count the cube again; every failing address must lie in it."""
        inside = self.cube.contains(evidence.addresses)
        quiet = _silent(self.law, evidence) & inside
        right = inside & ~evidence.failing & ~quiet
        all_in = not bool((evidence.failing & ~inside).any())
        counts = (int((evidence.failing & inside).sum()), int(quiet.sum()), int(right.sum()))
        return (
            all_in and counts == (self.failing, self.silent, self.right) and self.exact == (self.right == 0)
        )


@frozen
class BlockFinding(Finding):
    """The smallest aligned power-of-two block of addresses that holds every failure."""

    kind: ClassVar[str] = "block"
    first: int
    size: int
    tested: int

    def holds(self, evidence: Evidence) -> bool:
        """Check that all failures lie inside and that no half of the block would do."""
        seen = evidence.failures
        inside = bool((seen // self.size * self.size == self.first).all())
        smaller = self.size > 1 and np.unique(seen // (self.size // 2)).size == 1
        tested = int((evidence.addresses // self.size * self.size == self.first).sum())
        return inside and not smaller and tested == self.tested and seen.size == self.failing


@frozen
class RunsFinding(Finding):
    """Unbroken runs of failing addresses, ``(first, last)``, among the addresses looked at."""

    kind: ClassVar[str] = "runs"
    runs: tuple[tuple[int, int], ...]

    def holds(self, evidence: Evidence) -> bool:
        """Check that exactly the addresses in the runs fail."""
        inside = np.zeros(evidence.addresses.size, dtype=np.bool_)
        for first, last in self.runs:
            inside |= (evidence.addresses >= first) & (evidence.addresses <= last)
        return bool((inside == evidence.failing).all()) and int(inside.sum()) == self.failing


@frozen
class ProductFinding(Finding):
    """The failing addresses are all combinations of some low parts and some high parts.

    ``split`` is the number of low bits; ``lows`` and ``highs`` are the values of the parts.
    """

    kind: ClassVar[str] = "product"
    split: int
    lows: tuple[int, ...]
    highs: tuple[int, ...]
    silent: int
    law: Law | None

    def holds(self, evidence: Evidence) -> bool:
        """Check that every combination fails or is silent, and that nothing else fails."""
        low, high = evidence.addresses & (1 << self.split) - 1, evidence.addresses >> self.split
        inside = np.isin(low, self.lows) & np.isin(high, self.highs)
        quiet = inside & _silent(self.law, evidence)
        same = bool((inside == (evidence.failing | quiet)).all())
        return same and (int(quiet.sum()), int(evidence.failing.sum())) == (self.silent, self.failing)


def _silent(law: Law | None, evidence: Evidence) -> Flags:
    if law is None:
        return np.zeros(evidence.addresses.size, dtype=np.bool_)
    return silent_words(law, evidence.need_words().full, evidence)


def address_bits(evidence: Evidence) -> AddressBits:
    """Sort the address bits by what they do among the failing addresses."""
    cube, over = enclosing_cube(evidence.failures, evidence.varying), sum(1 << n for n in evidence.varying)
    zeros, ones, mixed = cube.fixed & ~cube.value, cube.value, over & ~cube.fixed
    form, parts = evidence.address, list[str]()
    for bits, state in ((ones, "always 1"), (zeros, "always 0"), (mixed, "mixed")):
        if bits:
            parts.append(f"{named_bits('address', bits, form)} {state}")
    said = ", ".join(parts) or "no address bit varies"
    sentence = f"In the {counted(evidence.failures.size, 'failing address')}: {said}."
    return AddressBits(evidence.failures.size, True, sentence, zeros, ones, mixed)


def shared_cube(law: Law | None, evidence: Evidence) -> CubeFinding:
    """Return the condition shared by all failing addresses, with what it predicts."""
    cube = enclosing_cube(evidence.failures, evidence.varying)
    inside = cube.contains(evidence.addresses)
    quiet = int((_silent(law, evidence) & inside).sum())
    failing = evidence.failures.size
    right = int(inside.sum()) - failing - quiet
    sentence = _cube_sentence(cube, failing, quiet, right, evidence)
    return CubeFinding(failing, right == 0, sentence, cube, quiet, right, law)


def _cube_sentence(cube: Cube, failing: int, quiet: int, right: int, evidence: Evidence) -> str:
    total = failing + quiet + right
    shape = region_text(cube, evidence)
    if evidence.addresses.size == 1:
        return "The one address read fails."
    if total == 1:
        return f"The one failure lies {shape}: no other address fails."
    fail = verb(failing, "fails", "fail")
    if not cube.fixed:
        head = (
            f"The failing addresses share no address bit: {failing:,} of the {total:,} addresses read {fail}"
        )
        return head + (f", {quiet:,} more would look right anyway." if quiet else ".")
    if right == 0 and quiet == 0:
        where = f"Failures lie {shape}"
        if shape.startswith("in alternate "):
            where = f"{shape.removeprefix('in alternate ').capitalize()} are alternately right and wrong"
        return f"{where}: all {total:,} addresses of that kind fail and no other."
    start = f"All failures lie {shape}: {failing:,} of the {total:,} addresses there {fail}"
    if right == 0:
        others = "the other one" if quiet == 1 else f"the other {quiet:,}"
        return f"{start}, {others} would read right under this fault too."
    extra = f", {quiet:,} more would read right anyway" if quiet else ""
    are = verb(right, "is", "are")
    return f"{start}{extra}, {right:,} {are} right: the condition alone does not predict failing."


def smallest_block(evidence: Evidence) -> BlockFinding | None:
    """Return the aligned block around the failures, where it is smaller than what was read."""
    low, high = int(evidence.failures[0]), int(evidence.failures[-1])
    size = 1 << (low ^ high).bit_length()
    everything = 1 << (int(evidence.addresses.min()) ^ int(evidence.addresses.max())).bit_length()
    first = low // size * size
    shared = enclosing_cube(evidence.failures, evidence.varying)
    if size >= everything or shared.fixed & size - 1 == 0:
        return None  # the shared condition says it already
    tested = int((evidence.addresses // size * size == first).sum())
    failing = evidence.failures.size
    text = block_text(first, size - 1, evidence)
    sentence = (
        f"All failures lie in the block {text}: {failing:,} of {counted(tested, 'word')} read there "
        f"{verb(failing, 'fails', 'fail')}."
    )
    return BlockFinding(failing, True, sentence, first, size, tested)


def runs_of_failures(evidence: Evidence) -> RunsFinding | None:
    """Return the unbroken runs of failing addresses, if they are few and not all single words."""
    order = np.argsort(evidence.addresses, kind="stable")
    edges = np.diff(np.concatenate(([0], evidence.failing[order].astype(np.int8), [0])))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    few = starts.size <= MOST_RUNS and evidence.failures.size >= 2 * starts.size
    if not few or evidence.failing.all():
        return None
    at = evidence.addresses[order]
    runs = tuple((int(at[a]), int(at[b])) for a, b in zip(starts, ends, strict=True))
    tag = evidence.address.tagged
    named = ", ".join(f"{tag(a)} to {tag(b)}" if a != b else tag(a) for a, b in runs)
    what = "one unbroken run" if len(runs) == 1 else f"{len(runs)} unbroken runs"
    return RunsFinding(evidence.failures.size, True, f"The failing addresses form {what}: {named}.", runs)


def product_of_parts(law: Law | None, evidence: Evidence) -> ProductFinding | None:
    """Return the split of the address into two parts of which all combinations fail, if there is one."""
    ok = evidence.failing | _silent(law, evidence)
    best: tuple[int, Addresses, Addresses] | None = None
    for split in range(1, evidence.address.bits):
        lows, highs = np.unique(evidence.failures & (1 << split) - 1), np.unique(evidence.failures >> split)
        cost = lows.size + highs.size
        if lows.size * highs.size > int(ok.sum()) or 3 * cost > 2 * evidence.failures.size:
            continue
        whole = bool(ok[_inside(evidence.addresses, split, lows, highs)].all())
        if whole and (best is None or cost < best[1].size + best[2].size):
            best = (split, lows, highs) if _telling(split, lows, highs, evidence) else best
    return None if best is None else _product_finding(law, *best, evidence)


def _telling(split: int, lows: Addresses, highs: Addresses, evidence: Evidence) -> bool:
    """Whether both parts leave something out."""
    every_low = np.unique(evidence.addresses & (1 << split) - 1).size
    every_high = np.unique(evidence.addresses >> split).size
    return lows.size < every_low and highs.size < every_high


def _inside(addresses: Addresses, split: int, lows: Addresses, highs: Addresses) -> Flags:
    inside: Flags = np.isin(addresses & (1 << split) - 1, lows) & np.isin(addresses >> split, highs)
    return inside


def _product_finding(
    law: Law | None, split: int, lows: Addresses, highs: Addresses, evidence: Evidence
) -> ProductFinding:
    inside = _inside(evidence.addresses, split, lows, highs)
    silent = int((inside & ~evidence.failing).sum())
    name = evidence.address.label
    top = name(evidence.address.bits - 1)
    low_text, high_text = _some(lows, evidence), _some(highs, evidence)
    sentence = (
        f"The failing set is X times Y: {low_text} of the low part (bits {name(split - 1)} to {name(0)}) "
        f"with {high_text} of the high part (bits {top} to {name(split)}); every combination fails"
        f"{f' or is silent ({silent:,})' if silent else ''}."
    )
    low_values, high_values = tuple(map(int, lows)), tuple(map(int, highs))
    return ProductFinding(evidence.failures.size, True, sentence, split, low_values, high_values, silent, law)


def _some(values: Addresses, evidence: Evidence) -> str:
    shown = ", ".join(evidence.address.tagged(int(v)) for v in values[:6])
    more = f", ... ({values.size:,} in all)" if values.size > 6 else ""
    return f"value{'s' if values.size > 1 else ''} {shown}{more}"
