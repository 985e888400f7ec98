"""What may be wrong with the *reading* of a file, found by comparing it with the image that was expected.

Every hypothesis (bytes exchanged, words moved by n addresses, digits taken in the wrong base, ...) says
which word should have been read at which address. It is judged by the words it explains, and a word counts
for its rarity: if the expected value v fills the share p of the expected image, then reading v by chance has
about the probability p, so a word that agrees is worth -log2(p) bits of evidence; of a word known in part,
only that part of them. An image of zeros proves nothing.

A hypothesis becomes a suspicion when all of these hold:

* of the evidence that it could find with the bits it knows, at least ``AGREEMENT`` (90 %) is found: real
  faults, which spoil some words, do not hide it;
* that is at least half of the expected image's evidence (``COVER``);
* as the file was read, at most ``BEFORE`` (50 %) is found: a good reading raises no suspicion;
* it gains at least ``EVIDENCE`` (32 bits) over the reading as it stands: by chance that happens about once in
  2**32 trials, and fewer than 2**10 hypotheses are tried;
* no other hypothesis gains so much that this one, at less than ``AGREEMENT`` of it, is only its shadow.

Lost words: everything after one point is moved. All of the expected words, except those lost, are to be found
(90 %) with ``EVIDENCE`` bits on *each* side of the point; so that a mirrored memory, which repeats words *in
place of* others, is not taken for a badly read file. Words lost at two points are not recognised.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from itertools import accumulate, permutations
from math import log2
from typing import Final, Literal

from attrs import define, frozen

from emu.image import MemoryImage
from emu.words import WordFormat, mask

Kind = Literal[
    "byte-swapped", "bits-shifted", "bits-reversed", "complemented", "extra-bits", "shifted", "wrong-base",
    "wrong-word-size", "lost-words",
]  # fmt: skip
Words = dict[int, tuple[int, int]]

AGREEMENT: Final = 0.9
BEFORE: Final = 0.5
COVER: Final = 0.5
EVIDENCE: Final = 32.0
MOST_SHIFTS: Final = 8


@frozen
class Suspicion:
    """A hypothesis about the reading, what it says, and the evidence that it gains, in bits."""

    kind: Kind
    sentence: str
    bits: float


@define
class _Judge:
    """The expected image with the evidence that each of its words is worth."""

    expected: Words
    worth: dict[int, float]
    total: float
    bits: int
    read_evidence: float = 0.0

    @classmethod
    def of(cls, expected: MemoryImage, read: MemoryImage) -> "_Judge":
        counts = Counter(value for value, _ in expected.cells.values())
        size = len(expected.cells)
        worth = {a: -log2(counts[v] / size) if k else 0.0 for a, (v, k) in expected.cells.items()}
        judge = cls(dict(expected.cells), worth, sum(worth.values()), expected.bits)
        judge.read_evidence = judge.evidence(dict(read.cells)) if read.bits == expected.bits else 0.0
        return judge

    def score(self, address: int, value: int, known: int) -> float:
        """Return the bits of evidence that a word agrees with what was expected, unknown bits aside."""
        want, sure = self.expected.get(address, (0, 0))
        both = known & sure
        return 0.0 if (value ^ want) & both else self.possible(address, both)

    def possible(self, address: int, known: int) -> float:
        """Return the bits of evidence that a word could give with these bits known."""
        return self.worth.get(address, 0.0) * known.bit_count() / self.bits

    def evidence(self, words: Words) -> float:
        """Return the bits of evidence that words agree with the expected image."""
        return sum(self.score(address, *cell) for address, cell in words.items())

    def gain(self, words: Words) -> float | None:
        """Return what a hypothesis gains over the reading, or None if it is no suspicion."""
        found = self.evidence(words)
        possible = sum(self.possible(address, known) for address, (_, known) in words.items())
        gained = found - self.read_evidence
        enough = found >= AGREEMENT * possible and found >= COVER * self.total and gained >= EVIDENCE
        return gained if enough else None


def suspect(read: MemoryImage, expected: MemoryImage, base: int = 8) -> tuple[Suspicion, ...]:
    """Return what may be wrong with how ``read`` was read, strongest evidence first; () if nothing shows.

    ``expected`` is what the file should hold, all of it; ``base`` (8 or 16) is that of addresses in
    sentences. Sizes of words may differ. Every hypothesis costs one walk over the words.
    """
    judge = _Judge.of(expected, read)
    found = [
        Suspicion(kind, sentence, round(gained, 1))
        for kind, sentence, words in _hypotheses(read, expected, judge)
        if (gained := judge.gain(words)) is not None
    ]
    best = max((s.bits for s in found), default=0.0)
    found = [s for s in found if s.bits >= AGREEMENT * best]
    if read.bits == expected.bits:
        found += _lost_words(read, expected, judge, 16 if base == 16 else 8)
    return tuple(sorted(set(found), key=lambda s: (-s.bits, s.sentence)))


def _tagged(address: int, base: Literal[8, 16]) -> str:
    return WordFormat(max(address.bit_length(), 1), base=base).tagged(address)


def _hypotheses(read: MemoryImage, expected: MemoryImage, judge: _Judge) -> Iterator[tuple[Kind, str, Words]]:
    if not judge.total or judge.read_evidence > BEFORE * judge.total:
        return
    yield from _moved(read, expected)
    if read.bits == expected.bits:
        yield from _same_size(read)
        yield from _wrong_base(read, expected)
    else:
        yield from _other_size(read, expected)


def _mapped(read: MemoryImage, change: Callable[[int], int]) -> Words:
    """Return the words with value and known bits both changed by a permutation of bits."""
    return {a: (change(v) & change(k), change(k)) for a, (v, k) in read.cells.items()}


def _moved(read: MemoryImage, expected: MemoryImage) -> Iterator[tuple[Kind, str, Words]]:
    if read.bits != expected.bits:
        return
    for offset in _likely_offsets(read, expected):
        words = {a - offset: cell for a, cell in read.cells.items()}
        further = "after" if offset > 0 else "before"
        yield "shifted", f"every word stands {abs(offset)} addresses {further} its own", words


def _likely_offsets(read: MemoryImage, expected: MemoryImage) -> list[int]:
    """Return the most frequent distances between equal words that the expected image has only once."""
    full = mask(read.bits)
    counts = Counter(value for value, _ in expected.cells.values())
    home = {v: a for a, (v, k) in expected.cells.items() if counts[v] == 1 and k == full}
    votes = Counter(a - home[v] for a, (v, k) in read.cells.items() if k == full and v in home)
    del votes[0]
    return [offset for offset, n in votes.most_common(MOST_SHIFTS) if n > 1]


def _same_size(read: MemoryImage) -> Iterator[tuple[Kind, str, Words]]:
    bits = read.bits
    full = mask(bits)
    if bits % 8 == 0 and bits > 8:
        yield (
            "byte-swapped",
            "the bytes of every word stand in reverse order",
            _mapped(read, _byte_swap(bits)),
        )
    if bits % 16 == 0 and bits > 16:
        yield (
            "byte-swapped",
            "the bytes of every pair stand in reverse order",
            _mapped(read, _pair_swap(bits)),
        )
    yield "bits-reversed", "the bits of every word stand in reverse order", _mapped(read, _bit_reverse(bits))
    yield (
        "complemented",
        "every bit is inverted",
        {a: (v ^ k, k) for a, (v, k) in read.cells.items()},
    )
    for places in range(1, min(bits - 3, 17)):
        top = full >> places
        up = {a: (v >> places, k >> places) for a, (v, k) in read.cells.items()}
        down = {a: ((v & top) << places, (k & top) << places) for a, (v, k) in read.cells.items()}
        spoken = f"{places} place{'s' if places > 1 else ''}"
        yield "bits-shifted", f"every word stands {spoken} too far up in its bits", up
        yield "bits-shifted", f"every word stands {spoken} too far down in its bits", down


def _byte_swap(bits: int) -> Callable[[int], int]:
    size = bits // 8
    return lambda v: int.from_bytes(v.to_bytes(size, "big"), "little")


def _pair_swap(bits: int) -> Callable[[int], int]:
    low = sum(0xFF << n for n in range(0, bits, 16))
    return lambda v: (v & low) << 8 | v >> 8 & low


def _bit_reverse(bits: int) -> Callable[[int], int]:
    return lambda v: int(format(v, f"0{bits}b")[::-1], 2)


def _wrong_base(read: MemoryImage, expected: MemoryImage) -> Iterator[tuple[Kind, str, Words]]:
    """Take the digits as printed in one base for those of another; addresses in the same way, and not."""
    names = {8: "octal", 10: "decimal", 16: "hexadecimal"}
    for given, meant in permutations(names, 2):
        values = {
            a: (_reread(v, given, meant), k) for a, (v, k) in read.cells.items() if k == mask(read.bits)
        }
        words = {a: (v, k) for a, (v, k) in values.items() if v is not None and v <= mask(expected.bits)}
        sentence = f"the digits were read as {names[given]} but are {names[meant]}"
        yield "wrong-base", f"{sentence} (addresses were right)", words
        turned = ((_reread(a, given, meant), cell) for a, cell in words.items())
        yield "wrong-base", sentence, {a: cell for a, cell in turned if a is not None}


def _reread(value: int, given: int, meant: int) -> int | None:
    """Return what the digits of ``value`` in base ``given`` spell in base ``meant``, or None."""
    digits = format(value, {8: "o", 10: "d", 16: "x"}[given])
    try:
        return int(digits, meant)
    except ValueError:
        return None


def _other_size(read: MemoryImage, expected: MemoryImage) -> Iterator[tuple[Kind, str, Words]]:
    extra = read.bits - expected.bits
    if extra > 0:
        full = mask(expected.bits)
        low = {a: (v & full, k & full) for a, (v, k) in read.cells.items()}
        high = {a: (v >> extra, k >> extra) for a, (v, k) in read.cells.items()}
        spoken = f"{extra} bit{'s' if extra > 1 else ''}"
        yield "extra-bits", f"every word has {spoken} above it that do not belong to it", low
        yield "extra-bits", f"every word has {spoken} below it that do not belong to it", high
    was, should = -(-read.bits // 8), -(-expected.bits // 8)
    if was == should:
        return
    for laid in _ORDERS:
        stream = _byte_stream(read, was, laid)
        for order, name in _ORDERS.items():
            sentence = (
                f"the file has words of {expected.bits} bits, {name} byte first, not of {read.bits} bits"
            )
            yield "wrong-word-size", sentence, _regrouped(stream, expected.bits, should, order)


_ORDERS: Final[dict[Literal["big", "little"], str]] = {"big": "high", "little": "low"}


def _byte_stream(image: MemoryImage, size: int, order: Literal["big", "little"]) -> Words:
    """Return the file's bytes by byte address, as far as they are known."""
    stream: Words = {}
    for address, cell in image.cells.items():
        value, known = (part.to_bytes(size, order) for part in cell)
        for n in range(size):
            stream[address * size + n] = value[n], known[n]
    return stream


def _regrouped(stream: Words, bits: int, size: int, order: Literal["big", "little"]) -> Words:
    words: Words = {}
    for address in {at // size for at in stream}:
        cells = [stream.get(address * size + n, (0, 0)) for n in range(size)]
        value, known = (int.from_bytes(bytes(part), order) for part in zip(*cells, strict=True))
        if value <= mask(bits):
            words[address] = value, known & mask(bits)
    return words


def _lost_words(
    read: MemoryImage, expected: MemoryImage, judge: _Judge, base: Literal[8, 16]
) -> Iterator[Suspicion]:
    yield from _absent(read, judge, base)
    for offset in _likely_offsets(read, expected):
        found = _split(read, judge, offset)
        if found:
            start, gained = found
            lost = f"{abs(offset)} word{'s' if abs(offset) > 1 else ''}"
            what = "are missing" if offset < 0 else "too many stand"
            sentence = (
                f"from about {_tagged(start, base)} on, every word is moved: {lost} {what} just before it"
            )
            yield Suspicion("lost-words", sentence, round(gained, 1))


def _absent(read: MemoryImage, judge: _Judge, base: Literal[8, 16]) -> Iterator[Suspicion]:
    """Tell of expected addresses that are not in a file which otherwise agrees."""
    absent = [a for a in judge.expected if a not in read.cells]
    present = judge.total - sum(judge.worth[a] for a in absent)
    if absent and judge.read_evidence >= max(AGREEMENT * present, EVIDENCE):
        ranges = MemoryImage.certain(1, dict.fromkeys(absent, 0)).ranges()
        spoken = [
            _tagged(a, base) if a == b else f"{_tagged(a, base)} to {_tagged(b, base)}" for a, b in ranges
        ]
        listed = ", ".join(spoken[:3]) + (f" and {len(spoken) - 3} more places" if len(spoken) > 3 else "")
        sentence = f"the file agrees but lacks {len(absent)} of its words: {listed}"
        yield Suspicion("lost-words", sentence, round(judge.read_evidence, 1))


def _split(read: MemoryImage, judge: _Judge, offset: int) -> tuple[int, float] | None:
    """Return the address from which words stand ``offset`` further and the evidence, or None."""
    addresses = list(read.cells)
    stay = _summed(judge.score(a, *read.cells[a]) for a in addresses)
    move = _summed(judge.score(a - offset, *read.cells[a]) for a in addresses)
    best = max(range(len(addresses)), key=lambda n: stay[n] - move[n])
    start = addresses[best]
    before, after = stay[best], move[-1] - move[best]
    gained = after - (stay[-1] - stay[best])
    # words that stand twice count once, and words that are gone cannot be found
    new = move[-1] - move[bisect_left(addresses, start + max(offset, 0))]
    gone = sum(worth for a, worth in judge.worth.items() if start <= a < start - offset)
    if min(before, gained) < EVIDENCE or before + new < AGREEMENT * (judge.total - gone):
        return None
    return start, gained


def _summed(values: Iterable[float]) -> list[float]:
    return list(accumulate(values, initial=0.0))
