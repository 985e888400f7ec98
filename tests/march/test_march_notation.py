"""March notation: round trip, forms accepted, and errors with their place."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.errors import InputError
from faults.march.notation import Delay, Element, MarchTest, Op, Order, parse, render


@st.composite
def march_tests(draw):
    """Any consistent march test: a read expects what the write before it left."""
    held, elements = None, []
    for _ in range(draw(st.integers(1, 6))):
        if elements and draw(st.booleans()) and draw(st.booleans()):
            elements.append(Delay())
        ops = []
        for _ in range(draw(st.integers(1, 5))):
            write = held is None or draw(st.booleans())
            held = draw(st.integers(0, 1)) if write else held
            ops.append(Op(write, held))
        elements.append(Element(draw(st.sampled_from(Order)), tuple(ops)))
    return MarchTest(tuple(elements))


@given(march_tests(), st.booleans())
def test_round_trip(test, arrows):
    assert parse(render(test, arrows=arrows)) == test


@given(march_tests(), st.sampled_from([" ", ";", " ; ", ", ", "\n", "; ; "]), st.booleans(), st.booleans())
def test_separators_braces_and_case_do_not_matter(test, separator, braces, upper):
    text = render(test).replace("; ", separator)
    text = text.replace("r", "R").replace("w", "W") if upper else text
    assert parse(f"{{{text}}}" if braces else text) == test


def test_a_printed_form():
    # March C- as printed in the literature (van de Goor 1991, from memory).
    text = "{⇕(w0); ⇑(r0,w1); ⇑(r1,w0); ⇓(r0,w1); ⇓(r1,w0); ⇕(r0)}"
    test = parse(text)
    assert str(test) == "~(w0); ^(r0,w1); ^(r1,w0); v(r0,w1); v(r1,w0); ~(r0)"
    assert f"{{{render(test, arrows=True)}}}" == text
    assert (test.length, test.either_count, test.delays) == (10, 2, 0)
    assert parse("↕(w0) ↑(r0 w1) ↓(r1;w0)") == parse("~(w0)^(r0,w1)v(r1,w0)")


@pytest.mark.parametrize(
    ("text", "place", "code", "hint"),
    [
        ("~(w0); (r0,w1)", "<march>:1:8", "march-syntax", "before '('"),
        ("~(w0); r0", "<march>:1:8", "march-syntax", "in parentheses"),
        ("~(w0); ^", "<march>:1:8", "march-syntax", "for instance ^(r0,w1)"),
        ("~(w0); ^(r0", "<march>:1:9", "march-syntax", "add ')'"),
        ("~(w0; ^(r0)", "<march>:1:2", "march-syntax", "add ')'"),
        ("{~(w0)", "<march>:1:1", "march-syntax", "add '}'"),
        ("~(w0)}", "<march>:1:6", "march-syntax", ""),
        ("~(w0);\n^(r0,w2)", "<march>:2:6", "march-operation", "w0 or w1"),
        ("~(w0); ^()", "<march>:1:8", "march-empty", ""),
        ("", "<march>:1:1", "march-empty", ""),
        ("{}", "<march>:1:1", "march-empty", ""),
        ("Del", "<march>:1:1", "march-empty", ""),
        ("~(w0); ^(r1,w1)", "<march>:1:10", "march-false-alarm", "write r0"),
        ("~(r0,w1)", "<march>:1:3", "march-false-alarm", "start with ~(w0)"),
        ("~(" + "w0," * 1001 + ")", "<march>:1:3003", "march-too-long", ""),
    ],
)
def test_errors_have_code_place_and_hint(text, place, code, hint):
    with pytest.raises(InputError) as caught:
        parse(text)
    problem = caught.value.problems[0]
    assert (str(problem.place), problem.code.slug) == (place, code)
    assert hint in problem.hint


def test_all_mistakes_are_reported_at_once():
    with pytest.raises(InputError) as caught:
        parse("~(w0); (r0,w3); ^(q1); v")
    assert [p.place.column for p in caught.value.problems] == [8, 12, 19, 24]


@given(st.text(alphabet="^v~(){};, r01wDel⇑\n", max_size=40))
def test_any_text_is_read_or_refused_with_a_place_inside_it(text):
    try:
        test = parse(text)
    except InputError as error:
        for problem in error.problems:
            assert 1 <= problem.place.line <= text.count("\n") + 1
            assert 1 <= problem.place.column <= len(text) + 1
    else:
        assert parse(str(test)) == test


@pytest.mark.parametrize(
    "elements",
    [(), (Delay(),), (Element(Order.UP, ()),), (Element(Order.UP, (Op(False, 0),)),)],
)
def test_an_inconsistent_test_cannot_be_built(elements):
    with pytest.raises(ValueError, match=r"at least one|fails on a healthy memory"):
        MarchTest(elements)
