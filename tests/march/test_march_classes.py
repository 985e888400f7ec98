"""The fault classes: instance counts equal their closed forms, and no instance comes twice."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.errors import InputError
from faults.march.classes import CLASSES, fault_class, intra_word
from faults.march.primitives import columns

# The closed forms follow from the definitions of the classes by counting; N cells, N = 2^k.
FORMULAS = {
    "SAF": "2N", "TF": "2N", "AF-A": "2N", "AF-A hold": "N", "AF-B": "4N(N-1)", "AF-C": "N(N-1)",
    "AF-D": "2N(N-1)", "ABIT stuck": "2k", "ABIT bridge": "k(k-1)", "ABIT swap": "k(k-1)/2", "SOF": "N",
    "CFin": "2N(N-1)", "CFid": "4N(N-1)", "CFst": "4N(N-1)", "WDF": "2N", "RDF": "2N", "DRDF": "2N",
    "IRF": "2N", "CFds": "12N(N-1)", "CFtr": "4N(N-1)", "CFwd": "4N(N-1)", "CFrd": "4N(N-1)",
    "CFdr": "4N(N-1)", "CFir": "4N(N-1)", "static 1c": "12N", "static 2c": "36N(N-1)", "LCFid 2c": "2N(N-1)",
    "LCFid 3c": "4N(N-1)(N-2)", "LCFin 3c": "2N(N-1)(N-2)", "TF+CFin": "4N(N-1)", "TF+CFid": "8N(N-1)",
    "dyn 1c": "12N", "dyn 2c": "32N(N-1)",
}  # fmt: skip


def count(formula, cells):
    text = re.sub(r"(?<=[0-9Nk)])(?=[Nk(])", "*", formula)
    return eval(text, {"N": cells, "k": cells.bit_length() - 1})


def test_the_classes_are_the_listed_ones():
    assert {c.name: c.formula for c in CLASSES} == FORMULAS


@pytest.mark.parametrize("cells", [2, 4, 8, 16])
@pytest.mark.parametrize("name", FORMULAS)
def test_counts_equal_the_closed_forms(name, cells):
    faults = fault_class(name).instances(cells)
    assert len(faults) == count(FORMULAS[name], cells)
    assert len({str(f) for f in faults}) == len(faults)
    assert len({(f.kind, f.cells, f.pattern.parameters) for f in faults}) == len(faults)


def test_address_lines_need_a_power_of_two():
    assert not fault_class("ABIT stuck").instances(5)
    assert len(fault_class("AF-C").instances(5)) == 20


@pytest.mark.parametrize(("words", "bits", "counts"), [(2, 4, [96, 96, 48]), (3, 2, [24, 24, 12])])
def test_intra_word_counts(words, bits, counts):
    classes = intra_word(words, bits)
    assert [len(c.instances(words * bits)) for c in classes] == counts
    assert all(
        a // bits == v // bits for c in classes for a, v in (f.cells for f in c.instances(words * bits))
    )


def test_a_fault_is_a_readable_line():
    fault = fault_class("CFid").instances(4)[0]
    assert str(fault) == "CFid aggressor 0, victim 1: the rising aggressor forces 0"
    assert (
        str(fault_class("AF-C").instances(2)[1])
        == "AF-C first 1, second 0: first opens the cell of the second"
    )


def test_an_unknown_class_gets_a_hint():
    with pytest.raises(InputError) as caught:
        fault_class("CFidd")
    assert caught.value.problems[0].hint == "did you mean 'CFid'?"


@given(st.integers(0, 6), st.data())
def test_columns_are_a_truth_table(variables, data):
    lane = data.draw(st.integers(0, (1 << variables) - 1))
    assert sum((c >> lane & 1) << j for j, c in enumerate(columns(variables))) == lane
    assert all(c >> (1 << variables) == 0 for c in columns(variables))
