"""From runs of words to a picture of at most 64 rows, with alias arrows; no drawing here."""

from collections import Counter
from collections.abc import Iterator

from attrs import frozen

from faults.counts import counted
from faults.report.model import MemoryMap, Run, WordClass
from faults.report.palette import CLASSES
from faults.report.text import address_text, number_text

MAX_ROWS = 64
MAX_ARROWS = 32
MAX_LANES = 6

Pair = tuple[WordClass, WordClass | None]


@frozen
class Segment:
    """``cells`` neighbouring cells of one row that look alike; ``second`` is a lesser class in them."""

    row: int
    cell: int
    cells: int
    kind: WordClass
    second: WordClass | None


@frozen
class Arrow:
    """A region that shows another one: rows ``from_top..from_end`` (source) to ``to_top..to_end`` (copy)."""

    from_top: int
    from_end: int
    to_top: int
    to_end: int
    lane: int
    source: int


@frozen
class Layout:
    """The picture of one map: ``rows`` by ``across`` cells of ``cell_words`` words each."""

    rows: int
    across: int
    row_words: int
    cell_words: int
    segments: tuple[Segment, ...]
    arrows: tuple[Arrow, ...]
    arrows_left_out: int


def lay_out(memory: MemoryMap, across: int = 64, rows: int = MAX_ROWS) -> Layout:
    """Choose the scale of the picture and fill its cells: the gravest class of each, and the next."""
    row_words = memory.columns
    while -(-memory.words // row_words) > rows:
        row_words *= 2
    row_words = min(row_words, memory.words)
    cell_words = 1
    while -(-row_words // cell_words) > across:
        cell_words *= 2
    cells = _fill(memory, row_words, cell_words)
    arrows, left_out = _arrows(memory, row_words)
    return Layout(
        rows=-(-memory.words // row_words),
        across=-(-row_words // cell_words),
        row_words=row_words,
        cell_words=cell_words,
        segments=tuple(_segments(cells)),
        arrows=arrows,
        arrows_left_out=left_out,
    )


def _fill(memory: MemoryMap, row_words: int, cell_words: int) -> dict[tuple[int, int], Pair]:
    """Return the two gravest classes of each cell, by (row, cell), in order of address."""
    cells: dict[tuple[int, int], Pair] = {}
    for run in memory.whole():
        at = run.first
        while at <= run.last:
            row, offset = divmod(at, row_words)
            key = (row, offset // cell_words)
            cells[key] = _graver(cells.get(key), run.kind)
            at = min(row * row_words + (key[1] + 1) * cell_words, (row + 1) * row_words)
    return cells


def _graver(pair: Pair | None, kind: WordClass) -> Pair:
    if pair is None:
        return (kind, None)
    known = {kind, pair[0], *([pair[1]] if pair[1] else [])}
    first, *others = sorted(known, key=lambda k: -CLASSES[k].gravity)
    return (first, others[0] if others else None)


def _segments(cells: dict[tuple[int, int], Pair]) -> Iterator[Segment]:
    start: tuple[int, int] | None = None
    length = 0
    for key, pair in cells.items():
        if start is not None and key == (start[0], start[1] + length) and pair == cells[start]:
            length += 1
            continue
        if start is not None:
            yield Segment(*start, length, *cells[start])
        start, length = key, 1
    if start is not None:
        yield Segment(*start, length, *cells[start])


def _arrows(memory: MemoryMap, row_words: int) -> tuple[tuple[Arrow, ...], int]:
    """Return arrows between rows, shortest first into the inner lanes, and how many were left out."""
    spans: dict[tuple[int, int, int, int], int] = {}
    for first, last, source in _regions(memory, row_words // 4):
        end = source + last - first
        span = (source // row_words, end // row_words, first // row_words, last // row_words)
        if span[:2] != span[2:]:
            spans.setdefault(span, source)
    ordered = sorted(spans.items(), key=lambda item: (_reach(item[0])[1] - _reach(item[0])[0], item[0]))
    taken: list[list[tuple[int, int]]] = [[] for _ in range(MAX_LANES)]
    out: list[Arrow] = []
    for span, source in ordered[:MAX_ARROWS]:
        low, high = _reach(span)
        for lane, held in enumerate(taken):
            if all(high < other_low or low > other_high for other_low, other_high in held):
                held.append((low, high))
                out.append(Arrow(*span, lane, source))
                break
    return tuple(out), len(ordered) - len(out)


def _regions(memory: MemoryMap, gap: int) -> list[tuple[int, int, int]]:
    """Return (first, last, source) of regions that show another one; runs of one distance that lie within
    ``gap`` words of each other are one region, for words between them that agree by chance split none.
    """  # noqa: D205
    found: list[tuple[int, int, int]] = []
    for run in memory.runs:
        if run.kind == "copy" and run.source is not None:
            first, last, source = found[-1] if found else (0, -1, 0)
            alike = bool(found) and run.source - run.first == source - first
            if alike and 0 < run.first - last - 1 <= gap and run.last - first < abs(source - first):
                found[-1] = (first, run.last, source)
            else:
                found.append((run.first, run.last, run.source))
    return found


def _reach(span: tuple[int, int, int, int]) -> tuple[int, int]:
    return min(span[0], span[2]), max(span[1], span[3])


def alias_sentences(memory: MemoryMap) -> tuple[str, ...]:
    """Say, by distance, which words read as copies: one sentence for each of the commonest distances."""
    regions: Counter[int] = Counter()
    words: Counter[int] = Counter()
    for run in memory.runs:
        if run.kind == "copy" and run.source is not None:
            regions[run.source - run.first] += 1
            words[run.source - run.first] += run.count
    out = []
    for distance, count in sorted(words.items(), key=lambda item: (-item[1], item[0]))[:4]:
        side = "lower" if distance < 0 else "higher"
        which = f"{counted(count, 'word')} in {counted(regions[distance], 'region')} read as the words"
        which = "1 word reads as the word" if count == 1 else which
        out.append(f"{which} {_distance(abs(distance), memory.base)} {side}.")
    rest = len(words) - len(out)
    if rest > 0:
        occur = "occurs" if rest == 1 else "occur"
        out.append(f"{counted(rest, 'further distance')} {occur}; see the table of runs.")
    return tuple(out)


def _distance(words: int, base: int) -> str:
    return f"{words:,}" if base == 10 else f"{number_text(words, base)} ({words:,})"


def describe_run(run: Run, memory: MemoryMap) -> tuple[str, str, str, str, str]:
    """Return one row of the table of runs: first, last, words, class, detail."""
    style = CLASSES[run.kind]
    details = []
    if run.source is not None:
        first = address_text(run.source, memory.base, memory.words)
        last = address_text(run.source + run.count - 1, memory.base, memory.words)
        details.append(f"shows {first} to {last}" if run.count > 1 else f"shows {first}")
    if run.bits:
        details.append(f"bits {run.bits}")
    if run.note:
        details.append(run.note)
    return (
        address_text(run.first, memory.base, memory.words),
        address_text(run.last, memory.base, memory.words),
        f"{run.count:,}",
        f"{style.symbol} {style.name}",
        "; ".join(details),
    )


def block_counts(memory: MemoryMap, block: int) -> list[tuple[int, Counter[WordClass]]]:
    """Return, for each block of words, its first address and how many words of each class it holds."""
    blocks: list[tuple[int, Counter[WordClass]]] = [(at, Counter()) for at in range(0, memory.words, block)]
    for run in memory.whole():
        at = run.first
        while at <= run.last:
            end = min(run.last + 1, (at // block + 1) * block)
            blocks[at // block][1][run.kind] += end - at
            at = end
    return blocks
