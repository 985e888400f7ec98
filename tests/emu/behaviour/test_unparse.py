"""Typed trees as text: what is written is read back as the same tree."""

from hypothesis import given
from hypothesis import strategies as st

from emu.behaviour import tree
from emu.behaviour.check import check
from emu.behaviour.functions import FUNCTIONS
from emu.behaviour.names import Names
from emu.behaviour.tokens import Text
from emu.behaviour.unparse import expression_text, text
from emu.errors import Problems
from emu.where import Source

REGISTERS = {"one": 1, "acc": 12, "pc": 10, "long": 24, "wide": 62}
NAMES = Names(
    word_bits=12,
    address_bits=10,
    registers=REGISTERS,
    files={"r": (12, 4), "byte": (8, 16)},
    operands={"a": 9, "d": 2, "k": 4},
    alarms=frozenset({"parity"}),
    traps=frozenset({"over"}),
    ports={n: frozenset({"in", "out"}) for n in range(8)},
    restarts=True,
    watchdog=True,
)
SAME = {"+": "add", "-": "sub", "&": "and", "|": "or", "^": "xor"}
COMPARE = ("equal", "unequal", "below", "not-above", "above", "not-below")
FITS = 40  # widths drawn, so that products and joins stay within 62 bits often enough


@st.composite
def exprs(draw, width: int, depth: int = 3) -> tree.Expr:
    """An expression of a width that the language can say."""
    leaves = [st.builds(tree.Const, st.integers(0, (1 << width) - 1), st.just(width))]
    leaves += [st.just(tree.Register(n, w)) for n, w in REGISTERS.items() if w == width]
    leaves += [st.just(tree.Operand(n, w)) for n, w in NAMES.operands.items() if w == width]
    if depth == 0:
        return draw(st.one_of(leaves))
    kind = draw(st.sampled_from(["leaf", "unary", "same", "shift", "slice", "sized", "call", "special"]))
    deeper = depth - 1
    if kind == "unary":
        return tree.Unary(draw(st.sampled_from(["invert", "negate"])), draw(exprs(width, deeper)), width)
    if kind == "same":
        op = draw(st.sampled_from(sorted(SAME.values())))
        return tree.Binary(op, draw(exprs(width, deeper)), draw(exprs(width, deeper)), width)
    if kind == "shift":
        op = draw(st.sampled_from(["shift-left", "shift-right"]))
        amount = draw(exprs(draw(st.integers(1, 12)), deeper))
        return tree.Binary(op, draw(exprs(width, deeper)), amount, width)
    if kind == "slice":
        whole = draw(st.integers(width, 62))
        low = draw(st.integers(0, whole - width))
        return tree.Slice(draw(exprs(whole, deeper)), low + width - 1, low, width)
    if kind == "sized":
        return draw(sized(width, deeper))
    if kind == "call":
        name = draw(st.sampled_from(["pick", "wrap_add", "add_with", "patch", "rotate_left", "quotient"]))
        return draw(call_of(name, width, deeper))
    if kind == "special":
        return draw(special(width, deeper))
    return draw(st.one_of(leaves))


@st.composite
def sized(draw, width: int, depth: int) -> tree.Expr:
    name = draw(st.sampled_from(["extend", "widen", "low", "part"]))
    if name == "part":
        whole, at = exprs(draw(st.integers(1, 62)), depth), exprs(draw(st.integers(1, 8)), depth)
        return tree.Call(name, (draw(whole), draw(at)), width)
    inner = st.integers(1, width) if name != "low" else st.integers(width, 62)
    return tree.Call(name, (draw(exprs(draw(inner), depth)),), width)


@st.composite
def call_of(draw, name: str, width: int, depth: int) -> tree.Expr:
    """A call whose result is as wide as its first full argument."""
    widths = {"bit": 1, "like": width, "amount": draw(st.integers(1, 8))}
    first = True
    kept = []
    for role in FUNCTIONS[name].roles:
        size = width if role == "value" and first else widths.get(role, draw(st.integers(1, 20)))
        first = False
        kept.append(draw(exprs(size, depth)))
    return tree.Call(name, tuple(kept), width)


@st.composite
def special(draw, width: int, depth: int) -> tree.Expr:
    if width == 1:
        inner = draw(st.integers(1, FITS))
        left, right = draw(exprs(inner, depth)), draw(exprs(inner, depth))
        return draw(
            st.sampled_from(
                [
                    tree.Unary("not", draw(exprs(1, depth)), 1),
                    tree.Binary(draw(st.sampled_from(COMPARE)), left, right, 1),
                    tree.Call("less", (left, right), 1),
                    tree.Call("carry", (left, right, draw(exprs(1, depth))), 1),
                    tree.Call("carry", (left, right), 1),
                    tree.Call("negative", (left,), 1),
                ]
            )
        )
    if width == 7:
        return tree.Call("count_ones", (draw(exprs(draw(st.integers(1, FITS)), depth)),), 7)
    if width == 12:
        return draw(
            st.sampled_from(
                [
                    tree.Load(draw(exprs(draw(st.integers(1, 62)), depth)), 12),
                    tree.PortRead(tree.Const(draw(st.integers(0, 7)), 3), 12),
                    tree.FileEntry("r", draw(exprs(2, depth)), 12),
                ]
            )
        )
    left = draw(st.integers(1, width - 1))
    parts = (draw(exprs(left, depth)), draw(exprs(width - left, depth)))
    kind = draw(st.sampled_from(["join", "multiply", "signed_product"]))
    return tree.Binary(kind, *parts, width) if kind == "multiply" else tree.Call(kind, parts, width)


@st.composite
def statements(draw, depth: int = 2) -> tree.Statement:
    kind = draw(st.sampled_from(["register", "bits", "file", "store", "port", "plain", "named", "if"]))
    if kind == "register":
        name = draw(st.sampled_from(sorted(REGISTERS)))
        return tree.SetRegister(name, REGISTERS[name] - 1, 0, draw(exprs(REGISTERS[name])))
    if kind == "bits":
        low = draw(st.integers(0, 23))
        high = draw(st.integers(low, 23))
        return tree.SetRegister("long", high, low, draw(exprs(high - low + 1)))
    if kind == "file":
        return tree.SetFileEntry("byte", draw(exprs(4, 1)), draw(exprs(8)))
    if kind == "store":
        return tree.Store(draw(exprs(draw(st.integers(1, 20)), 2)), draw(exprs(12)))
    if kind == "port":
        return tree.PortWrite(tree.Const(draw(st.integers(0, 7)), 3), draw(exprs(12)))
    if kind == "plain":
        return tree.Plain(draw(st.sampled_from(["skip", "halt", "rearm", "restart"])))
    if kind == "named" or not depth:
        return draw(st.sampled_from([tree.RaiseAlarm("parity"), tree.EnterTrap("over")]))
    block = st.lists(statements(depth - 1), max_size=3).map(tuple)
    return tree.If(draw(exprs(1)), draw(block), draw(block))


def read_back(written: str) -> tuple[tree.Statement, ...]:
    problems = Problems(Source("does", written))
    made = check([Text.plain(written)], NAMES, problems)
    assert not problems.found, written + "\n" + "\n".join(p.headline for p in problems.found)
    return made


@given(st.lists(statements(), max_size=4).map(tuple))
def test_text_is_read_back_as_the_same_tree(made):
    assert read_back(text(made)) == made


@given(st.integers(1, 62).flatmap(exprs))
def test_a_bound_value_is_read_back(value):
    made = (
        tree.Let("t", value),
        tree.SetRegister("one", 0, 0, tree.Binary("equal", tree.Local("t", value.width), value, 1)),
    )
    assert read_back(text(made)) == made


def test_literals_are_bare_where_their_width_is_plain():
    one = tree.Const(1, 12)
    acc = tree.Register("acc", 12)
    assert expression_text(tree.Binary("add", acc, one, 12)) == "acc + 1"
    assert expression_text(tree.Binary("add", one, acc, 12)) == "1 + acc"
    assert expression_text(one) == "bits(1, 12)"
    assert expression_text(one, 12) == "1"
    assert expression_text(tree.Binary("shift-left", acc, tree.Const(3, 2), 12)) == "acc << 3"
    assert expression_text(tree.Binary("equal", tree.Unary("negate", acc, 12), one, 1)) == "-acc == 1"
