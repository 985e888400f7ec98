"""Coverage figures, against the literature's guarantees and a table computed apart from this project.

``coverage_n8.csv`` is percent of instances detected from every first content, 8 cells, either-way elements
ascending. Every 100 or not-100 that a claim below repeats is a published guarantee (references from
memory); the fractions were computed beforehand by two simulators that share nothing with this project.
"""

import csv
from functools import cache
from itertools import product
from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from emu.errors import InputError
from faults.march.classes import CLASSES, fault_class
from faults.march.coverage import bench, coverage, escapes, word_coverage
from faults.march.named import NAMED, KnownTest, find
from faults.march.notation import Element, MarchTest, Op, Order, parse

with (Path(__file__).parent / "coverage_n8.csv").open(encoding="utf-8") as file:
    ROWS = {row.pop("test"): row for row in csv.DictReader(file)}
INSTANCES = ROWS.pop("instances")


@cache
def report(name, cells=8, either="up"):
    return coverage(find(name), cells, either=either)


def percent(name, kind, cells=8, either="up"):
    return report(name, cells, either).row(kind).percent()


@pytest.mark.parametrize("name", ROWS)
def test_the_table_of_eight_cells(name):
    for kind, expected in ROWS[name].items():
        row = report(name).row(kind)
        assert row.instances == int(INSTANCES[kind])
        # The table is printed to two decimals: so many instances, and no other whole number.
        assert row.always == round(float(expected) * row.instances / 100), kind
        assert abs(row.percent() - float(expected)) < 0.0051, kind


def test_every_known_test_is_in_the_table_or_checked_below():
    others = {"MATS AND", "March MSS", "March LA", "March RAW1", "March SL", "March G"}
    assert {k.name for k in NAMED} == set(ROWS) | others


SIZE_DEPENDENT = ("SOF", "AF-A hold", "dyn 1c", "dyn 2c")


@pytest.mark.parametrize("name", [n for n in ROWS if n not in {"Checkerboard", "Walking 1/0", "GALPAT"}])
def test_percentages_do_not_depend_on_the_size(name):
    for fault, cells in product([c.name for c in CLASSES], (4, 5)):
        if fault in SIZE_DEPENDENT or (fault.startswith("ABIT") and cells == 5):
            continue
        assert percent(name, fault, cells) == pytest.approx(percent(name, fault)), (fault, cells)


@pytest.mark.parametrize("cells", [3, 4, 8, 11])
def test_open_cells_in_closed_form(cells):
    sofs = {
        n: report(n, cells).row("SOF").always for n in ("MATS+", "March X", "March C", "March C-", "March A")
    }
    assert sofs == {"MATS+": 1, "March X": 2, "March C": 2, "March C-": 2, "March A": 2}
    assert {report(n, cells).row("SOF").always for n in ("March SS", "March MSS")} == {2}


# --- claims of the literature ---------------------------------------------------------------------------------

FULL = [
    ("MATS+", "SAF,AF-A,AF-B,AF-C,AF-D"),  # van de Goor 1991
    ("MATS++", "SAF,AF-A,AF-B,AF-C,AF-D,TF,SOF"),  # same
    ("March X", "SAF,AF-A,AF-B,AF-C,AF-D,TF,CFin"),  # same
    ("March Y", "SAF,AF-A,AF-B,AF-C,AF-D,TF,CFin,TF+CFin"),  # same
    ("March C-", "SAF,AF-A,AF-B,AF-C,AF-D,TF,CFin,CFid,CFst"),  # same
    ("Ext. March C-", "SAF,AF-A,AF-B,AF-C,AF-D,TF,CFin,CFid,CFst,SOF"),  # van de Goor 1993
    ("March A", "CFid,LCFid 2c,LCFid 3c"),  # Suk & Reddy 1981
    ("March B", "LCFid 2c,LCFid 3c,TF+CFin,TF+CFid,SOF"),  # same
    ("March U", "SAF,AF-A,AF-B,AF-C,AF-D,TF,CFin,CFid,CFst,SOF"),  # van de Goor & Gaydadjiev 1997
    ("March LR", "LCFid 2c,LCFid 3c,TF+CFin,TF+CFid"),  # same, VTS 1996
    ("March LA", "LCFid 2c,LCFid 3c,TF+CFin,TF+CFid"),  # 1998
    ("March SS", "static 1c,static 2c"),  # Hamdioui et al., MTDT 2002
    ("March MSS", "static 1c,static 2c"),  # Harutunyan et al., VTS 2005
    ("March RAW1", "dyn 1c"),  # Hamdioui et al., VTS 2002
    ("March RAW", "dyn 1c,dyn 2c"),  # same
]


@pytest.mark.parametrize(("name", "kinds"), FULL)
def test_guarantees_of_the_literature(name, kinds):
    for kind in kinds.split(","):
        assert percent(name, kind) == 100, kind


NOT_FULL = [
    ("MATS+", "TF"),
    ("March C-", "SOF"),
    ("March X", "TF+CFin"),
    ("March A", "TF+CFin"),
    ("March A", "SOF"),
]


@pytest.mark.parametrize(("name", "kind"), NOT_FULL)
def test_what_the_literature_says_is_not_covered(name, kind):
    assert percent(name, kind) < 100


def test_mats_plus_sees_only_the_rising_half_of_transition_faults():
    assert {f.pattern.parameters for f in escapes(find("MATS+"), "TF")} == {(1,)}


def test_mats_needs_the_right_wired_logic():
    # Nair 1979: the form that starts with 0 is for wired-OR decoders, the other for wired-AND.
    for name, missed in (("MATS", "and"), ("MATS AND", "or")):
        assert report(name, 8, "worst").row("AF-D").always == 56
        assert {f.pattern.wired for f in escapes(find(name), "AF-D", either="worst")} == {missed}
    missing = escapes(find("MATS"), "AF-D")
    assert {f.pattern.wired for f in missing} == {"and"}
    assert len(missing) == 28


def test_middle_read_of_march_c_matters_for_deceptive_reads_and_their_neighbours_only():
    differ = {c.name for c in CLASSES if percent("March C", c.name) != percent("March C-", c.name)}
    classic = {"SAF", "TF", "AF-A", "AF-B", "AF-C", "AF-D", "CFin", "CFid", "CFst", "SOF"}
    assert not differ & classic
    assert {"DRDF", "CFdr"} <= differ
    assert differ <= {"DRDF", "CFdr", "static 1c", "static 2c", "dyn 1c", "dyn 2c"}


def test_no_test_older_than_march_ss_covers_all_static_faults():
    newer = {"March SS", "March MSS", "March RAW", "March SL"}
    for known in NAMED:
        full = percent(known.name, "static 1c") == 100 and percent(known.name, "static 2c") == 100
        assert full == (known.name in newer), known.name


def test_no_march_test_here_covers_two_linked_inversions():
    for known in NAMED:
        if isinstance(known.test, MarchTest):
            assert report(known.name).row("LCFin 3c").always <= 448


def test_march_raw_misses_seven_when_its_start_descends():
    assert len(escapes(find("March RAW"), "dyn 2c", either="down")) == 7
    descending_start = "v(w0)" + str(find("March RAW").test).removeprefix("~(w0)")
    missed = escapes(find(descending_start), "dyn 2c")
    assert len(missed) == 7
    assert {f.cells[-1] for f in missed if f.kind != "dCFds"} | {
        f.cells[0] for f in missed if f.kind == "dCFds"
    } == {0}


def test_exchanged_address_lines_are_invisible():
    for known in NAMED:
        assert report(known.name).row("ABIT swap").sometimes == 0


def test_decoder_faults_missed_though_stuck_cells_are_all_seen():
    for name in ("March SR", "Zero-One"):
        assert percent(name, "SAF") == 100
        assert {percent(name, kind) for kind in ("AF-C", "AF-D", "ABIT stuck")} == {0}


# --- theorems, on drawn tests ---------------------------------------------------------------------------------


@st.composite
def element(draw, held, first=None, last=None):
    """Return an element that starts on ``held``; its first op may be fixed to a read, its last write given."""
    now = held
    ops = [Op(False, held)] if first == "r" else []
    for _ in range(draw(st.integers(0, 3))):
        if draw(st.booleans()):
            now = draw(st.integers(0, 1))
            ops.append(Op(True, now))
        else:
            ops.append(Op(False, now))
    if last is not None:
        now = last
        ops.append(Op(True, now))
        ops += [Op(False, now)] * draw(st.integers(0, 2))
    if not ops:
        ops = [Op(False, now)]
    return ops, now


@st.composite
def marches(draw, must=()):
    """A consistent march test; ``must`` elements are (order, read value, last write) in any order."""
    held = draw(st.integers(0, 1))
    elements = [Element(draw(st.sampled_from(Order)), (Op(True, held),))]
    for wanted in [*draw(st.permutations(must)), None]:
        for _ in range(draw(st.integers(0, 2))):
            ops, held = draw(element(held))
            elements.append(Element(draw(st.sampled_from(Order)), tuple(ops)))
        if wanted is None:
            break
        order, start, end = wanted
        if held != start:
            elements.append(Element(draw(st.sampled_from(Order)), (Op(True, start),)))
        ops, held = draw(element(start, "r", end))
        elements.append(Element(order, tuple(ops)))
    return MarchTest(tuple(elements))


DECODER = ("AF-A", "AF-B", "AF-C", "AF-D")


@given(st.integers(0, 1).flatmap(lambda x: marches(((Order.UP, x, 1 - x), (Order.DOWN, 1 - x, x)))))
@settings(max_examples=60, deadline=None)
def test_two_opposite_elements_suffice_for_decoder_faults(test):
    # van de Goor 1991 (from memory): ^(rx,...,wx') and v(rx',...,wx); reads may follow the last write.
    rows = coverage(KnownTest("", test, "", ""), 4, classes=DECODER, either="worst").rows
    assert all(row.always == row.instances for row in rows), str(test)


def test_two_opposite_elements_are_not_necessary():
    # All decoder faults are found in this model although no element goes down.
    test = "~(w0); ^(r0,w1,r1,w0); ^(r0,w1); ^(r1,w0,w1,w0); ^(r0,w1)"
    assert "v(" not in str(parse(test))
    rows = coverage(find(test), 4, classes=DECODER).rows
    assert [row.percent() for row in rows] == [100] * 4


@given(marches())
@settings(max_examples=80, deadline=None)
def test_an_open_inner_cell_is_seen_exactly_if_one_element_reads_both_values(test):
    # van de Goor 1991 (from memory). The cells at the ends of the address range can be seen besides.
    both = any({op.data for op in e.ops if not op.write} == {0, 1} for e in test.elements)
    table = bench(test, 5)
    inner = [f for f in fault_class("SOF").instances(5) if 0 < f.cells[0] < 4]
    assert {table.detection(f).always for f in inner} == {both}


@given(marches(), st.sampled_from([c.name for c in CLASSES]))
@settings(max_examples=60, deadline=None)
def test_the_worst_order_sees_no_more_than_any_order(test, kind):
    assume(test.either_count)
    known = KnownTest("", test, "", "")
    rows = {e: coverage(known, 4, classes=[kind], either=e).rows[0] for e in ("up", "down", "worst")}
    for row in (rows["up"], rows["down"]):
        assert rows["worst"].always <= row.always <= row.from_zero <= row.sometimes <= row.instances


# --- the report ------------------------------------------------------------------------------------------------


def test_report_as_plain_values():
    data = coverage(find("March C-"), 4, classes=["SAF", "SOF"]).to_json()
    assert data["schema"] == "march/1"
    assert (data["operations_per_cell"], data["operations"], data["cells"]) == (10, 40, 4)
    assert [(r["class"], r["instances"], r["always"]) for r in data["classes"]] == [
        ("SAF", 8, 8),
        ("SOF", 4, 2),
    ]


def test_a_class_without_instances_has_no_percentage():
    assert coverage(find("MATS+"), 5, classes=["ABIT stuck"]).row("ABIT stuck").percent() is None


@pytest.mark.parametrize("cells", [1, 17, 0, -3])
def test_sizes_beyond_the_limits_are_refused(cells):
    with pytest.raises(InputError, match="march-cells"):
        coverage(find("MATS+"), cells)
    with pytest.raises(InputError, match="march-cells"):
        word_coverage(find("MATS+"), 1, cells)


def test_too_many_open_orders_are_refused():
    known = find("~(w0)" + " ~(r0)" * 10)
    with pytest.raises(InputError, match="march-either"):
        coverage(known, 4, either="worst")
    assert coverage(known, 4).row("SAF").instances == 8
