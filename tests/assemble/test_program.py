"""Directives, placement, names, includes and the way errors are gathered."""

from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.assemble import assemble, render_listing, render_symbols
from emu.assemble.directives import DIRECTIVES
from emu.errors import InputError
from emu.image import MemoryImage
from emu.where import Source


def build(machine, text, files=None):
    def open_include(name):
        if name not in (files or {}):
            raise FileNotFoundError(name)
        return Source(name, files[name])

    return assemble(Source("p.asm", text), machine, open_include)


def words(machine, text, store, files=None):
    return {index: word for index, word, _ in build(machine, text, files).image.segments[store].words()}


def errors(machine, text, files=None):
    with pytest.raises(InputError) as caught:
        build(machine, text, files)
    return caught.value.problems


def slugs(problems):
    return [problem.code.slug for problem in problems]


# ---- where words go


def test_a_program_begins_where_the_machine_does(tern):
    assert words(tern, ".word 5", "core") == {0o100: 5}


def test_at_places_through_the_windows_and_banks(tern):
    text = ".at 0o20\n.word 1\n.at 0o4001\n.word 2\n.bank 2\n.at 0o4001\n.word 3\n"
    assert words(tern, text, "core") == {0o20: 1}
    assert words(tern, text, "rope") == {1: 2, 2 * 0o40 + 1: 3}


def test_bank_outside_a_banked_window_changes_nothing_yet(tern):
    assert words(tern, ".word 1\n.bank 2\n.word 2\n", "core") == {0o100: 1, 0o101: 2}


def test_in_places_by_store_and_word_and_finds_the_address(tern):
    assembly = build(tern, ".in rope, 0o41\nhigh: .word bank(high), high, index(high)\n")
    assert assembly.image.segments["rope"] == MemoryImage.of_words(12, [1, 0o4001, 0o41], 0o41)


def test_a_word_that_no_window_shows_can_be_given(rail):
    assert words(rail, ".in attic, 0d_12\n.word 7, 8\n.in attic, 0\nlow: .word low\n", "attic") == {
        12: 7,
        13: 8,
        0: 0x3E0,
    }


def test_byte_addresses_move_by_the_unit(rail):
    assembly = build(rail, ".at 10\na: .word a\nb: .word b, here\n")
    assert assembly.image.segments["main"] == MemoryImage.of_words(16, [0x10, 0x12, 0x12], 8)


def test_words_run_on_from_one_window_into_the_next_without_banks(rail):
    text = ".at 0x3DE\n.word 1, 2\n"
    assert words(rail, text, "main") == {495: 1}
    assert words(rail, text, "attic") == {0: 2}


def test_reserve_fill_and_align(tern):
    text = (
        ".at 1\na: .reserve 3\nb: .fill 2, b\n.align 0o10\nc: .word a, b, c\n.align 1\n.word 11\n.reserve 0\n"
    )
    assert words(tern, text, "core") == {4: 4, 5: 4, 8: 1, 9: 4, 10: 8, 11: 9}


def test_align_counts_addresses_not_words(rail):
    assert words(rail, ".at 2\n.align 8\n.word 1\n.align 3\n.word 2\n", "main") == {4: 1, 6: 2}


def test_text_one_character_a_word_or_packed(tern, rail):
    assert list(words(tern, '.text "Ab\\n"', "core").values()) == [65, 98, 10]
    assert list(words(tern, '.text "Ab", high', "core").values()) == [65, 98]  # 12 bits hold one of 8
    assert list(words(rail, '.text "ABC", high', "main").values()) == [0x4142, 0x4300]
    assert list(words(rail, '.text "ABC", low', "main").values()) == [0x4241, 0x0043]
    assert build(tern, '.text ""').image.segments == {}
    assert list(words(tern, '.text "; no comment"', "core").values()) == [ord(c) for c in "; no comment"]


def test_words_are_signed_or_unsigned(tern, rail):
    assert list(words(tern, ".word -1, 7777, -4000, -0", "core").values()) == [0o7777, 0o7777, 0o4000, 0]
    assert list(words(rail, ".word -1, 0ffff, -7fff, -0, ~0, 0", "main").values()) == [
        0xFFFE, 0xFFFF, 0x8000, 0xFFFF, 0xFFFF, 0,
    ]  # fmt: skip


def test_start_is_the_entry(tern):
    assert build(tern, ".word 1").image.entry is None
    assert build(tern, ".word 1\nbegin: .word 2\n.start begin\n").image.entry == 0o101


def test_constants_may_rest_on_later_ones(tern):
    text = ".let a = b + 1\n.let b = end - begin\nbegin: .word a, b\nend:\n"
    assert words(tern, text, "core") == {0o100: 3, 0o101: 2}


def test_long_chains_of_constants(tern):
    backward = ".let a0 = 0\n" + "".join(f".let a{n + 1} = a{n} + 1\n" for n in range(3000))
    assert words(tern, backward + ".reserve a50\n.word a3000\n", "core") == {0o100 + 50: 3000}
    forward = "".join(f".let a{n} = a{n + 1} + 1\n" for n in range(3000)) + ".let a3000 = 0\n"
    assert words(tern, forward + ".word a0\n", "core") == {0o100: 3000}
    assert words(tern, forward + ".reserve a2950\n.word 7\n", "core") == {0o100 + 50: 7}
    deep = ".let a0 = " + "-(" * 49 + "a1" + ")" * 49 + "\n"
    deep = (
        "".join(deep.replace("a1", f"a{n + 1}").replace("a0", f"a{n}") for n in range(100))
        + ".let a100 = 5\n"
    )
    assert words(tern, deep + ".word a0\n", "core") == {0o100: 5}


def test_a_circle_found_while_placing_is_told_once(tern):
    assert slugs(errors(tern, ".let a = b\n.let b = a\n.reserve a\n.word a, b\n")) == ["asm-circle"]


def test_here_in_a_constant_is_the_place_of_its_line(tern):
    assert words(tern, ".word 0\n.let mark = here\n.word 0, mark\n", "core")[0o102] == 0o101


def test_several_labels_and_labels_alone(tern):
    assembly = build(tern, "a: b:\nc: .word a, b, c\nend:\n")
    assert assembly.image.symbols == {"a": 0o100, "b": 0o100, "c": 0o100, "end": 0o103}


def test_line_ends_tabs_and_comments(tern):
    assert words(tern, "\t.word\t1\t;x\r\n; only\r\n\r\n.word 2\r\n", "core") == {0o100: 1, 0o101: 2}


def test_lines_end_only_at_line_feeds(tern):
    assert words(tern, ".word\x0c1 ; \u2028 here\r\n.word \r 2", "core") == {0o100: 1, 0o101: 2}
    assert [p.place.line for p in errors(tern, "; a\x0bb\x85c\nlod\n")] == [2]


def test_a_hostile_line_does_not_fill_the_screen(tern):
    for text in ("x" * 100_000, ".word " + "x" * 100_000, ".word 1 " + " " * 100_000 + "x", "?" * 100_000):
        (problem,) = errors(tern, text)
        assert len(problem.render()) < 1200


def test_an_empty_program_is_an_empty_image(tern):
    assembly = build(tern, "")
    assert assembly.image.segments == {}
    assert render_symbols(assembly)
    assert render_listing(assembly)


def test_lines_that_count(tern):
    text = """
        .let big = {}
        .if big
size:   .word 1
        .if big - 1
        .word 2
        .else
        .word 3
        .end
        .else
        .if 0
none:   nonsense ( " 9 é
        .if nothing
        .else
        .bad
        .end
        .end
size:   .word 4
        .end
        .word size
"""
    for big, expected in ((0, [4, 0o100]), (1, [1, 3, 0o100]), (2, [1, 2, 0o100])):
        assert list(words(tern, text.format(big), "core").values()) == expected


def test_an_if_is_closed_in_its_own_file(tern):
    (problem,) = errors(tern, '.if 1\n.include "a"\n', {"a": ".word 1\n.end\n"})[:1]
    assert problem.headline.startswith("a:2:1: error: an .end belongs to an .if above it in the same file")
    assert slugs(errors(tern, '.include "a"\n.end\n', {"a": ".if 0\n"})) == ["asm-if-not-closed", "asm-no-if"]
    assert words(tern, '.if 0\n.include "nowhere"\n.end\n.word 1\n', "core") == {0o100: 1}


# ---- includes


def test_include_reads_the_file_in_place(tern):
    files = {"a.asm": '.word size\n.include "b.asm"\n.word 4\n', "b.asm": "b: .word 3\n"}
    assert words(tern, '.let size = 2\n.word 1\n.include "a.asm"\n.word b\n', "core", files) == {
        0o100: 1, 0o101: 2, 0o102: 3, 0o103: 4, 0o104: 0o102,
    }  # fmt: skip


def test_an_error_in_an_included_file_shows_the_chain(tern):
    files = {"a.asm": '; a\n  .include "b.asm"\n', "b.asm": "\n\n  lod 1\n"}
    (problem,) = errors(tern, '.include "a.asm"\n', files)
    assert problem.render() == (
        "b.asm:3:3: error: a line begins with an instruction of tern, got 'lod' [asm-unknown-instruction]\n"
        "      lod 1\n"
        "      ^~~\n"
        "    a.asm:2:12: note: included from here\n"
        "    p.asm:1:10: note: included from here\n"
        "    hint: did you mean 'load'?"
    )


def test_an_include_loop_is_found_and_named(tern):
    files = {"a.asm": '.include "b.asm"\n', "b.asm": '\n.include "a.asm"\n'}
    (problem,) = errors(tern, '.include "a.asm"\n', files)
    assert problem.headline == (
        "b.asm:2:10: error: a file does not include itself, "
        "got p.asm -> a.asm -> b.asm -> a.asm [asm-include-loop]"
    )
    assert [str(note.place) for note in problem.notes] == ["a.asm:1:10", "p.asm:1:10"]


def test_a_file_may_not_include_the_program_itself(tern):
    assert slugs(errors(tern, '.include "p.asm"\n', {"p.asm": ""})) == ["asm-include-loop"]


def test_a_file_may_be_included_twice_if_its_names_allow(tern):
    assert words(tern, '.include "a"\n.include "a"\n', "core", {"a": ".word 1\n"}) == {0o100: 1, 0o101: 1}


def test_deep_and_many_includes_are_bounded(tern):
    deep = {f"{n}": f'.include "{n + 1}"\n' for n in range(100)}
    assert slugs(errors(tern, '.include "0"\n', deep)) == ["asm-too-big"]


def test_including_twice_at_every_level_ends_soon(tern, monkeypatch):
    monkeypatch.setattr("emu.assemble.placing.LINE_LIMIT", 2000)
    wide = {f"{n}": f'.include "{n + 1}"\n' * 2 for n in range(14)} | {"14": ";\n"}
    assert slugs(errors(tern, '.include "0"\n', wide)) == ["asm-too-big"]


def test_without_a_way_to_open_files_include_is_an_error(tern):
    with pytest.raises(InputError) as caught:
        assemble(Source("p.asm", '.include "a"'), tern)
    assert slugs(caught.value.problems) == ["asm-include-missing"]


# ---- errors together


def test_at_most_twenty_errors_and_a_line_that_counts_the_rest(tern):
    problems = errors(tern, "lod 1\n" * 25)
    assert len(problems) == 21
    assert problems[-1].message == "only the first 20 errors are shown, 5 more were found"
    assert len(errors(tern, "lod 1\n" * 20)) == 20


def test_a_broken_line_causes_no_other_error(tern):
    text = "a: lod 1\nb: .word 1 +\n.let c = (\n.at 0o3000\nd: .word 1\n.word a, b, c, d\n"
    assert slugs(errors(tern, text)) == [
        "asm-unknown-instruction", "asm-expected", "asm-expected", "asm-no-window",
    ]  # fmt: skip


def test_errors_of_both_passes_are_told_at_once(tern):
    assert slugs(errors(tern, "lod 1\n.word tide\n.at 0o100\n.word 1\n")) == [
        "asm-unknown-instruction",
        "asm-unknown-name",
    ]


def test_overlap_of_reserved_room_with_words_and_by_position(tern):
    problems = errors(tern, ".at 0o200\n.word 1\n.at 0o100\n.reserve 0o200\n")
    assert [p.place.line for p in problems] == [4]
    assert [note.place.line for note in problems[0].notes] == [2]


def test_the_same_input_gives_the_same_result(tern):
    text = "b: .word a\na: jump b\n.let c = a\n"
    first, second = build(tern, text), build(tern, text)
    assert first.image == second.image
    assert render_listing(first) == render_listing(second)
    assert render_symbols(first) == render_symbols(second)


PIECES = [
    "load", "set", "jump", "a:", "b:", "a", "b", "1", "0o17", "9", ",", "(", ")", "+", "-", "~", "<<", "'A'", '"', "'",
    "here", "bank(a)", "index(b)", "=", ";", " ", "\t", "\n", "\n", "\n", "é", "\\", "\x00", "\u2028", *DIRECTIVES,
    '.include "p.asm"', '.text "x"', ".at 0o4000", ".bank 1", ".in core, 5", ".reserve 0o77777777777", ".align 3",
]  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.lists(st.sampled_from(PIECES), max_size=30).map(" ".join))
def test_any_text_assembles_or_is_refused_with_places(tern, text):
    try:
        assembly = build(tern, text, {"p.asm": ""})
    except InputError as error:
        lines = text.split("\n")
        for problem in error.problems:
            assert 1 <= problem.place.line <= max(len(lines), 1)
            assert problem.place.column <= len(lines[problem.place.line - 1]) + 1
        return
    assert render_listing(assembly)
    assert render_symbols(assembly)


@settings(max_examples=50, deadline=None)
@given(st.text(max_size=60))
def test_any_characters_at_all(rail, text):
    with suppress(InputError):
        assert build(rail, text).rows is not None
