"""The published tests: lengths counted from their definitions, against the lengths in print."""

import pytest

from emu.errors import InputError
from faults.march.named import NAMED, find
from faults.march.notation import MarchTest
from faults.march.operations import expand

# Operations per cell as the literature gives them in the tests' papers (from memory), where known by name.
# A printed table that gives March Y as 22N is wrong: its definition has 8 operations.
LENGTHS = {
    "Zero-One": 4,
    "MATS": 4,
    "MATS AND": 4,
    "MATS+": 5,
    "MATS++": 6,
    "March X": 6,
    "March Y": 8,
    "March C": 11,
    "March C-": 10,
    "Ext. March C-": 11,
    "March C+": 14,
    "PMOVI": 13,
    "March A": 15,
    "March B": 17,
    "March U": 13,
    "March LR": 14,
    "March SR": 14,
    "March LA": 22,
    "March MSS": 18,
    "March SS": 22,
    "March RAW": 26,
    "March RAW1": 13,
    "March SL": 41,
    "March G": 23,
}


def test_lengths_are_those_in_print():
    marches = {k.name: k.test for k in NAMED if isinstance(k.test, MarchTest)}
    assert {name: test.length for name, test in marches.items()} == LENGTHS
    assert {name: test.delays for name, test in marches.items() if test.delays} == {"March G": 2}


@pytest.mark.parametrize(
    ("name", "cells", "operations"),
    # Closed forms 4N, 2N² + 6N and 4N² + 2N (van de Goor 1991, from memory).
    [
        ("Checkerboard", 8, 32),
        ("Walking 1/0", 8, 176),
        ("GALPAT", 8, 272),
        ("March C-", 1024, 10_240),
        ("Walking 1/0", 64, 2 * 64**2 + 6 * 64),
        ("GALPAT", 64, 4 * 64**2 + 2 * 64),
        ("March SS", 4096, 90_112),
    ],
)
def test_operation_counts(name, cells, operations):
    assert len(expand(find(name).test, cells)) == operations


@pytest.mark.slow
@pytest.mark.parametrize(("name", "operations"), [("GALPAT", 4_196_352), ("Walking 1/0", 2_103_296)])
def test_operation_counts_of_1024_cells(name, operations):
    assert sum(1 for _ in find(name).test.generate(1024)) == operations


@pytest.mark.parametrize("known", NAMED, ids=lambda k: k.name)
def test_a_healthy_memory_passes(known):
    held = {}
    for operation in expand(known.test, 6):
        if operation is None:
            continue
        if operation.write:
            held[operation.address] = operation.data
        assert held[operation.address] == operation.data


@pytest.mark.parametrize("given", ["March C-", "march c-", "MARCHC-", " march  C- "])
def test_names_are_found_whatever_case_and_spaces(given):
    assert find(given).name == "March C-"


def test_every_name_finds_itself_and_has_a_source():
    for known in NAMED:
        assert find(known.name) is known
        assert known.reference
        assert known.note


def test_notation_is_found_too():
    known = find("~(w0); ^(r0)")
    assert (known.name, known.test.length, known.reference) == ("~(w0); ^(r0)", 2, "")


@pytest.mark.parametrize(
    ("given", "hint"), [("March D-", "'March "), ("MATTS+", "'MATS+'"), ("zzz", "GALPAT"), ("", "GALPAT")]
)
def test_an_unknown_name_gets_a_hint(given, hint):
    with pytest.raises(InputError) as caught:
        find(given)
    assert caught.value.problems[0].code.slug == "march-unknown-name"
    assert hint in caught.value.problems[0].hint
