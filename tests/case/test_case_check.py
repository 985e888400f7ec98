"""A case is held against the machine and against its files; small files are read with every slip shown."""

import math
from hashlib import sha256

import pytest

from emu.errors import InputError, declared
from emu.load import load_machine
from emu.where import Source
from emu.words import WordFormat
from faults.case.check import check_case
from faults.case.load import load_case, parse_case
from faults.case.readings import read_addresses, read_text, read_transactions

HEAD = 'format = "case/1"\nmachine = "fulmar"\n\n'


@pytest.fixture(scope="module")
def fulmar():
    return load_machine("fulmar")


def found(text, machine=None, **known):
    return [
        (p.code.slug, p.place.line, p.severity, p.hint)
        for p in check_case(parse_case(Source("c.toml", text)), machine, **known)
    ]


@pytest.mark.parametrize(
    ("entry", "slug"),
    [
        ('kind = "stop"\nprogram = "x"\nlamps = "counter=7777 accumulator=1777?7 parity=1"', None),
        ('kind = "stop"\nprogram = "x"\nlamps = "counter=17777"', "case-does-not-fit"),
        ('kind = "stop"\nprogram = "x"\nlamps = "counter=8"', "case-does-not-fit"),
        ('kind = "stop"\nprogram = "x"\nlamps = "parity=2"', "case-does-not-fit"),
        ('kind = "stop"\nprogram = "x"\nlamps = "acumulator=1"', "case-unknown-name"),
        ('kind = "stop"\nprogram = "x"\nlamps = "counter=1"\naddress = "10000"', "case-does-not-fit"),
        ('kind = "alarm"\nprogram = "x"\nalarm = "parity"\ncount = 3\nfirst = "4000"', None),
        ('kind = "alarm"\nprogram = "x"\nalarm = "parety"\ncount = 3', "case-unknown-name"),
        ('kind = "printed"\nprogram = "x"\ntext = "y"\nport = "no-port"', "case-unknown-name"),
        ('kind = "hung"\nprogram = "x"\nwithin = "6000..6017"', None),
        ('kind = "hung"\nprogram = "x"\nwithin = "6000..0xfffff"', "case-does-not-fit"),
        ('kind = "addresses"\nstore = "rope"\nfailing = "0..57777"', None),
        ('kind = "addresses"\nstore = "rope"\nfailing = "0..60000"', "case-does-not-fit"),
        ('kind = "addresses"\nstore = "roap"\nfailing = "0"', "case-unknown-name"),
        (
            'kind = "capture"\nprogram = "x"\nfile = "pyproject.toml"\ncolumns = "time,data"',
            "case-does-not-fit",
        ),
    ],
)
def test_names_and_digits(fulmar, entry, slug):
    slugs = [s for s, _, severity, _ in found(f"{HEAD}[[entry]]\n{entry}\n", fulmar) if severity == "error"]
    assert [s for s in slugs if s != "case-file-missing"] == ([slug] if slug else [])


def test_hints_name_the_nearest():
    hints = found(
        f'{HEAD}[[entry]]\nkind = "measured"\nsite = "rope/adress/10"\nreading = "open"\n',
        sites=["rope/address/10", "rope/sense/3"],
    )
    assert hints == [("case-unknown-name", 6, "error", "did you mean 'rope/address/10'?")]


def test_a_mend_may_name_a_group_of_sites():
    sites = ["rope/address/10", "rope/sense/3"]
    for site, good in (("rope/address", True), ("rope/address/10", True), ("rope/addr", False)):
        text = f'{HEAD}[[entry]]\nkind = "mended"\nwhat = "x"\nsite = "{site}"\n'
        assert (not found(text, sites=sites)) == good


def test_programs():
    text = f'{HEAD}[[entry]]\nkind = "passed"\nprogram = "selftest-som"\n'
    assert found(text) == []
    assert found(text, programs=["selftest-sum"]) == [
        ("case-file-missing", 6, "error", "did you mean 'selftest-sum'?")
    ]


def test_files_are_there_and_unchanged(tmp_path):
    (tmp_path / "a.lst").write_bytes(b"words")
    good = sha256(b"words").hexdigest()
    path = tmp_path / "case.toml"

    def result(lines):
        path.write_text(
            f'{HEAD}[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "a.lst"\n{lines}', encoding="utf-8"
        )
        return [(p.code.slug, p.place.line, p.severity) for p in check_case(load_case(path))]

    ran = 'program = "gates"\n'
    assert result(f'sha256 = "{good}"\n{ran}') == []
    assert result(f'sha256 = "{good}"\n') == [("case-dump-against-nothing", 7, "warning")]
    assert result(f'sha256 = "{good[::-1]}"\n{ran}') == [("case-file-changed", 8, "error")]
    assert result(ran) == [("case-no-hash", 7, "warning")]
    assert result(f'sha256 = "{good}"\nexpected = "b.lst"\n') == [("case-file-missing", 9, "error")]


def test_a_file_that_is_not_there_is_told_with_the_one_that_is(tmp_path):
    for name in ("panel.lst", "look.asm"):
        (tmp_path / name).write_text("", encoding="utf-8")
    path = tmp_path / "case.toml"

    def hint(entry):
        path.write_text(f"{HEAD}[[entry]]\n{entry}", encoding="utf-8")
        (problem,) = check_case(load_case(path), programs=["selftest-sum"])
        assert problem.code.slug == "case-file-missing"
        return problem.hint

    dump = 'kind = "dump"\nstore = "rope"\nprogram = "selftest-sum"\n'
    assert hint(f'{dump}file = "pannel.lst"\n') == "did you mean 'panel.lst'?"
    assert hint(f'{dump}file = "x/y.lst"\n') == ""
    assert hint('kind = "passed"\nprogram = "look"\n') == "the file look.asm is here: write look.asm"


@pytest.mark.parametrize("slug", ["case-unknown-name", "case-does-not-fit", "case-file-missing"])
def test_documented_examples_provoke_their_own_code(fulmar, slug):
    problems = check_case(parse_case(Source("c.toml", declared()[slug].example)), fulmar)
    assert [p.code.slug for p in problems] == [slug]


OCTAL = WordFormat(12, base=8)
WORD = WordFormat(16, base=8)


def test_lists_of_addresses():
    text = "# from the monitor\n4000, 4010 .. 4017\r\n\n17  # once\n"
    assert read_addresses(Source("a.txt", text), OCTAL) == ((0o4000, 0o4000), (0o4010, 0o4017), (0o17, 0o17))
    with pytest.raises(InputError) as caught:
        read_addresses(Source("a.txt", "4000 48\n20..17\n"), OCTAL)
    assert [str(p.place) for p in caught.value.problems] == ["a.txt:1:6", "a.txt:2:1"]
    with pytest.raises(InputError, match="holds none"):
        read_addresses(Source("a.txt", "# nothing\n"), OCTAL)


def test_captures():
    text = "time,address,data,kind\n0.5,4000,0017?7,read\n1e-3;4001;0x1f;write\n\n-0.1,17,0b101,\n"
    rows = read_transactions(Source("c.csv", text), ("time", "address", "data", "kind"), OCTAL, WORD)
    assert [(r.address, r.data, r.kind, r.line) for r in rows] == [
        (0o4000, 0o1707, "read", 2),
        (0o4001, 0x1F, "write", 3),
        (0o17, 0b101, "", 5),
    ]
    assert rows[0].known == 0xFFFF & ~0o70
    assert rows[2].time == pytest.approx(-0.1)
    (only,) = read_transactions(Source("c.csv", "x,17,9\n"), ("-", "address"), OCTAL, WORD)
    assert math.isnan(only.time)
    assert only.known == 0


def test_bad_captures():
    text = "1,4000\n2,4000,99\n3,40?0,1\nx,4000,1\n"
    with pytest.raises(InputError) as caught:
        read_transactions(Source("c.csv", text), ("time", "address", "data"), OCTAL, WORD)
    assert [p.place.line for p in caught.value.problems] == [1, 2, 3, 4]
    with pytest.raises(InputError, match="holds none"):
        read_transactions(Source("c.csv", "time,address,data\n"), ("time", "address", "data"), OCTAL, WORD)


def test_files_that_are_no_text(tmp_path):
    with pytest.raises(InputError, match="readable"):
        read_text(tmp_path / "none")
    (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        read_text(tmp_path / "binary")
    (tmp_path / "marked").write_bytes(b"\xef\xbb\xbf17\n")
    assert read_text(tmp_path / "marked").text == "17\n"


def passed(when):
    return f'[[entry]]\nkind = "passed"\nprogram = "x"\nwhen = {when}\n'


@pytest.mark.parametrize("when", ['"2026-02-30"', '"2026-13-01 20:00"', '"2026-2-30"'])
def test_a_day_that_there_is_not(when):
    assert found(HEAD + passed(when)) == [("case-no-such-date", 7, "error", "")]


def test_dates_that_run_backward_are_a_warning():
    days = ['"2026-11-25 19:10"', "2026-11-26", '"Sunday"', '"19:10"', '"2026-11-24"', "2026-11-26T08:00:00"]
    told = found(HEAD + "".join(passed(w) for w in days))
    assert [(slug, line, severity) for slug, line, severity, _ in told] == [
        ("case-earlier-than-before", 4 + 4 * 4 + 3, "warning")
    ]


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ('kind = "swap"\nmoved = "B2"\nto = "b5"\nfault = "moved"', []),
        ('kind = "swap"\nmoved = "B2"\nto = "spare"\nfault = "gone"', []),
        ('kind = "swap"\nmoved = "B22"\nto = "spare"\nfault = "gone"', [("case-unknown-name", "error")]),
        ('kind = "swap"\nmoved = "B2"\nto = "T9"\nfault = "moved"', [("case-unknown-name", "warning")]),
        ('kind = "mended"\nwhat = "x"\ncard = "Z1"', [("case-unknown-name", "error")]),
        ('kind = "mended"\nwhat = "x"\ncard = "B2"', []),
    ],
)
def test_cards_are_those_of_the_board(entry, told):
    seen = found(f"{HEAD}[[entry]]\n{entry}\n", cards=["B2", "B5"])
    assert [(slug, severity) for slug, _, severity, _ in seen] == told


@pytest.mark.parametrize(
    ("count", "within", "fits"),
    [
        (14, "60 s", True),
        (999_999_999, "1 ns", False),
        ('"many"', "1 ms", True),
        ('"at least 900"', "1 ms", False),
    ],
)
def test_no_more_can_happen_than_there_is_time_for(fulmar, count, within, fits):
    """The stores of fulmar take 10 us for an access, so that 1 ms has room for 100."""
    entry = f'kind = "alarm"\nprogram = "x"\nalarm = "parity"\ncount = {count}\nwithin = "{within}"'
    slugs = [s for s, *_ in found(f"{HEAD}[[entry]]\n{entry}\n", fulmar)]
    assert slugs == ([] if fits else ["case-does-not-fit"])
