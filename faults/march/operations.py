"""From a test to the operations a memory sees, and from those to what a few chosen cells see.

A *stream* is the whole list of operations on a memory, one at a time. :class:`Streams` narrows it to the
cells a fault is about: healthy cells elsewhere always pass a consistent test and touch nothing, so
nothing is lost but two facts that are kept in each :class:`Step`: whether it directly follows the step
before, and what was last read elsewhere (the sense latch).
"""

from collections.abc import Callable, Iterator, Sequence
from itertools import product
from typing import Literal

from attrs import define, field, frozen

from faults.march.notation import Delay, MarchTest, Order

Either = Literal["up", "down", "worst"]


@frozen
class Operation:
    """One operation of a whole memory: write ``data`` to ``address``, or read and expect ``data``."""

    address: int
    write: bool
    data: int


Stream = tuple[Operation | None, ...]
"""Operations in time order; ``None`` is a pause."""


@frozen
class OperationTest:
    """A test that is not a march (it jumps between addresses): ``generate(cells)`` yields its operations."""

    name: str
    generate: Callable[[int], Iterator[Operation]] = field(eq=False)


Test = MarchTest | OperationTest


def expand(test: Test, cells: int, either: Sequence[Order] = ()) -> Stream:
    """Return the operations of ``test`` on ``cells`` one-bit cells.

    ``either`` gives the order taken by each either-way element in turn; missing ones go up.
    """
    if isinstance(test, OperationTest):
        return tuple(test.generate(cells))
    return tuple(_march(test, cells, iter(either)))


def _march(test: MarchTest, cells: int, either: Iterator[Order]) -> Iterator[Operation | None]:
    for element in test.elements:
        if isinstance(element, Delay):
            yield None
            continue
        order = element.order
        if order is Order.EITHER:
            order = next(either, Order.UP)
        for address in range(cells) if order is Order.UP else reversed(range(cells)):
            yield from (Operation(address, op.write, op.data) for op in element.ops)


def streams(test: Test, cells: int, either: Either = "up") -> tuple[Stream, ...]:
    """Return the stream of ``test``, or for ``worst`` one for every choice of the either-way elements."""
    count = test.either_count if isinstance(test, MarchTest) else 0
    ways = {"up": [Order.UP], "down": [Order.DOWN], "worst": [Order.UP, Order.DOWN]}[either]
    return tuple(expand(test, cells, choice) for choice in product(ways, repeat=count))


def with_backgrounds(stream: Stream, backgrounds: Sequence[int], bits: int) -> Stream:
    """Return the whole stream repeated for words of ``bits`` bits, once for each data background.

    Data 0 becomes the background and data 1 its complement.
    """
    ones = (1 << bits) - 1
    return tuple(
        op and Operation(op.address, op.write, background ^ (ones if op.data else 0))
        for background in backgrounds
        for op in stream
    )


@frozen
class Step:
    """One operation as a few chosen cells see it.

    ``data`` holds one ``(slot, bit)`` per chosen cell that the operation touches, where ``slot`` numbers
    the chosen cells. ``adjacent``: the operation directly before, in the whole memory, was the step
    before. ``latch``: the bit last read from another address since the step before, or -1.
    """

    write: bool
    data: tuple[tuple[int, int], ...]
    adjacent: bool = False
    latch: int = -1


Steps = tuple[Step, ...]


@define
class Streams:
    """Streams of one test, narrowed on demand to the cells of a fault.

    ``bits`` is the word width; cell number = address x bits + bit. Equal step lists get equal numbers, so
    that a caller can remember results by number. ``march`` says that the streams come from a march test
    on one-bit cells: then, history apart, what cells see depends only on their relative order.
    """

    streams: tuple[Stream, ...]
    bits: int = 1
    march: bool = False
    steps: list[Steps] = field(factory=list)
    _indexes: list["_Index"] = field(init=False)
    _numbers: dict[Steps, int] = field(factory=dict)
    _known: dict[tuple[tuple[int, ...], bool], tuple[int, ...]] = field(factory=dict)

    def __attrs_post_init__(self) -> None:
        self._indexes = [_index(s, self.bits) for s in self.streams]

    def numbers(self, cells: tuple[int, ...], history: bool) -> tuple[int, ...]:
        """Return the numbers (into ``steps``) of the distinct step lists that ``cells`` see.

        ``history`` False leaves ``adjacent`` and ``latch`` out, which makes more lists equal.
        """
        if self.march and not history:
            cells = tuple(sorted(cells).index(cell) for cell in cells)
        key = (cells, history)
        if key not in self._known:
            found = {self._number(index.narrow(cells, history)) for index in self._indexes}
            self._known[key] = tuple(sorted(found))
        return self._known[key]

    def _number(self, steps: Steps) -> int:
        number = self._numbers.setdefault(steps, len(self.steps))
        if number == len(self.steps):
            self.steps.append(steps)
        return number


@frozen
class _Index:
    """A stream with the positions of each address, and the position of the last read before each."""

    stream: Stream
    bits: int
    positions: dict[int, list[int]]
    last_read: list[int]

    def narrow(self, cells: tuple[int, ...], history: bool) -> Steps:
        slots: dict[int, list[tuple[int, int]]] = {}
        for slot, cell in enumerate(cells):
            slots.setdefault(cell // self.bits, []).append((slot, cell % self.bits))
        wanted = sorted(at for address in slots for at in self.positions.get(address, ()))
        previous = [-1, *wanted]
        return tuple(
            self._step(at, before, slots, history) for before, at in zip(previous, wanted, strict=False)
        )

    def _step(self, at: int, before: int, slots: dict[int, list[tuple[int, int]]], history: bool) -> Step:
        op = self.stream[at]
        assert op is not None
        data = tuple((slot, op.data >> bit & 1) for slot, bit in slots[op.address])
        if not history:
            return Step(op.write, data)
        read = self.last_read[at]
        elsewhere = self.stream[read] if read > before else None
        latch = elsewhere.data if elsewhere else -1
        return Step(op.write, data, before >= 0 and before == at - 1, latch)


def _index(stream: Stream, bits: int) -> _Index:
    positions: dict[int, list[int]] = {}
    last_read: list[int] = []
    read = -1
    for at, op in enumerate(stream):
        last_read.append(read)
        if op:
            positions.setdefault(op.address, []).append(at)
            read = read if op.write else at
    return _Index(stream, bits, positions, last_read)
