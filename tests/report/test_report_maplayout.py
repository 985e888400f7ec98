"""The picture of a map against a slow count, word by word."""

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from faults.report.maplayout import MAX_LANES, alias_sentences, block_counts, lay_out
from faults.report.model import MemoryMap, Run, runs_of, total_words
from faults.report.palette import CLASSES

KIND = st.sampled_from(sorted(CLASSES))
STRETCH = st.tuples(KIND, st.integers(1, 40))


def memory_of(stretches: list, columns: int) -> tuple[MemoryMap, list[str]]:
    words = [kind for kind, count in stretches for _ in range(count)]
    return MemoryMap("s", len(words), columns, runs_of(words)), words


@given(st.lists(STRETCH, min_size=1, max_size=12), st.integers(1, 50), st.integers(1, 16), st.integers(1, 8))
def test_each_cell_shows_the_gravest_class_it_holds(
    stretches: list, columns: int, across: int, rows: int
) -> None:
    memory, words = memory_of(stretches, columns)
    layout = lay_out(memory, across, rows)
    assert layout.rows <= rows
    assert layout.across <= across
    shown = {(s.row, s.cell + i): (s.kind, s.second) for s in layout.segments for i in range(s.cells)}
    expected: dict[tuple[int, int], set[str]] = {}
    for address, kind in enumerate(words):
        cell = (address // layout.row_words, address % layout.row_words // layout.cell_words)
        expected.setdefault(cell, set()).add(kind)
    assert shown.keys() == expected.keys()
    for cell, kinds in expected.items():
        ordered = sorted(kinds, key=lambda k: CLASSES[k].gravity, reverse=True)
        assert shown[cell] == (ordered[0], ordered[1] if len(ordered) > 1 else None)


@given(st.lists(STRETCH, min_size=1, max_size=12), st.integers(1, 64))
def test_blocks_count_every_word_once(stretches: list, block: int) -> None:
    memory, words = memory_of(stretches, 8)
    for first, counts in block_counts(memory, block):
        assert {k: n for k, n in counts.items() if n} == Counter(words[first : first + block])
    assert sum(sum(c.values()) for _, c in block_counts(memory, block)) == len(words)
    assert {k: n for k, n in total_words(memory.runs).items() if n} == Counter(words)


@given(st.lists(st.integers(0, 31), min_size=32, max_size=32))
def test_arrows_in_one_lane_never_touch(sources: list[int]) -> None:
    runs = tuple(Run(row * 8, 8, "copy", source * 8) for row, source in enumerate(sources))
    layout = lay_out(MemoryMap("s", 256, 8, runs))
    wanted = sum(1 for row, source in enumerate(sources) if row != source)
    assert len(layout.arrows) + layout.arrows_left_out == wanted
    lanes: dict[int, set[int]] = {}
    for arrow in layout.arrows:
        assert 0 <= arrow.lane < MAX_LANES
        assert sources[arrow.to_top] == arrow.from_top == arrow.source // 8
        low, high = sorted((arrow.from_top, arrow.to_top))
        taken = lanes.setdefault(arrow.lane, set())
        assert taken.isdisjoint(range(low, high + 1))
        taken.update(range(low, high + 1))


def test_a_stuck_address_bit_reads_as_the_regions_below() -> None:
    """Common practice, no source: bit 10 stuck gives groups of 1,024 words, alternately right and wrong."""
    kinds = ["copy" if address & 0o2000 else "same" for address in range(24_576)]
    sources = [address & ~0o2000 if address & 0o2000 else None for address in range(24_576)]
    memory = MemoryMap("woven store", 24_576, 1024, runs_of(kinds, sources))
    assert alias_sentences(memory) == ("12,288 words in 12 regions read as the words 0o2000 (1,024) lower.",)
    layout = lay_out(memory)
    assert (layout.rows, layout.across, layout.cell_words) == (24, 64, 16)
    assert [(a.from_top, a.to_top) for a in layout.arrows] == [(row, row + 1) for row in range(0, 24, 2)]


def test_words_that_agree_by_chance_split_no_arrow() -> None:
    runs = tuple(Run(first, 20, "copy", first + 256) for first in (0, 21, 64, 100))
    layout = lay_out(MemoryMap("s", 512, 64, runs))
    assert [(a.from_top, a.from_end, a.to_top, a.to_end) for a in layout.arrows] == [
        (4, 4, 0, 0),
        (5, 5, 1, 1),
    ]


def test_many_distances_are_counted_not_hidden() -> None:
    runs = tuple(Run(64 + 2 * n, 1, "copy", n) for n in range(9))
    assert (
        alias_sentences(MemoryMap("s", 128, 8, runs))[-1]
        == "5 further distances occur; see the table of runs."
    )


def test_a_decimal_machine_reads_the_distance_once() -> None:
    memory = MemoryMap("s", 4096, 64, (Run(2048, 16, "copy", 0),), 10)
    assert alias_sentences(memory) == ("16 words in 1 region read as the words 2,048 lower.",)


def test_one_word_and_one_distance_are_told_as_one() -> None:
    runs = tuple(Run(8 * n, 1, "copy", source=0) for n in range(1, 6))
    told = alias_sentences(MemoryMap("s", 64, 8, runs))
    assert told[0] == "1 word reads as the word 0o50 (40) lower."
    assert told[-1] == "1 further distance occurs; see the table of runs."
