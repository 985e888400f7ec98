"""Figures as SVG elements inside the page: the memory map and the bars of shared probability.

Colours come from classes of the style sheet, so that a figure follows the theme. Each figure has a
title, a description and the id of the table that holds its numbers.
"""

from collections.abc import Iterator, Sequence

from faults.counts import counted
from faults.report.maplayout import Arrow, Layout, Segment, alias_sentences
from faults.report.markup import Markup, el, joined
from faults.report.model import Group, MemoryMap, WordClass, percent, total_words
from faults.report.palette import CLASSES
from faults.report.text import address_text, cells, number_text, plain

_WIDTH = 800
_LEFT = 84
_GRID = 512
_TOP = 26
_LANE = 11
_MAX_LETTERS = 500


def memory_figure(memory: MemoryMap, layout: Layout, name: str, table_id: str) -> Markup:
    """Return the map of one store; ``name`` makes its ids unique, ``table_id`` holds its numbers."""
    row = _row_height(layout.rows)
    grid_end = _TOP + row * layout.rows
    counts = total_words(memory.whole())
    present = [kind for kind in CLASSES if counts[kind]]
    legend_rows = -(-len(present) // 4)
    parts = [
        _title(name, f"Memory map of {memory.store}", _describe(memory)),
        el("defs", joined((_pattern(name, kind) for kind in present), "")),
        *_axis(memory, layout),
        *_labels(memory, layout, row),
        *_fills(layout, row, name),
        *_letters(layout, row),
        *_arrows(layout, row, memory),
        *_legend(present, grid_end + 22, name),
    ]
    return _svg(parts, grid_end + 22 + 24 * legend_rows, name, table_id)


def bars_figure(groups: Sequence[Group], name: str, table_id: str) -> Markup:
    """Return one bar for each group, in order of rank; faults solid, the other explanations dashed."""
    parts = [_title(name, "How the probability is shared", "One bar per group; the table has the numbers.")]
    for index, group in enumerate(groups):
        y = 6 + 26 * index
        width = max(1, group.permille * 400 // 1000)
        style = "bar" if group.kind in ("fault", "pair") else "hollow"
        parts += [
            el("text", str(group.rank), x=4, y=y + 14, class_="strong"),
            el("text", _clipped(group.name, 40), x=28, y=y + 14),
            el("rect", x=316, y=y + 3, width=width, height=14, class_=style),
            el("text", percent(group.permille), x=324 + width, y=y + 14, class_="strong"),
        ]
    base = 6 + 26 * len(groups)
    parts.append(el("path", d=f"M316 4V{base}", class_="line"))
    return _svg(parts, base + 4, name, table_id)


def _svg(parts: Sequence[str], height: int, name: str, table_id: str) -> Markup:
    return el(
        "svg",
        joined(parts),
        viewBox=f"0 0 {_WIDTH} {height}",
        role="img",
        aria_labelledby=f"{name}-title",
        aria_describedby=f"{name}-desc {table_id}",
    )


def _title(name: str, title: str, desc: str) -> Markup:
    return joined((el("title", title, id=f"{name}-title"), el("desc", desc, id=f"{name}-desc")), "")


def _describe(memory: MemoryMap) -> str:
    counts = total_words(memory.whole())
    said = [f"{CLASSES[k].name}: {counted(n, 'word')}" for k, n in counts.items() if n]
    return f"{counted(memory.words, 'word')}. {'; '.join(said)}. {' '.join(alias_sentences(memory))}".strip()


def _row_height(rows: int) -> int:
    return 24 if rows <= 12 else 17 if rows <= 32 else 11


def _cell_width(layout: Layout) -> float:
    return _GRID / layout.across


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _axis(memory: MemoryMap, layout: Layout) -> Iterator[Markup]:
    """Yield the offsets of the quarters of a row, above the grid."""
    for quarter in range(4):
        cell = layout.across * quarter // 4
        if quarter and cell == layout.across * (quarter - 1) // 4:
            continue
        offset = cell * layout.cell_words
        if offset >= layout.row_words:
            continue
        x = _number(_LEFT + cell * _cell_width(layout))
        yield el("path", d=f"M{x} {_TOP - 6}v5", class_="thin")
        yield el("text", f"+{number_text(offset, memory.base)}", x=x, y=_TOP - 10, class_="mono mild")


def _labels(memory: MemoryMap, layout: Layout, row: int) -> Iterator[Markup]:
    every = 1 if row >= 16 else 4
    for index in range(0, layout.rows, every):
        text = address_text(index * layout.row_words, memory.base, memory.words)
        y = _TOP + index * row + row // 2 + 3
        yield el("text", text, x=_LEFT - 8, y=y, text_anchor="end", class_="mono")


def _pattern(name: str, kind: WordClass) -> Markup:
    """Return the fill of one class: its colour with its hatch upon it."""
    hatches = {
        "none": "",
        "slash": "M-2 2L2 -2M0 8L8 0M6 10L10 6",
        "backslash": "M-2 6L2 10M0 0L8 8M6 -2L10 2",
        "levels": "M0 2H8M0 6H8",
        "posts": "M2 0V8M6 0V8",
        "cross": "M0 0L8 8M0 8L8 0",
        "dots": "M2 2h.1M6 6h.1",
    }
    hatch = CLASSES[kind].hatch
    width = "2.4" if hatch == "dots" else ".9"
    return el(
        "pattern",
        el("rect", width=8, height=8, class_=f"f-{kind}"),
        el("path", d=hatches[hatch], class_=f"i-{kind}", stroke_width=width, stroke_linecap="round")
        if hatches[hatch]
        else Markup(""),
        id=f"{name}-{kind}",
        width=8,
        height=8,
        patternUnits="userSpaceOnUse",
    )


def _fills(layout: Layout, row: int, name: str) -> Iterator[Markup]:
    """Yield one path per class: the upper part of a shared cell is the graver class, the lower the next."""
    paths: dict[WordClass, list[str]] = {}
    width = _cell_width(layout)
    for segment in layout.segments:
        x = _number(_LEFT + segment.cell * width)
        w = _number(segment.cells * width)
        y = _TOP + segment.row * row
        height = row - 2
        upper = height if segment.second is None else -(-height * 3 // 5)
        paths.setdefault(segment.kind, []).append(f"M{x} {y}h{w}v{upper}h-{w}z")
        if segment.second is not None:
            low = f"M{x} {y + upper}h{w}v{height - upper}h-{w}z"
            paths.setdefault(segment.second, []).append(low)
    for kind in CLASSES:
        if kind in paths:
            yield el("path", d="".join(paths[kind]), fill=f"url(#{name}-{kind})")
            yield _outline("".join(paths[kind]), kind)


def _outline(path: str, kind: WordClass) -> Markup:
    if kind == "same" or len(path) > 40_000:
        return Markup("")
    return el("path", d=path, class_="thin")


def _letters(layout: Layout, row: int) -> Iterator[Markup]:
    width = _cell_width(layout)
    every = 1 if row >= 16 else 4
    wide = [s for s in layout.segments if s.kind != "same" and s.cells * width >= 15 and s.row % every == 0]
    for segment in wide[:_MAX_LETTERS]:
        upper = row - 2 if segment.second is None else (row - 2) * 3 // 5
        if upper >= 11 or (upper >= 9 and segment.second is None):
            middle = _LEFT + (segment.cell + segment.cells / 2) * width
            yield _letter(segment, middle, _TOP + segment.row * row + upper / 2)


def _letter(segment: Segment, x: float, y: float) -> Markup:
    return joined(
        (
            el("rect", x=_number(x - 6), y=_number(y - 5.5), width=12, height=11, class_=f"f-{segment.kind}"),
            el(
                "text",
                CLASSES[segment.kind].symbol,
                x=_number(x),
                y=_number(y + 4),
                text_anchor="middle",
                class_=f"d-{segment.kind} mono strong",
            ),
        ),
        "",
    )


def _arrows(layout: Layout, row: int, memory: MemoryMap) -> Iterator[Markup]:
    lanes = max((arrow.lane for arrow in layout.arrows), default=0) + 1
    for arrow in layout.arrows:
        yield _arrow(arrow, row, memory, lanes)


def _arrow(arrow: Arrow, row: int, memory: MemoryMap, lanes: int) -> Markup:
    """Return one arrow in its lane: a dot where the words come from, a tip where they are shown."""
    edge = _LEFT + _GRID + 5
    start = _TOP + (arrow.from_top + arrow.from_end + 1) * row // 2 - 1
    end = _TOP + (arrow.to_top + arrow.to_end + 1) * row // 2 - 1
    lane = edge + 12 + arrow.lane * _LANE
    text = f"shows {address_text(arrow.source, memory.base, memory.words)}"
    return joined(
        (
            _bracket(edge, arrow.from_top, arrow.from_end, row),
            _bracket(edge, arrow.to_top, arrow.to_end, row),
            el("circle", cx=edge + 3, cy=start, r="2.6", class_="tip"),
            el("path", d=f"M{edge + 3} {start}H{lane}V{end}H{edge + 6}", class_="line"),
            el("path", d=f"M{edge + 1} {end}l7 -3.5v7z", class_="tip"),
            el("text", text, x=edge + 12 + lanes * _LANE, y=end + 4, class_="mono mild"),
        ),
        "",
    )


def _bracket(x: int, top: int, end: int, row: int) -> Markup:
    if top == end:
        return Markup("")
    return el("path", d=f"M{x - 3} {_TOP + top * row}h3V{_TOP + (end + 1) * row - 2}h-3", class_="line")


def _legend(present: Sequence[WordClass], y: int, name: str) -> Iterator[Markup]:
    for index, kind in enumerate(present):
        x = _LEFT + 176 * (index % 4)
        top = y + 24 * (index // 4)
        style = CLASSES[kind]
        yield el("rect", x=x, y=top, width=32, height=15, fill=f"url(#{name}-{kind})")
        yield el("rect", x=x, y=top, width=32, height=15, class_="thin")
        yield _letter(Segment(0, 0, 1, kind, None), x + 16, top + 7.5)
        yield el("text", style.name, x=x + 40, y=top + 12)


def _clipped(text: str, width: int) -> str:
    """Shorten a label of a figure; the table beside it has it whole."""
    text = plain(text)
    if cells(text) <= width:
        return text
    while cells(text) > width - 1:
        text = text[:-1]
    return text.rstrip() + "…"
