"""Case files: every form is read, every slip is shown at its place."""

import datetime as dt

import pytest

from emu.errors import InputError, declared
from emu.where import Source
from faults.case.load import load_case, parse_case
from faults.case.model import KINDS, Addresses, CaseTable, Mended, Stop, kind_of
from faults.case.show import case_text, is_pass, sentence
from faults.case.template import EXAMPLES, commented, new_case

HEAD = 'format = "case/1"\nmachine = "fulmar"\n\n'


def entry(kind, *lines):
    return parse_case(Source("c.toml", f'{HEAD}[[entry]]\nkind = "{kind}"\n' + "\n".join(lines))).entries[0]


def slips(text):
    with pytest.raises(InputError) as caught:
        parse_case(Source("c.toml", text))
    return [p.headline for p in caught.value.problems]


def test_entries_keep_the_order_of_the_file_and_mends_open_epochs():
    text = HEAD + "\n".join(EXAMPLES[k] for k in ("passed", "mended", "stop", "failed", "mended", "hung"))
    case = parse_case(Source("c.toml", text))
    assert [kind_of(e) for e in case.entries] == ["passed", "mended", "stop", "failed", "mended", "hung"]
    assert case.epochs == (0, 0, 1, 1, 1, 2)
    assert len(case.mends) == 2


def test_every_kind_has_an_example_that_loads():
    assert set(EXAMPLES) == set(KINDS)
    for kind, text in EXAMPLES.items():
        case = parse_case(Source("c.toml", HEAD + text))
        assert type(case.entries[0]) is KINDS[kind]
        assert sentence(case.entries[0])


def test_new_case_loads_and_so_does_every_example_without_its_mark():
    text = new_case("fulmar", 'Tuesday\'s "stop"\n')
    assert parse_case(Source("c.toml", text)).table.title == 'Tuesday\'s "stop" '
    invited = text[text.index("# ----") :].split("\n", 1)[1]
    plain = "\n".join(line.removeprefix("# ") for line in invited.splitlines())
    case = parse_case(Source("c.toml", HEAD + plain))
    assert [kind_of(e) for e in case.entries] == list(EXAMPLES)
    assert commented(EXAMPLES["hung"]) in text


def test_common_keys_and_remarks():
    one = entry(
        "passed",
        'program = "x"',
        "when = 2026-11-02T19:30:00",
        'condition = "cold"',
        'instrument = "eye"',
        "certainty = 0.9",
        'notes = "the lamp is weak"',
        "x-mine = { a = 1 }",
    )
    assert one.when == dt.datetime(2026, 11, 2, 19, 30)  # noqa: DTZ001  # as the file says it
    assert (one.condition, one.instrument, one.certainty) == ("cold", "eye", 0.9)
    assert entry("passed", 'program = "x"').certainty is None


@pytest.mark.parametrize(
    ("body", "headline"),
    [
        ('[[entry]]\nkind = "stp"\n', "c.toml:5:8: error: 'kind' must be one of"),
        ('[[entry]]\nprogram = "x"\n', "c.toml:4:1: error: [[entry]] 1 lacks the key 'kind' [missing-key]"),
        (
            '[[entry]]\nkind = "stop"\nprogram = "x"\n',
            "c.toml:4:1: error: [[entry]] 1 lacks the key 'lamps' [missing-key]",
        ),
        (
            '[[entry]]\nkind = "stop"\nprogram = "x"\nlamps = "counter:17"\n',
            "c.toml:7:9: error: 'lamps' must be lamp=digits",
        ),
        (
            '[[entry]]\nkind = "stop"\nprogram = "x"\nlamps = "a=1 a=2"\n',
            "c.toml:7:9: error: 'lamps' must be each row of lamps only once",
        ),
        (
            '[[entry]]\nkind = "alarm"\nprogram = "x"\nalarm = "p"\ncount = "few"\n',
            "c.toml:8:9: error: 'count' must be a count",
        ),
        (
            '[[entry]]\nkind = "alarm"\nprogram = "x"\nalarm = "p"\ncount = -1\n',
            "c.toml:8:9: error: 'count' must be a count",
        ),
        (
            '[[entry]]\nkind = "alarm"\nprogram = "x"\nalarm = "p"\ncount = 1.5\n',
            "c.toml:8:9: error: 'count' must be an integer or a string",
        ),
        (
            '[[entry]]\nkind = "restarts"\nprogram = "x"\nevery = "soon"\n',
            "c.toml:7:9: error: 'every' must be a time",
        ),
        (
            '[[entry]]\nkind = "restarts"\nprogram = "x"\nevery = "3..2 s"\n',
            "c.toml:7:9: error: 'every' must be a time",
        ),
        (
            '[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "/tmp/x"\n',
            "c.toml:7:8: error: 'file' must be a path relative",
        ),
        (
            '[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "C:/x"\n',
            "c.toml:7:8: error: 'file' must be a path relative",
        ),
        (
            '[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "a\\\\b"\n',
            "c.toml:7:8: error: 'file' must be a path relative",
        ),
        (
            '[[entry]]\nkind = "dump"\nstore = "rope"\nfile = ""\n',
            "c.toml:7:8: error: 'file' must be a path relative",
        ),
        (
            '[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "x"\nsha256 = "AB"\n',
            "c.toml:8:10: error: 'sha256' must be 64 small hexadecimal digits",
        ),
        (
            '[[entry]]\nkind = "measured"\nsite = "x"\n',
            "c.toml:4:1: error: a measurement has either 'reading' or 'ohms'; given neither",
        ),
        (
            '[[entry]]\nkind = "measured"\nsite = "x"\nreading = "open"\nohms = 3\n',
            "c.toml:4:1: error: a measurement has either 'reading' or 'ohms'; given both",
        ),
        (
            '[[entry]]\nkind = "measured"\nsite = "x"\nreading = "opne"\n',
            "c.toml:7:11: error: 'reading' must be one of",
        ),
        (
            '[[entry]]\nkind = "addresses"\nstore = "x"\n',
            "c.toml:4:1: error: an entry of addresses has either",
        ),
        (
            '[[entry]]\nkind = "addresses"\nstore = "x"\nfailing = "12?"\n',
            "c.toml:7:11: error: 'failing' must be addresses and ranges",
        ),
        (
            '[[entry]]\nkind = "failed"\nprogram = "x"\nruns = 3\nfailures = 4\n',
            "c.toml:4:1: error: at most 3 of 3 runs can fail; given 4",
        ),
        (
            '[[entry]]\nkind = "mended"\nwhat = "x"\n',
            "c.toml:4:1: error: a mend names a 'site' or a 'card'; given neither",
        ),
        (
            '[[entry]]\nkind = "passed"\nprogram = "x"\ncertainty = 1.1\n',
            "c.toml:7:13: error: 'certainty' must be from 0.0 to 1.0; given 1.1",
        ),
        (
            '[[entry]]\nkind = "passed"\nprogram = "x"\ncertanty = 1\n',
            "c.toml:7:1: error: [[entry]] 1 has no key 'certanty'",
        ),
        (
            '[[entry]]\nkind = "swap"\nmoved = "A7"\nto = "A9"\nfault = "left"\n',
            "c.toml:8:9: error: 'fault' must be one of",
        ),
        (
            '[[entry]]\nkind = "capture"\nprogram = "x"\nfile = "c.csv"\ncolumns = "time,adress"\n',
            "c.toml:8:11: error: 'columns' must be a list such as",
        ),
    ],
)
def test_slips(body, headline):
    found = slips(HEAD + body)
    assert len(found) == 1
    assert found[0].startswith(headline)


def test_all_slips_at_once():
    text = 'format = "case/2"\nmachine = "/x"\n[[entry]]\nkind = "no"\n[[entry]]\nkind = "mended"\nwhat = "y"\nwork = 2\n'
    assert [h.split(": ")[0] for h in slips(text)] == [
        "c.toml:1:10",
        "c.toml:2:11",
        "c.toml:4:8",
        "c.toml:8:1",
    ]


def test_slips_across_keys_are_shown_beside_the_others():
    text = (
        HEAD
        + '[[entry]]\nkind = "mended"\nwhat = "y"\n\n[[entry]]\nkind = "failed"\nprogram = "x"\nfailures = 2\n'
    )
    assert [h.split(": ")[0] for h in slips(text)] == ["c.toml:4:1", "c.toml:8:1"]


@pytest.mark.parametrize(
    "slug", ["case-one-of-two", "case-more-failures-than-runs", "case-mend-without-place"]
)
def test_documented_examples_provoke_their_own_code(slug):
    code = declared()[slug]
    with pytest.raises(InputError) as caught:
        parse_case(Source("c.toml", code.example))
    assert [p.code.slug for p in caught.value.problems] == [slug]


def test_places_of_entries_and_keys():
    case = parse_case(Source("c.toml", HEAD + EXAMPLES["stop"]))
    assert case.place(case.entries[0]).line == 5
    assert (case.place(case.entries[0], "lamps").line, case.place(case.entries[0], "lamps").column) == (8, 9)


def test_missing_file_is_an_input_error(tmp_path):
    with pytest.raises(InputError, match="readable"):
        load_case(tmp_path / "none.toml")


def test_sentences():
    text = HEAD + "".join(EXAMPLES.values())
    shown = case_text(parse_case(Source("c.toml", text)))
    assert " 2. selftest-sum raised parity at least 3 times in 60 s" in shown
    assert " 3. selftest-sum restarts every about 2 s" in shown
    assert " 5. selftest-walk passed 3 times (cold)" in shown
    assert " 6. selftest-walk failed 3 of 20 times" in shown
    assert "13. MENDED card A7: pushed card A7 home" in shown
    assert is_pass(entry("passed", 'program = "x"'))
    assert is_pass(entry("alarm", 'program = "x"', 'alarm = "p"', 'count = "none"'))
    assert not is_pass(entry("alarm", 'program = "x"', 'alarm = "p"', 'count = "at most 3"'))


def test_a_stranger_s_text_cannot_command_the_terminal():
    mended = entry("mended", 'what = "\\u001b[2Jhello"', 'card = "A7"')
    assert "\x1b" not in sentence(mended)
    assert "hello" in sentence(mended)


def test_types_are_plain_data():
    assert Stop(program="x", lamps="a=1") == Stop(program="x", lamps="a=1", path=("entry", 3))
    assert CaseTable(format_="case/1", machine="m").entries == ()
    assert Mended(what="w", card="c").works == 0.9
    assert Addresses(store="s", failing="1").complete
