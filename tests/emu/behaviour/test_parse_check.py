"""The behaviour language from text to typed tree: what is accepted, and every message with its place."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.behaviour import tree
from emu.behaviour.check import check
from emu.behaviour.names import Names
from emu.behaviour.parse import MAX_DEPTH
from emu.behaviour.tokens import MAX_TEXT, Text
from emu.errors import Problems
from emu.where import Source

NAMES = Names(
    word_bits=12,
    address_bits=10,
    registers={"acc": 12, "pc": 10, "f": 1, "long": 24},
    files={"r": (12, 4)},
    operands={"a": 9, "d": 2},
    alarms=frozenset({"parity"}),
    traps=frozenset({"over"}),
    ports={1: frozenset({"out"}), 2: frozenset({"in"})},
    restarts=True,
)


def read(*texts: str, names: Names = NAMES):
    problems = Problems(Source("does", "\n".join(texts)))
    return check([Text.plain(t) for t in texts], names, problems), problems


def good(text: str) -> tuple[tree.Statement, ...]:
    statements, problems = read(text)
    assert not problems.found, [p.render() for p in problems.found]
    return statements


ACC = tree.Register("acc", 12)


def whole(value: tree.Expr) -> tree.SetRegister:
    return tree.SetRegister("acc", 11, 0, value)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("acc = acc + 1", tree.Binary("add", ACC, tree.Const(1, 12), 12)),
        ("acc = 1 - acc", tree.Binary("sub", tree.Const(1, 12), ACC, 12)),
        ("acc = -1", tree.Unary("negate", tree.Const(1, 12), 12)),
        ("acc = ~acc", tree.Unary("invert", ACC, 12)),
        ("acc = 1 << 3", tree.Binary("shift-left", tree.Const(1, 12), tree.Const(3, 2), 12)),
        ("acc = acc >> d", tree.Binary("shift-right", ACC, tree.Operand("d", 2), 12)),
        ("acc = M[a]", tree.Load(tree.Operand("a", 9), 12)),
        ("acc = M[5]", tree.Load(tree.Const(5, 10), 12)),
        ("acc = P[2]", tree.PortRead(tree.Const(2, 2), 12)),
        ("acc = r[3]", tree.FileEntry("r", tree.Const(3, 2), 12)),
        ("acc = r[d]", tree.FileEntry("r", tree.Operand("d", 2), 12)),
        ("acc = long[23..12]", tree.Slice(tree.Register("long", 24), 23, 12, 12)),
        ("acc = bits(5, 12)", tree.Const(5, 12)),
        ("acc = extend(a, 12)", tree.Call("extend", (tree.Operand("a", 9),), 12)),
        ("acc = part(long, 3, 12)", tree.Call("part", (tree.Register("long", 24), tree.Const(3, 2)), 12)),
        (
            "acc = pick(f, 1, 0)",
            tree.Call("pick", (tree.Register("f", 1), tree.Const(1, 12), tree.Const(0, 12)), 12),
        ),
        ("acc = wrap_add(1, acc)", tree.Call("wrap_add", (tree.Const(1, 12), ACC), 12)),
        ("acc = join(d, f, a)", tree.Call("join", (tree.Operand("d", 2), tree.Register("f", 1), tree.Operand("a", 9)), 12)),
        ("acc = low(long * 1, 12)", tree.Call("low", (tree.Binary("multiply", tree.Register("long", 24), tree.Const(1, 24), 48),), 12)),
    ],
)  # fmt: skip
def test_values_and_the_widths_of_literals(text, value):
    assert good(text) == (whole(value),)


def test_operators_bind_as_the_grammar_says():
    assert good("f = acc & 1 == 0 and not f or f") == good("f = (((acc & 1) == 0) and (not f)) or f")
    assert good("acc = acc + 1 << 2 & 3 ^ 4 | 5") == good("acc = (((((acc + 1) << 2) & 3) ^ 4) | 5)")
    assert good("long = long - 1 - 2") == good("long = (long - 1) - 2")
    assert good("f = ~acc[3] & f") == good("f = (~(acc[3])) & f")
    assert good("f = not acc == 0") == good("f = not (acc == 0)")


def test_statements():
    assert good("acc[3..1] = 5; acc[0] = f; r[d] = acc; M[a] = 7; P[1] = acc; alarm parity; trap over;") == (
        tree.SetRegister("acc", 3, 1, tree.Const(5, 3)),
        tree.SetRegister("acc", 0, 0, tree.Register("f", 1)),
        tree.SetFileEntry("r", tree.Operand("d", 2), ACC),
        tree.Store(tree.Operand("a", 9), tree.Const(7, 12)),
        tree.PortWrite(tree.Const(1, 1), ACC),
        tree.RaiseAlarm("parity"),
        tree.EnterTrap("over"),
    )
    assert good("if f { skip } else if acc == 0 { halt } else { restart }") == (
        tree.If(
            tree.Register("f", 1),
            (tree.Plain("skip"),),
            (
                tree.If(
                    tree.Binary("equal", ACC, tree.Const(0, 12), 1),
                    (tree.Plain("halt"),),
                    (tree.Plain("restart"),),
                ),
            ),
        ),
    )


def test_a_name_bound_in_one_string_is_known_in_the_next():
    statements, problems = read("let t = acc + 1", "acc = t")
    assert not problems.found
    assert statements[1] == whole(tree.Local("t", 12))


MESSAGES = [
    ("acc = acc +", "1:12", "a value must stand here; got the end of the text", "behaviour-syntax"),
    ("acc = = 1", "1:7", "a value must stand here; got '='", "behaviour-syntax"),
    ("acc 1", "1:5", "'=' must stand after a target; got '1'", "behaviour-syntax"),
    ("acc == 1", "1:5", "'=' must stand after a target; got '=='", "behaviour-syntax"),
    ("acc = (1", "1:9", "')' must stand after an expression in parentheses; got the end of the text", "behaviour-syntax"),
    ("acc = M[a", "1:10", "']' must stand after an index; got the end of the text", "behaviour-syntax"),
    ("acc = low(acc 3)", "1:15", "',' must stand between two arguments; got '3'", "behaviour-syntax"),
    ("if f skip", "1:6", "'{' must stand before a block; got 'skip'", "behaviour-syntax"),
    ("if f { skip", "1:12", "'}' must stand at the end of a block; got the end of the text", "behaviour-syntax"),
    ("skip halt", "1:6", "';' must stand between two statements; got 'halt'", "behaviour-syntax"),
    ("skip;; halt", "1:6", "a statement begins with a name; got ';'", "behaviour-syntax"),
    ("3 = acc", "1:1", "a statement begins with a name; got '3'", "behaviour-syntax"),
    ("else { skip }", "1:1", "a statement begins with a name; got 'else'", "behaviour-syntax"),
    ("let 3 = acc", "1:5", "a name must stand after 'let'; got '3'", "behaviour-syntax"),
    ("alarm", "1:6", "a name must stand after 'alarm'; got the end of the text", "behaviour-syntax"),
    ("low(acc, 3) = 1", "1:1", "a target is a register, some of its bits, M[...] or P[...]; this is none", "behaviour-syntax"),
    ("f = acc < 1 < 2", "1:13", "comparisons do not chain; got '<' after a comparison", "behaviour-syntax"),
    ("acc = 1 + not f", "1:11", "'not' binds more loosely than what stands before it", "behaviour-syntax"),
    ("acc = acc / 2", "1:11", "a behaviour is made of names, numbers and operators; got '/'", "behaviour-syntax"),
    ("acc = 0o18", "1:7", "a number is written 12, 0o17, 0x1F or 0b101; got '0o18'", "behaviour-syntax"),
    ("acc = 012", "1:7", "a number is written 12, 0o17, 0x1F or 0b101; got '012'", "behaviour-syntax"),
    ("acc = 0x7FFFFFFFFFFFFFFF", "1:7", "a number has at most 62 bits; this has 63", "behaviour-syntax"),
    ("acc = ack + 1", "1:7", "a name is a register, a letter of the encoding or bound by 'let'; got 'ack'", "behaviour-name"),
    ("ac = 1", "1:1", "a target is a register, M[...] or P[...]; got 'ac'", "behaviour-name"),
    ("acc = lows(acc, 12)", "1:7", "only the functions of the language are called; got 'lows'", "behaviour-name"),
    ("alarm party", "1:7", "'alarm' names an alarm of the machine; got 'party'", "behaviour-name"),
    ("trap under", "1:6", "'trap' names a trap of the machine; got 'under'", "behaviour-name"),
    ("let acc = f", "1:5", "'let' binds a new name; 'acc' is a register", "behaviour-let"),
    ("let a = f", "1:5", "'let' binds a new name; 'a' is a letter of the encoding", "behaviour-let"),
    ("let M = f", "1:5", "'let' binds a new name; 'M' is a word of the language", "behaviour-let"),
    ("let t = f; let t = f", "1:16", "'let' binds a new name; 't' is bound already", "behaviour-let"),
    ("if f { let t = f }; f = t", "1:25", "a name is known to the end of its block; 't' was bound in another", "behaviour-let"),
    ("acc = a", "1:7", "a value is as wide as its target; 'acc' has 12 bits, the value 9", "behaviour-width"),
    ("acc[3..0] = a", "1:13", "a value is as wide as its target; 'acc[3..0]' has 4 bits, the value 9", "behaviour-width"),
    ("M[a] = f", "1:8", "a value is as wide as its target; a word of memory has 12 bits, the value 1", "behaviour-width"),
    ("acc = acc + a", "1:11", "both sides of '+' are equally wide; got 12 and 9 bits", "behaviour-width"),
    ("f = acc < a", "1:9", "both sides of '<' are equally wide; got 12 and 9 bits", "behaviour-width"),
    ("if acc { skip }", "1:4", "a condition is 1 bit wide; got 12 bits", "behaviour-width"),
    ("f = f and acc", "1:11", "'and' takes 1 bit on both sides; got 12 bits", "behaviour-width"),
    ("f = not acc", "1:9", "'not' takes 1 bit; got 12 bits", "behaviour-width"),
    ("acc = low(long * long * long, 12)", "1:11", "a value has at most 62 bits; got 48 and 24, together 72", "behaviour-width"),
    ("f = acc[12]", "1:9", "the bits of a value of 12 bits are numbered 0 to 11; got 12", "behaviour-width"),
    ("acc = extend(long, 12)", "1:7", "extend makes a value no narrower; got 24 bits to 12", "behaviour-width"),
    ("acc = low(a, 12)", "1:7", "low takes no more bits than there are; got 12 of 9", "behaviour-width"),
    ("acc = wrap_add(acc, a)", "1:7", "the arguments of wrap_add are equally wide; got 12 and 9 bits", "behaviour-width"),
    ("acc = pick(acc, acc, acc)", "1:12", "this argument of pick is 1 bit wide; got 12 bits", "behaviour-width"),
    ("acc = 4096", "1:7", "a literal fits its width; 4096 needs 13 bits, there are 12", "behaviour-literal"),
    ("let t = 5", "1:9", "a literal takes the width of what it stands beside; 5 stands beside nothing", "behaviour-literal"),
    ("acc = bits(8, 3)", "1:12", "a literal fits its width; 8 needs 4 bits, there are 3", "behaviour-literal"),
    ("acc = extend(a)", "1:7", "extend is called extend(x, n); got 1 argument", "behaviour-call"),
    ("f = carry(acc)", "1:5", "carry is called carry(a, b) or carry(a, b, c); got 1 argument", "behaviour-call"),
    ("acc = extend(a, acc)", "1:17", "a size is a literal number of 1 to 62 bits; got an expression", "behaviour-call"),
    ("acc = low(acc, 63)", "1:16", "a size is a literal number of 1 to 62 bits; got 63", "behaviour-call"),
    ("acc = bits(acc, 12)", "1:12", "bits(n, w) gives a width to a literal number; got an expression", "behaviour-call"),
    ("acc = r", "1:7", "'r' takes an index; got none", "behaviour-use"),
    ("r = acc", "1:1", "a register of a file is written r[index]; got 'r'", "behaviour-use"),
    ("acc = M", "1:7", "'M' takes an index; got none", "behaviour-use"),
    ("M = acc", "1:1", "'M' takes an index; got none", "behaviour-use"),
    ("a = acc", "1:1", "a target is a register, M[...] or P[...]; 'a' is a letter of the encoding, which does not change", "behaviour-use"),
    ("r[1][3] = f", "1:1", "bits of a register can be set, no bits of other things", "behaviour-use"),
    ("r[4] = acc", "1:3", "a register of 'r' is numbered 0 to 3; got 4", "behaviour-use"),
    ("acc = M[3..0]", "1:7", "M[...] takes one index; got a range", "behaviour-use"),
    ("f = acc[d]", "1:9", "bits are given by literal numbers, x[high..low]; got an expression", "behaviour-use"),
    ("acc[0..3] = 5", "1:5", "the higher bit stands first in x[high..low]; got 0..3", "behaviour-use"),
    ("rearm", "1:1", "'rearm' needs a watchdog; the machine has none", "behaviour-lacks"),
    ("P[2] = acc", "1:3", "P[...] here is an output port; 2 is none", "behaviour-lacks"),
    ("acc = P[1]", "1:9", "P[...] here is an input port; 1 is none", "behaviour-lacks"),
    ("acc = " + "(" * 80 + "acc" + ")" * 80, "1:71", "a behaviour is nested at most 64 deep; this goes deeper", "behaviour-size"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "place", "message", "code"), MESSAGES)
def test_each_mistake_has_its_message_at_its_place(text, place, message, code):
    _, problems = read(text)
    assert [(str(p.place), p.message, p.code.slug) for p in problems.found] == [
        (f"does:{place}", message, code)
    ]


def test_all_mistakes_are_reported_at_once_and_none_follows_from_another():
    _, problems = read(
        "let t = acc +; acc = t + 1; acc = ack; if acc { acc = a }; f = u", "let u = nothing; acc = u + 1"
    )
    assert [(p.place.column, p.code.slug) for p in problems.found] == [
        (14, "behaviour-syntax"),
        (35, "behaviour-name"),
        (43, "behaviour-width"),
        (55, "behaviour-width"),
        (64, "behaviour-name"),
        (9, "behaviour-name"),
    ]


def test_hints_name_the_nearest_right_thing():
    def hint(text: str) -> str:
        return read(text)[1].found[0].hint

    assert hint("acc = lon[23..12]") == "did you mean 'long'?"
    assert hint("acc = extnd(a, 12)") == "did you mean 'extend'?"
    assert hint("alarm partiy") == "did you mean 'parity'?"
    assert hint("acc = acc / acc") == "write quotient(a, b)"
    assert hint("acc = a") == "make them agree by extend(x, 12), widen(x, 12) or low(x, 9)"
    assert hint("let t = 5") == "write bits(5, w) for w bits"
    assert hint("acc = extend + 1") == "write extend(x, n)"
    assert hint("if acc = 0 { skip }") == "write == to compare"
    assert hint("if acc 0 { skip }") == ""


def test_a_trap_enters_no_trap():
    inside = Names(12, 10, {}, {}, traps=None)
    assert [p.message for p in read("trap over", names=inside)[1].found] == [
        "a trap enters no trap; got 'trap over'"
    ]


def test_text_is_bounded():
    _, problems = read("skip;" * (MAX_TEXT // 5), "skip")
    assert [p.code.slug for p in problems.found] == ["behaviour-size"]


HOSTILE = {
    "parentheses": "acc = " + "(" * 7000,
    "signs": "acc = " + "-" * 7000 + "1",
    "nots": "f = " + "not " * 1900 + "f",
    "chain": "acc = " + "+".join(["acc"] * 1900),
    "powers": "acc = " + "*".join(["f"] * 3900),
    "brackets": "acc = " + "M[" * 3900,
    "slices": "f = acc" + "[0]" * 2600,
    "calls": "acc = " + "low(" * 1900,
    "blocks": "if f {" * 1300,
    "else-if": "if f {}" + " else if f {}" * 600,
    "digits": "acc = " + "9" * 7000,
    "errors": "x=y;" * 2000,
    "braces": "}" * 8000,
    "arguments": "acc = join(" + ",".join(["f"] * 3900) + ")",
}


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_hostile_text_is_only_refused(name):
    _, problems = read(HOSTILE[name])
    assert problems.errors


def test_a_value_of_62_bits_is_not_too_wide():
    assert good("acc = low(long * long * acc, 12)")  # 60 bits
    assert good("acc = low(join(long, long, acc, d), 12)")  # 62 bits


def test_the_deepest_nesting_allowed_is_read():
    assert good("acc = " + "+".join(["acc"] * MAX_DEPTH))
    assert good("acc = " + "(" * (MAX_DEPTH - 1) + "acc" + ")" * (MAX_DEPTH - 1))


PIECES = [
    "acc", "f", "r", "M", "P", "a", "let", "if", "else", "not", "and", "low", "(", ")", "[", "]", "{", "}",
    "=", "==", "..", ",", ";", "+", "-", "~", "<<", "*", "3", "0o7", "t", "alarm", "parity", "skip", "é", "\n",
]  # fmt: skip


@given(st.lists(st.sampled_from(PIECES), max_size=40).map(" ".join) | st.text(max_size=60))
def test_any_text_is_read_or_reported_never_raised(text):
    statements, problems = read(text)
    assert isinstance(statements, tuple)
    assert all(p.place.line >= 1 for p in problems.found)
