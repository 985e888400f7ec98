"""Faults as text: the round trip, and what is refused with which advice."""

import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.errors import InputError, declared
from emu.gates import CHANCE_ONE, Gate
from emu.load import load_machine
from emu.words import WordFormat
from faults.boards import load_board
from faults.fault import Fault, FaultPart
from faults.gatetext import gate_text, read_gate
from faults.kinds import all_kinds
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault
from faults.universe import universe_of

BOARDS = {name: load_board(load_machine(name)) for name in ("dunlin", "fulmar", "sandpiper")}
FULMAR = BOARDS["fulmar"]
UNIVERSES = {name: universe_of(board, kinds=list(all_kinds())) for name, board in BOARDS.items()}
ADDRESSES = WordFormat(15, base=8)

gates = st.one_of(
    st.builds(lambda n: Gate("chance", n), st.integers(1, CHANCE_ONE)),
    st.builds(lambda a, b: Gate("contact", a, b), *[st.integers(1_000, 1 << 53)] * 2),
    st.builds(lambda a, n: Gate("window", a, a + n), st.integers(0, 1 << 40), st.integers(1, 1 << 40)),
    st.builds(lambda m, v: Gate("after", m, m & v), *[st.integers(0, (1 << 12) - 1)] * 2),
    st.builds(lambda n: Gate("condition", name=n), st.from_regex(r"[a-z][a-z0-9-]{0,12}", fullmatch=True)),
)


@st.composite
def faults(draw, name):
    universe = UNIVERSES[name].faults
    parts = []
    for _ in range(draw(st.integers(1, 3))):
        part = universe[draw(st.integers(0, len(universe) - 1))].parts[0]
        chosen = tuple(draw(st.lists(gates, max_size=2)))
        parts.append(FaultPart(part.kind, part.sites, part.params, chosen))
    return Fault(tuple(parts))


@pytest.mark.parametrize("name", BOARDS)
@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_round_trip(name, data):
    fault = data.draw(faults(name))
    text = fault_text(fault, BOARDS[name])
    assert parse_fault(text, BOARDS[name]) == fault
    assert parse_fault(fault_text(fault), BOARDS[name]) == fault, "also with addresses in hexadecimal"


@settings(max_examples=200, deadline=None)
@given(gate=gates)
def test_gates_round_trip(gate):
    assert read_gate(gate_text(gate, ADDRESSES), ADDRESSES) == gate


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_order_typed_does_not_matter(data):
    fault = data.draw(faults("fulmar"))
    texts = fault_text(fault, FULMAR).split(" & ")
    shuffled = data.draw(st.permutations(texts))
    assert parse_fault("&".join(shuffled), FULMAR) == fault
    assert hash(parse_fault("&".join(shuffled), FULMAR)) == hash(fault)


SAME = [
    ("rope/sense/3+4:shorted-or", "rope/sense/4+3:shorted-or"),
    ("rope/sense/3+rope/sense/4:shorted-or", "rope/sense/3+4:shorted-or"),
    ("core/cell/17/3:stuck-1", "core/cell/0o17/3:stuck-1"),
    (" core/x/13 : open @ 5% ", "core/x/13:open@5.0%"),
    ("core/x/13:open@open:2ms,closed:50ms", "core/x/13:open@open:2000us,closed:50000us"),
    ("core/x/1:open&core/x/1:open", "core/x/1:open"),
    ("core/cell/0o17/3+0o20/3:inverts-rise", "core/cell/0o17/3+core/cell/0o20/3:inverts-rise"),
    ("rope/sense/3:stuck-1@after:17", "rope/sense/3:stuck-1@after:0o17/0o77777"),
]


@pytest.mark.parametrize(("one", "other"), SAME)
def test_two_ways_to_write_one_fault(one, other):
    assert parse_fault(one, FULMAR) == parse_fault(other, FULMAR)


def test_aggressor_and_victim_are_not_exchanged():
    one = parse_fault("core/cell/0o20/3+0o17/3:inverts-rise", FULMAR)
    assert one.parts[0].sites == ("core/cell/0o0020/3", "core/cell/0o0017/3")
    assert fault_text(one) == "core/cell/0o0020/3+0o0017/3:inverts-rise"


REFUSED = [
    ("rope/address/15:stuck-0", "unknown-site", 1, "rope/address/14"),
    ("rope/adress/10:stuck-0", "unknown-site", 1, "rope/address"),
    ("roap/address/10:stuck-0", "unknown-site", 1, "rope/address"),
    ("core/cell/0o4000/3:stuck-1", "unknown-site", 1, "core/cell/0o3777/3"),
    ("core/cell/0o17/17:stuck-1", "unknown-site", 1, "core/cell/0o0017/16"),
    ("core/x:open", "unknown-site", 1, "core/x/0"),
    ("core/sense/3+17:shorted-or", "unknown-site", 14, "core/sense/16"),
    ("rope/address/10:stuk-0", "unknown-fault-kind", 17, "stuck-0"),
    ("rope/address/10:stuck", "unknown-fault-kind", 17, "stuck-0, stuck-1"),
    ("rope/address/10", "fault-syntax", 1, "stuck-0"),
    ("", "fault-syntax", 1, "stuck-0"),
    ("core/x/1:open & ", "fault-syntax", 17, "stuck-0"),
    ("core/x/13:stuck-0", "fault-does-not-fit", 1, "open"),
    ("core/sense/3:shorted-or", "fault-does-not-fit", 1, "+"),
    ("core/sense/3+4:open", "fault-does-not-fit", 1, "&"),
    ("core/sense/3+3:shorted-or", "fault-does-not-fit", 1, ""),
    ("core/sense/3+rope/sense/3:shorted-or", "fault-does-not-fit", 1, ""),
    ("core/cell/0o17/3+0o17/4:inverts-rise", "fault-does-not-fit", 1, ""),
    ("core/x/13:open@5", "fault-when", 16, ""),
    ("core/x/13:open@0%", "fault-when", 16, ""),
    ("core/x/13:open@101%", "fault-when", 16, ""),
    ("core/x/13:open@open:2ms", "fault-when", 16, ""),
    ("core/x/13:open@open:2ns,closed:1s", "fault-when", 16, ""),
    ("core/x/13:open@when:Warm", "fault-when", 16, ""),
    ("core/x/13:open@accesses:5..5", "fault-when", 16, ""),
    ("core/x/13:open@after:0o100000", "fault-when", 16, ""),
    ("x" * 5000, "fault-syntax", 1, ""),
    ("core/address/\u0663:stuck-0", "unknown-site", 1, "core/address/"),
]


@pytest.mark.parametrize(("text", "slug", "column", "hint"), REFUSED)
def test_refused_with_advice(text, slug, column, hint):
    with pytest.raises(InputError) as caught:
        parse_fault(text, FULMAR)
    problem = caught.value.problems[0]
    assert problem.code.slug == slug
    assert (problem.place.file, problem.place.line, problem.place.column) == ("<fault>", 1, column)
    assert hint in problem.hint


@pytest.mark.parametrize("slug", [s for s, c in declared().items() if c.example_kind == "fault"])
def test_documented_examples_provoke_their_codes(slug):
    with pytest.raises(InputError) as caught:
        plan_of(FULMAR, parse_fault(declared()[slug].example, FULMAR))
    assert caught.value.problems[0].code.slug == slug


@settings(max_examples=200, deadline=None)
@given(text=st.text(alphabet="rope/core+&:@%0123456789stuck-open,.,= \n\u00e9", max_size=40))
def test_no_text_does_anything_but_parse_or_be_refused(text):
    try:
        fault = parse_fault(text, FULMAR)
    except InputError:
        return
    assert parse_fault(fault_text(fault, FULMAR), FULMAR) == fault


def test_faults_are_small_values():
    fault = parse_fault("core/cell/0o17/3+0o20/3:inverts-rise@5% & rope/address/10:stuck-0", FULMAR)
    assert pickle.loads(pickle.dumps(fault)) == fault
    assert len(pickle.dumps(fault)) < 500
    assert fault & fault == fault


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("rope/adress/10:stuck-0", "did you mean 'rope/address/10'?"),
        ("core/X/3:open", "did you mean 'core/x/3'?"),
        ("Core/x/3:open", "did you mean 'core/x/3'?"),
        ("core/x-drivr-a/1:dead", "did you mean 'core/x-driver-a/1'?"),
        ("core/cell/99/3:stuck-1", "digits are of base 8; decimal 99 is 'core/cell/0o0143/3'"),
        ("core/unit:late", "did you mean 'rope/unit'?"),
    ],
)
def test_the_whole_site_is_proposed(text, hint):
    with pytest.raises(InputError) as caught:
        parse_fault(text, FULMAR)
    assert caught.value.problems[0].hint == hint


def test_a_chance_twice_is_refused_for_it_would_count_once():
    with pytest.raises(InputError, match="stands twice"):
        parse_fault("core/x/1:open@5%@5%", FULMAR)
    assert len(parse_fault("core/x/1:open@5%@6%", FULMAR).parts[0].gates) == 2
