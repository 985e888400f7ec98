"""Structure of a difference: what is injected is found, and no finding is ever false.

``is_true`` judges every finding again in plain Python, word by word, from its public fields.
"""

import re

import attrs
import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from faults import pattern
from faults.pattern import address_evidence, analyse, dump_evidence


def source(law, a):
    """The address a map law reads, by hand."""
    i, j = a >> law.first & 1, a >> law.second & 1
    put = lambda a, n, v: a & ~(1 << n) | v << n  # noqa: E731
    return {
        "stuck": lambda: a & ~law.bits | law.value,
        "flip": lambda: a ^ law.bits,
        "swap": lambda: put(put(a, law.first, j), law.second, i),
        "and": lambda: put(put(a, law.first, i & j), law.second, i & j),
        "or": lambda: put(put(a, law.first, i | j), law.second, i | j),
        "copy": lambda: put(a, law.first, j),
    }[law.kind]()


class Dump:
    """A dump as plain dictionaries, with slow answers."""

    def __init__(self, evidence):
        w = evidence.words
        rows = zip(
            evidence.addresses.tolist(),
            w.expected.tolist(),
            w.observed.tolist(),
            w.known.tolist(),
            strict=True,
        )
        self.rows = {a: (e, o, k) for a, e, o, k in rows}
        self.order = list(self.rows)
        if w.again is not None:
            pairs = zip(w.again.tolist(), w.again_known.tolist(), strict=True)
            self.again = dict(zip(self.order, pairs, strict=True))
        self.full = (1 << w.bits) - 1
        self.bits = w.bits

    def fails(self, a, part=-1):
        e, o, k = self.rows[a]
        return bool((e ^ o) & k & part)

    def predicted(self, law, index):
        """``(word, mask of bits predicted)`` by hand."""
        a = self.order[index]
        e, _, k = self.rows[a]
        name = type(law).__name__
        if name == "MaskLaw":
            return e & ~law.clear | law.put, k
        if name == "SliceLaw":
            v, c = self.predicted(law.law, index)
            return v & law.part | e & ~law.part, c & law.part | k & ~law.part
        if name == "MapLaw":
            return self.fetched(source(law, a))
        if name == "ShiftLaw":
            return self.fetched(a + law.offset)
        if name == "MergeLaw":
            subsets = [s for s in range(law.bits + 1) if s & ~law.bits == 0] if law.group else [0, law.bits]
            got = [self.fetched(a ^ s) for s in subsets]
            value, care = got[0]
            for v, c in got[1:]:
                value, care = (value | v if law.gate == "or" else value & v), care & c
            return value, care
        if name in ("JoinLaw", "PairLaw", "PileLaw"):
            return self.selected(law, index)
        if name == "StaleLaw":
            if index < law.lag:
                return 0, 0
            before = self.rows[self.order[index - law.lag]]
            return before[1], before[2]
        if name == "EchoLaw":
            part = a >> law.shift & (1 << law.width) - 1
            return sum(part << n * law.width for n in range(law.copies)), k
        raise NotImplementedError(name)  # the rest is judged by the recovery tests

    def selected(self, law, index):
        """The same for lines that are always on, or selected together."""
        a = self.order[index]
        e, _, k = self.rows[a]
        name = type(law).__name__
        if name == "PileLaw":
            value, care = self.fetched(a & ~law.bits | law.value)
            for before in self.order[: index + 1]:
                if before & ~law.bits == a & ~law.bits:
                    v, c = self.fetched(before)
                    value, care = value | v, care & c
            return value, care
        other = a & ~law.bits | law.value if name == "JoinLaw" else a ^ law.bits
        if name == "PairLaw" and a & law.bits not in (law.value, law.bits - law.value):
            return e, k
        value, care = self.fetched(other)
        return (e | value if law.gate == "or" else e & value), k & care

    def fetched(self, a):
        e, _, k = self.rows.get(a, (0, 0, 0))
        return e, k

    def inside(self, cube):
        return [a for a in self.order if a & cube.fixed == cube.value]

    def silent(self, law, a):
        if law is None or self.fails(a):
            return False
        value, care = self.predicted(law, self.order.index(a))
        e, _, k = self.rows[a]
        return (value ^ e) & care & k == 0


def is_true(f, d):
    """Judge a finding anew."""
    bad = [a for a in d.order if d.fails(a)]
    return JUDGES[f.kind](f, d, bad)


def judge_law(f, d, _bad):
    explained = exceptions = 0
    for n, a in enumerate(d.order):
        fails = d.fails(a, f.slice)
        if (f.cube is None and not fails) or (f.cube is not None and a & f.cube.fixed != f.cube.value):
            continue
        value, care = d.predicted(f.law, n)
        _, o, k = d.rows[a]
        care &= k & f.slice
        differs = bool((value ^ o) & care)
        exceptions += differs
        explained += fails and not differs and care == k & f.slice
    return (explained, exceptions, f.exact) == (f.failing, f.score.exceptions, exceptions == 0)


def judge_cube(f, d, bad):
    inside = d.inside(f.cube)
    silent = sum(d.silent(f.law, a) for a in inside)
    return set(bad) <= set(inside) and (len(bad), silent, len(inside) - len(bad) - silent) == (
        f.failing,
        f.silent,
        f.right,
    )


def judge_cover(f, d, bad):
    inside = {a for cube in f.cubes for a in d.inside(cube)}
    return (
        len(inside & set(bad)) == f.failing
        and inside - set(bad) == set(f.quiet)
        and len(set(bad) - inside) == f.left
    )


def judge_bits(f, _d, bad):
    for mask, wanted in ((f.ones, {1}), (f.zeros, {0}), (f.mixed, {0, 1})):
        if any({a >> n & 1 for a in bad} != wanted for n in range(30) if mask >> n & 1):
            return False
    return True


def judge_bit(f, d, _bad):
    wrong = [d.rows[a] for a in d.order if d.fails(a, 1 << f.bit)]
    dropped = sum(e >> f.bit & 1 for e, _, _ in wrong)
    inside = d.inside(f.cube)
    return (dropped, len(wrong) - dropped, len(inside)) == (f.dropped, f.picked, f.inside)


def judge_tally(f, d, bad):
    diffs = [(d.rows[a][0], (d.rows[a][0] ^ d.rows[a][1]) & d.rows[a][2]) for a in bad]
    dropped, total = sum((x & e).bit_count() for e, x in diffs), sum(x.bit_count() for _, x in diffs)
    flips = (min(x.bit_count() for _, x in diffs), max(x.bit_count() for _, x in diffs))
    return (dropped, total - dropped, flips, len(bad)) == (f.dropped, f.picked, f.flips, f.failing)


def judge_parity(f, d, bad):
    judged = [d.rows[a][1] for a in bad if d.rows[a][2] == d.full]
    good = sum(o.bit_count() % 2 == (f.parity.kind == "odd") for o in judged)
    return (good, len(judged) - good, len(bad) - len(judged)) == (f.valid, f.broken, f.unknown)


def judge_repeat(f, d, _bad):
    pairs = [(d.rows[a], d.rows[a + f.period]) for a in d.order if a + f.period in d.rows]
    same = all((x[1] ^ y[1]) & x[2] & y[2] == 0 for x, y in pairs)
    return same and sum(bool((x[0] ^ y[0]) & x[2] & y[2]) for x, y in pairs) == f.differ


def judge_product(f, d, bad):
    inside = {a for a in d.order if a & (1 << f.split) - 1 in f.lows and a >> f.split in f.highs}
    return set(bad) <= inside and all(d.silent(f.law, a) for a in inside - set(bad))


def judge_second(f, d, _bad):
    seen = {"changed": 0, "zeroed": 0, "lost": 0, "cured": 0, "steady": 0}
    for a in d.order:
        (e, o, k), (again, known) = d.rows[a], d.again[a]
        k &= known
        first, then, changed = (e ^ o) & k != 0, (e ^ again) & k != 0, (o ^ again) & k != 0
        seen["changed"] += changed
        seen["zeroed"] += changed and again & k == 0
        seen["lost"] += then and not first
        seen["cured"] += first and not then
        seen["steady"] += first and then and not changed
    return all(getattr(f, name) == count for name, count in seen.items())


JUDGES = {
    "second-reading": judge_second,
    "law": judge_law,
    "cube": judge_cube,
    "cover": judge_cover,
    "address-bits": judge_bits,
    "bit": judge_bit,
    "tally": judge_tally,
    "parity": judge_parity,
    "repeat": judge_repeat,
    "product": judge_product,
    "block": lambda f, d, bad: all(f.first <= a < f.first + f.size for a in bad) and f.first % f.size == 0,
    "runs": lambda f, d, bad: (
        sorted(bad) == sorted(a for a in d.order if any(x <= a <= y for x, y in f.runs))
    ),
}


@st.composite
def damaged_dumps(draw):
    """A dump of up to 128 words with any damage, unread digits, holes and any order."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    bits, width = draw(st.integers(1, 12)), draw(st.integers(1, 7))
    start = draw(st.sampled_from([0, 1 << width, 3 << width, 5]))
    address = np.arange(start, start + (1 << width))
    address = address[rng.random(address.size) < draw(st.sampled_from([1.0, 1.0, 0.8]))]
    assume(address.size > 0)
    if draw(st.booleans()):
        rng.shuffle(address)
    kinds = draw(st.sampled_from([1 << bits, 2, 1]))
    expected = (
        rng.integers(0, kinds, address.size).astype(np.uint64)
        if kinds > 1
        else np.zeros(address.size, np.uint64)
    )
    expected &= np.uint64((1 << bits) - 1)
    observed = expected.copy()
    for _ in range(draw(st.integers(0, 3))):
        fixed = draw(st.integers(0, (1 << width) - 1))
        hit = (address & fixed) == (draw(st.integers(0, (1 << width) - 1)) & fixed)
        hit &= rng.random(address.size) < draw(st.sampled_from([1.0, 0.5, 0.1]))
        clear, put = (np.uint64(draw(st.integers(0, (1 << bits) - 1))) for _ in "ab")
        observed = np.where(hit, observed & ~clear | put, observed)
    known = np.full(address.size, (1 << bits) - 1, dtype=np.uint64)
    if draw(st.booleans()):
        known &= rng.integers(0, 1 << bits, address.size).astype(np.uint64) | np.uint64(1)
    parity = draw(st.sampled_from([None, pattern.Parity("odd"), pattern.Parity("even")]))
    again = draw(
        st.sampled_from(
            [None, expected, observed & rng.integers(0, 1 << bits, address.size).astype(np.uint64)]
        )
    )
    return dump_evidence(
        address, expected, observed, bits=bits, known=known, parity=parity, again=again, again_known=known
    )


@settings(max_examples=300, deadline=None)
@given(damaged_dumps())
def test_no_finding_is_ever_false(evidence):
    report, dump = analyse(evidence), Dump(evidence)
    for f in report.findings:
        assert f.holds(evidence), f
        if f.kind != "law" or type(f.law).__name__ not in ("WholeLaw", "DataLaw"):
            assert is_true(f, dump), f
    assert report.clean == (not any(dump.fails(a) for a in dump.order))
    assert all(s.endswith(".") and (s[0].isupper() or s[0].isdigit()) for s in report.sentences())


@settings(max_examples=40, deadline=None)
@given(damaged_dumps(), st.data())
def test_a_finding_with_another_count_does_not_hold(evidence, data):
    findings = [f for f in analyse(evidence).findings if f.kind != "address-bits"]
    assume(findings)
    f = data.draw(st.sampled_from(findings))
    assert not attrs.evolve(f, failing=f.failing + 1).holds(evidence)


BITS, WIDTH = 16, 9
pairs = st.permutations(range(WIDTH)).map(lambda p: (p[0], p[1]))


@st.composite
def map_laws(draw):
    kind = draw(st.sampled_from(["stuck", "flip", "swap", "and", "or", "copy"]))
    if kind == "stuck":
        bits = draw(st.integers(1, (1 << WIDTH) - 1))
        return pattern.MapLaw("stuck", bits, draw(st.integers(0, (1 << WIDTH) - 1)) & bits)
    a, b = draw(pairs)
    if kind == "flip":
        return pattern.MapLaw("flip", 1 << a)
    a, b = (a, b) if kind == "copy" else sorted((a, b))
    return pattern.MapLaw(kind, 1 << a | 1 << b, 0, a, b)


@st.composite
def merge_laws(draw):
    group = draw(st.lists(st.integers(0, WIDTH - 1), min_size=1, max_size=3, unique=True))
    whole = sum(1 << n for n in group)
    return pattern.MergeLaw(
        draw(st.sampled_from(["or", "and"])), whole, len(group) > 1 and draw(st.booleans())
    )


@st.composite
def select_laws(draw):
    """Words of a line that is always selected and may keep what is read, or of two lines selected together."""
    run, low = draw(st.integers(4, 6)), draw(st.integers(0, WIDTH - 6))
    some = draw(st.lists(st.integers(0, WIDTH - 1), min_size=2, max_size=3, unique=True))
    bits = draw(st.sampled_from([((1 << run) - 1) << low, sum(1 << n for n in some)]))
    gate, value = draw(st.sampled_from(["or", "and"])), draw(st.integers(0, (1 << WIDTH) - 1)) & bits
    return draw(
        st.sampled_from(
            [
                pattern.JoinLaw(gate, bits, value),
                pattern.PairLaw(gate, bits, min(value, bits - value)),
                pattern.PileLaw(bits, value),
            ]
        )
    )


laws = st.one_of(
    map_laws(),
    merge_laws(),
    select_laws(),
    st.builds(pattern.ShiftLaw, st.sampled_from([1, -1, 2, 7, -16, 32])),
    st.builds(pattern.EchoLaw, st.integers(0, 1), st.just(16)),
    st.integers(0, 0xFFFF).map(lambda n: pattern.MaskLaw(0xFFFF & ~n, n)),
    st.builds(pattern.MaskLaw, st.integers(1, 0xFF), st.integers(0, 0xFF).map(lambda n: n << 8)),
)


def fresh(seed):
    """A dump of 512 random words of 16 bits that read right, and its generator."""
    rng = np.random.default_rng(seed)
    words = rng.integers(0, 1 << BITS, 1 << WIDTH).astype(np.uint64)
    return np.arange(1 << WIDTH), words, rng


@settings(max_examples=100, deadline=None)
@given(laws, st.integers(0, 2**32))
def test_an_injected_law_is_recovered(law, seed):
    address, expected, _ = fresh(seed)
    healthy = Dump(dump_evidence(address, expected, expected, bits=BITS))
    read = [healthy.predicted(law, n) for n in range(address.size)]
    observed = np.array(
        [v if care else int(e) for (v, care), e in zip(read, expected, strict=True)], dtype=np.uint64
    )
    assume((observed != expected).any())
    assume(
        not law.kind.startswith("merged") or np.unique(observed).size > 8
    )  # many words merged may all be 0
    evidence = dump_evidence(address, expected, observed, bits=BITS)
    found = analyse(evidence).of_kind("law")
    assert law in [f.law for f in found if f.exact], [f.sentence for f in found]
    assert all(is_true(f, Dump(evidence)) for f in found)


@settings(max_examples=60, deadline=None)
@given(map_laws(), st.integers(0, BITS - 1), st.integers(0, 2**32))
def test_an_alias_in_one_slice_is_recovered(law, bit, seed):
    assume(law.bits.bit_count() <= 3)
    address, expected, _ = fresh(seed)
    part = np.uint64(1 << bit)
    observed = expected & ~part | expected[[source(law, int(a)) for a in address]] & part
    found = analyse(dump_evidence(address, expected, observed, bits=BITS)).of_kind("law")
    assert (law, 1 << bit) in [(f.law, f.slice) for f in found if f.exact]
    assert f"data bit {bit} only" in found[0].sentence


def reversed_bits(word, step):
    """A 16-bit word with its groups of ``step`` bits in reverse order, through text."""
    text = f"{word:016b}"
    return int("".join(text[n : n + step] for n in range(16 - step, -1, -step)), 2)


@pytest.mark.parametrize(
    ("kind", "alter"),
    [
        ("complement", lambda w: 0xFFFF - w),
        ("bit-order", lambda w: reversed_bits(w, 1)),
        ("byte-order", lambda w: w % 256 * 256 + w // 256),
        ("moved-up", lambda w: w * 2 % 65536),
        ("moved-down", lambda w: w // 2),
    ],
)
def test_a_dump_written_another_way_is_recognised(kind, alter):
    address, expected, _ = fresh(11)
    evidence = dump_evidence(address, expected, [alter(int(w)) for w in expected], bits=BITS)
    found = analyse(evidence).of_kind("law")
    assert [(f.law.kind, f.exact, f.slice) for f in found] == [(kind, True, 0xFFFF)]


@pytest.mark.parametrize(
    ("kind", "alter"),
    [
        ("data-swap", lambda x, y: (y, x)),
        ("data-or", lambda x, y: (x | y, x | y)),
        ("data-and", lambda x, y: (x & y, x & y)),
        ("data-copy", lambda x, y: (y, y)),
    ],
)
def test_two_data_bits_that_interact_are_recognised(kind, alter):
    address, expected, _ = fresh(12)
    observed = []
    for w in map(int, expected):
        x, y = alter(w >> 3 & 1, w >> 7 & 1)
        observed.append(w & ~0x88 | x << 3 | y << 7)
    found = analyse(dump_evidence(address, expected, observed, bits=BITS)).of_kind("law")
    assert (found[0].law, found[0].exact) == (pattern.DataLaw(kind, 3, 7), True)


def test_a_second_fault_is_counted_as_exceptions():
    address, expected, _ = fresh(13)
    observed = expected[address | 4]
    observed[[9, 100, 333]] ^= np.uint64(0x4001)
    evidence = dump_evidence(address, expected, observed, bits=BITS)
    law = analyse(evidence).of_kind("law")[0]
    assert (law.law, law.exact, law.score.exceptions) == (pattern.MapLaw("stuck", 4, 4), False, 3)
    assert "Nearly every word" in law.sentence
    assert "3 exceptions" in law.sentence


def test_look_alikes_are_listed_and_said_to_be():
    """With the address itself as data, a stuck address bit and a stuck data bit read alike."""
    address = np.arange(512)
    report = analyse(dump_evidence(address, address, address & ~8, bits=BITS))
    laws = [f.law for f in report.of_kind("law")]
    assert pattern.MaskLaw(8, 0) in laws
    assert pattern.MapLaw("stuck", 8, 0) in laws
    assert any(s.startswith(f"{len(laws)} readings explain the failures equally well") for s in report.limits)


def test_uniform_contents_tell_nothing_of_addressing():
    address = np.arange(512)
    observed = np.where(address == 17, 3, 0)
    limits = analyse(dump_evidence(address, np.zeros(512), observed, bits=BITS)).limits
    assert any("only 1 different word in 512" in s for s in limits)


@st.composite
def cubes(draw, width=WIDTH, most=5):
    fixed = sum(
        1 << n for n in draw(st.lists(st.integers(0, width - 1), min_size=1, max_size=most, unique=True))
    )
    return pattern.Cube(fixed, draw(st.integers(0, (1 << width) - 1)) & fixed)


@settings(max_examples=60, deadline=None)
@given(cubes(most=4), st.integers(0, BITS - 1), st.integers(0, 1), st.integers(0, 2**32))
def test_a_data_bit_stuck_in_a_cube_is_recovered(cube, bit, value, seed):
    address, expected, _ = fresh(seed)
    one = np.uint64(1 << bit)
    observed = np.where(cube.contains(address), expected | one if value else expected & ~one, expected)
    evidence = dump_evidence(address, expected, observed, bits=BITS)
    assume(int(evidence.failing.sum()) >= 8)  # fewer may share an address bit by chance
    law = pattern.MaskLaw(0, 1 << bit) if value else pattern.MaskLaw(1 << bit, 0)
    found = analyse(evidence)
    match = next(f for f in found.of_kind("law") if f.law == law)
    assert match.exact
    assert match.cube.fixed & cube.fixed == cube.fixed
    placed = found.of_kind("cube")[0]
    assert placed.exact
    assert placed.failing + placed.silent == int(match.cube.contains(address).sum())


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 4), st.integers(0, 2**32))
def test_stale_words_now_and_then_are_recovered(lag, seed):
    address, expected, rng = fresh(seed)
    observed = expected.copy()
    for n in lag + np.flatnonzero(rng.random(address.size - lag) < 0.05):
        observed[n] = observed[n - lag]
    evidence = dump_evidence(address, expected, observed, bits=BITS)
    assume(int(evidence.failing.sum()) >= 4)
    found = analyse(evidence).of_kind("law")
    lags = [f.law.lag for f in found if f.exact and f.law.kind == "stale"]
    assert lag in lags or lag == 4
    assert lag == 4 or "stale" in found[0].sentence


@settings(max_examples=60, deadline=None)
@given(cubes())
def test_a_cube_of_failing_addresses_is_recovered(cube):
    failing = [a for a in range(1 << WIDTH) if a & cube.fixed == cube.value]
    report = analyse(address_evidence(failing, address_bits=WIDTH))
    found = report.of_kind("cube")[0]
    assert (found.cube, found.exact, found.failing) == (cube, True, len(failing))
    bits = report.of_kind("address-bits")[0]
    assert (bits.ones, bits.zeros) == (cube.value, cube.fixed & ~cube.value)


@settings(max_examples=60, deadline=None)
@given(cubes(most=3), cubes(most=3))
def test_two_cubes_of_failing_addresses_are_covered(one, two):
    failing = [a for a in range(1 << WIDTH) if any(a & c.fixed == c.value for c in (one, two))]
    evidence = address_evidence(failing, address_bits=WIDTH)
    report = analyse(evidence)
    exact = report.of_kind("cube")[0].exact
    covers = report.of_kind("cover")
    assert exact or (covers and covers[0].exact and all(f.holds(evidence) for f in report.findings))


@settings(max_examples=60, deadline=None)
@given(
    st.sets(st.integers(0, 15), min_size=3, max_size=12), st.sets(st.integers(0, 31), min_size=3, max_size=24)
)
@example(lows={0, 1, 2, 3}, highs={0, 1, 2, 4})
def test_a_product_of_two_sets_is_recovered(lows, highs):
    failing = [high << 4 | low for low in lows for high in highs]
    report = analyse(address_evidence(failing, address_bits=WIDTH))
    assume(not report.of_kind("cube")[0].exact)
    found = report.of_kind("product")
    assume(2 * len(failing) >= 3 * (len(lows) + len(highs)))
    assert found
    product = {high << found[0].split | low for low in found[0].lows for high in found[0].highs}
    assert product == set(failing)


def test_runs_and_blocks_from_a_list():
    failing = [*range(0o1010, 0o1020), *range(0o1040, 0o1044)]
    sentences = analyse(address_evidence(failing, tested=range(0o2000))).sentences()
    assert "The failing addresses form 2 unbroken runs: 0o1010 to 0o1017, 0o1040 to 0o1043." in sentences
    assert any("in the block 0o1000 to 0o1077 (64 words)" in s for s in sentences)
    assert not any("taken to have been tried" in s for s in sentences)


def test_a_list_of_large_addresses_is_placed_in_its_block():
    report = analyse(address_evidence([(1 << 30) + n for n in range(0, 64, 4)], base=16))
    assert report.tested == 64
    assert "bit 0 is 0" in report.of_kind("cube")[0].sentence


def test_only_a_list_says_what_it_cannot_tell():
    limits = analyse(address_evidence([5, 7])).limits
    assert "A list of addresses does not tell which bits failed, nor which way." in limits
    assert any("not listed are taken" in s for s in limits)


def test_a_clean_dump_claims_no_more_than_was_read():
    report = analyse(dump_evidence([0, 1], [3, 4], [3, 4], bits=4))
    assert report.clean
    assert report.findings == ()
    assert "No difference in 2 words: true for what was read, this once." in report.sentences()


def test_unread_digits_are_neither_right_nor_wrong():
    known = np.array([0o77, 0o70, 0, 0o77])
    evidence = dump_evidence(range(4), [0, 0, 0, 0], [0, 0o07, 0o77, 0], bits=6, known=known)
    report = analyse(evidence)
    assert report.clean
    assert "1 word could not be read at all: left out." in report.limits
    assert any("unread digits" in s for s in report.limits)


def test_counts_of_one_are_told_as_one():
    """No "1 are", "1 have", "all 1": every sentence about a single word reads as a person would write it."""
    bad = re.compile(
        r"\b1 (are|have|were|read all|failing words|words|addresses|groups|times)\b|\ball 1\b|of the 1\b"
    )
    address = np.arange(8)
    words = np.array([0o11, 0o25, 0o31, 0o42, 0o54, 0o63, 0o70, 0o07], dtype=np.uint64)
    told = []
    for place in ([3], [3, 5], [2, 3, 6], [0, 1, 2]):
        for other in (0, 0o77, None):
            read = words.copy()
            read[place] = words[place] ^ np.uint64(1) if other is None else other
            for again in (words, read, np.where(address == 3, 0, words)):
                for parity in (None, pattern.Parity("odd"), pattern.Parity("even")):
                    evidence = dump_evidence(address, words, read, bits=6, again=again, parity=parity)
                    told += analyse(evidence).sentences()
    for failing in ([3], [1, 3], [0, 1, 2]):
        for tested in (range(4), [3], [1, 3], range(3)):
            if set(failing) <= set(tested):
                told += analyse(address_evidence(failing, tested=tested)).sentences()
    wrong = {s for s in told if bad.search(s)}
    assert not wrong, "\n".join(sorted(wrong))
    assert "The one failure lies at address 0o3: no other address fails." in told
    assert "The one address read fails." in told


def test_bits_go_by_the_machines_own_numbers():
    address, expected, _ = fresh(4)
    observed = np.where(address & 4, expected & ~np.uint64(1), expected)
    sentences = analyse(dump_evidence(address, expected, observed, bits=16, numbering="msb1")).sentences()
    assert "bit 1 is the most significant" in sentences[0]
    assert "Addresses of 9 bits, numbered by weight: bit n has the weight 2**n" in sentences[1]
    assert any("where address bit 2 is 1) every word reads data bit 16 as 0" in s for s in sentences)


@pytest.mark.parametrize(
    ("text", "call"),
    [
        ("one address", lambda: address_evidence([])),
        ("not negative", lambda: address_evidence([-1])),
        ("among those tested", lambda: address_evidence([9], tested=range(8))),
        ("hold every address", lambda: address_evidence([9], address_bits=3)),
        ("say which addresses were tested", lambda: address_evidence([0, 1 << 30])),
        ("1 to 64 bits", lambda: dump_evidence([0], [0], [0], bits=65)),
        ("one length", lambda: dump_evidence([0, 1], [0], [0], bits=4)),
        ("at least one word", lambda: dump_evidence([], [], [], bits=4)),
        ("appear once", lambda: dump_evidence([1, 1], [0, 0], [0, 0], bits=4)),
        ("fit 4 bits", lambda: dump_evidence([0], [16], [0], bits=4)),
        ("could be read", lambda: dump_evidence([0], [1], [0], bits=4, known=[0])),
        ("hold every address", lambda: dump_evidence([64], [1], [0], bits=4, address_bits=6)),
    ],
)
def test_senseless_input_is_refused(text, call):
    with pytest.raises(ValueError, match=text):
        call()


def test_a_list_has_no_words():
    with pytest.raises(ValueError, match="needs a dump"):
        address_evidence([1]).need_words()


def test_far_apart_addresses_need_no_table():
    address = np.array([0, 1 << 40, 5, (1 << 40) + 4])
    evidence = dump_evidence(address, [1, 2, 3, 4], [1, 0, 3, 0], bits=8)
    assert evidence.places(address[::-1]).tolist() == [3, 2, 1, 0]
    assert evidence.places(np.array([7, 1 << 50])).tolist() == [-1, -1]
    assert all(f.holds(evidence) for f in analyse(evidence).findings)
