"""The commands about a case: exit codes, what they say, and bad input."""

import json

import pytest

from emu.codes import encode
from emu.files import write_image
from emu.image import MemoryImage
from emu.load import load_machine
from emu.shipped import find_program, programs_folder
from faults.cli.pages import import_declaring_modules
from faults.cli.schemas import check_against, declared_schemas
from faults.predictions.scene import file_word, program_of

EVENING = programs_folder() / "ravensholm" / "evening"
HEAD = 'format = "case/1"\nmachine = "fulmar"\n'


def of_schema(told, schema):
    printed = json.loads(told.out)
    import_declaring_modules()
    assert check_against(declared_schemas()[schema], printed) == ()
    assert printed["schema"] == schema
    return printed


@pytest.fixture
def case(tmp_path):
    """Return a function that writes a case into a folder with the evening's dump in it."""
    (tmp_path / "rope.oct").write_bytes((EVENING / "rope-reading.oct").read_bytes())

    def make(text):
        path = tmp_path / "case.toml"
        path.write_text(HEAD + text)
        return path

    return make


def test_the_evening_names_the_line_and_the_pin(cli):
    printed = of_schema(cli("match", EVENING / "case.toml", "--json", "-q"), "match/1")
    best = printed["groups"][0]
    assert printed["outcome"] == "fits"
    assert {m["fault"] for m in best["members"]} == {"rope/address/12:open", "rope/address/12:stuck-1"}
    assert all("pin 24" in m["label"] for m in best["members"])
    assert best["probability"] > 0.95


def test_the_evening_next_is_an_unpowered_measurement(cli):
    told = cli("next", EVENING / "case.toml", "--json", "-q")
    assert told.code == 0
    printed = of_schema(told, "next/1")
    first = printed["steps"][0]
    assert not first["powered"]
    assert "rope/address/12" in first["name"]
    assert first["caution"]
    assert any("power off" in s["set_aside"] for s in printed["steps"])


def test_match_writes_a_page_once(cli, tmp_path):
    page = tmp_path / "evening.html"
    told = cli("match", EVENING / "case.toml", "--report", page, "-q")
    assert told.code == 0
    assert "Address line 12" in told.out
    assert "Next step" in told.out
    text = page.read_text()
    assert "rope/address/12:open" in text
    assert "watchdog" in text
    assert cli("match", EVENING / "case.toml", "--report", page, "-q", "--no-next").code == 2


def test_the_demo_ends_with_what_to_type_next(cli, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    told = cli("demo", "-q")
    assert told.code == 0
    for said in ("What the volunteers wrote down", "pin 24", "Ring out", "corewright next"):
        assert said in told.out
    assert (tmp_path / "corewright-demo.html").stat().st_size > 10_000
    assert cli("demo", "-q").code == 2


def test_a_failure_that_no_fault_makes(cli, case):
    """A line that nothing in the model prints: the exit code says that nothing fits."""
    text = '[[entry]]\nkind = "failed"\nprogram = "selftest-parity"\ntext = "BAD 7777 123456 654321"\n'
    text += '[[entry]]\nkind = "passed"\nprogram = "selftest-bank-switch"\n'
    told = cli("match", case(text), "--json", "-q")
    assert told.code == 1
    assert of_schema(told, "match/1")["outcome"] in ("nothing", "misread")


def test_a_case_without_observations_is_inconclusive(cli, case):
    assert cli("match", case(""), "-q").code == 4


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda lines: [lines[0], "words 16 base hex", *lines[2:]], "rope.oct:"),
        (lambda lines: [*lines[:3], lines[3][:20] + "9" + lines[3][21:], *lines[4:]], "rope.oct:4:"),
        (lambda lines: ["words 12 base octal", *lines[2:]], "rope.oct:"),
    ],
    ids=["wrong word of layout", "no octal digit", "wrong word size"],
)
def test_a_bad_dump_is_refused_at_its_place(cli, case, tmp_path, change, said):
    file = tmp_path / "rope.oct"
    path = case('[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "rope.oct"\nprogram = "gates"\n')
    file.write_text("\n".join(change(file.read_text().split("\n"))))
    told = cli("match", path, "-q")
    assert told.code == 3
    assert said in told.err
    assert "Traceback" not in told.err


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ('kind = "stop"\nprogram = "gates"\nlamps = "accumulator=400012"', "case.toml:6:9"),
        ('kind = "stop"\nprogram = "gates"\nlamps = "acumulator=4"', "accumulator"),
        ('kind = "alarm"\nprogram = "gates"\nalarm = "perity"\ncount = 3', "parity"),
        ('kind = "dump"\nstore = "roap"\nfile = "rope.oct"', "rope"),
        ('kind = "dump"\nstore = "rope"\nfile = "gone.oct"', "case.toml:6:"),
        ('kind = "measured"\nsite = "rope/address/99"\nreading = "open"', "rope/address"),
        ('kind = "measured"\nsite = "core/cell/0o9999/1"\nreading = "open"', "core/cell"),
        ('kind = "passed"\nprogram = "gatez"', "gates"),
        ('kind = "addresses"\nstore = "core"\nfailing = "9"', "octal"),
        ('kind = "hung"\nprogram = "gates"\nwithin = "7..3"', "upward"),
        ('kind = "capture"\nprogram = "gates"\nfile = "gone.csv"', "gone.csv"),
    ],
)
@pytest.mark.parametrize("verb", ["match", "next"])
def test_a_case_that_does_not_fit_the_machine_is_refused(cli, case, verb, entry, said):
    told = cli(verb, case(f"[[entry]]\n{entry}\n"), "-q")
    assert told.code == 3
    assert said in told.err
    assert "case.toml:" in told.err
    assert not told.out


@pytest.mark.parametrize("how", ["shifted", "swapped"])
def test_a_misread_file_is_told_and_not_taken_as_evidence(cli, case, tmp_path, how):

    machine = load_machine("fulmar")
    rope = program_of(machine, find_program("fulmar", "gates"), "gates").image.segments["rope"]
    data = {a: v & 0xFFFF for a, (v, _) in rope.cells.items()}
    if how == "shifted":
        data = {a + 1: v for a, v in data.items() if a + 1 < 24576}
    else:
        data = {a: (v >> 8) | (v & 0xFF) << 8 for a, v in data.items()}
    image = MemoryImage.certain(17, {a: encode("odd", 16, v) for a, v in data.items()})
    word = file_word(machine, machine.stores[1])
    (tmp_path / "rope.oct").write_bytes(write_image(image, "listing", word))
    text = '[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "rope.oct"\nprogram = "gates"\n'
    text += '[[entry]]\nkind = "passed"\nprogram = "selftest-parity"\n'
    told = cli("match", case(text), "--json", "-q")
    printed = of_schema(told, "match/1")
    assert printed["suspicions"]
    assert printed["unused"][0]["entry"] == 1
    assert len(printed["observations"]) == 1


def test_separate_finds_the_shortest_pattern(cli):
    told = cli(
        "separate", "core/address/3:stuck-0", "core/address/4:stuck-0", "--for", "dunlin", "--json", "-q"
    )
    assert told.code == 0
    printed = of_schema(told, "separate/1")
    assert printed["words"] == 2
    assert printed["if_a"] != printed["if_b"]


def test_separate_proves_that_nothing_can(cli):
    told = cli("separate", "rope/address/12:open", "rope/address/12:stuck-1", "--for", "fulmar", "-q")
    assert told.code == 1
    assert "exactly the same way" in told.out
    assert cli("separate", "a", "b").code == 2


def test_separate_goes_by_what_is_seen_and_not_by_check_bits(cli):
    """A bit that the check mends looks like a check bit that it mends: only the lamp of the alarm tells."""
    told = cli(
        "separate", "chips/chip/1/0:stuck-0", "chips/chip/1/check0:stuck-0", "--for", "sandpiper", "--json"
    )
    printed = of_schema(told, "separate/1")
    assert printed["found"]
    assert "check bits" not in printed["if_a"] + printed["if_b"]
    assert ("alarm mended" in printed["if_a"]) != ("alarm mended" in printed["if_b"])


def test_separate_does_not_judge_by_one_trial_what_comes_and_goes(cli):
    told = cli("separate", "core/x/13:open@50%", "core/x/13:open", "--for", "dunlin", "-q")
    assert told.code == 4
    assert "comes and goes" in told.out
    assert "corewright match" in told.out


def test_a_case_from_new_to_show(cli, tmp_path):
    path = tmp_path / "mine.toml"
    assert cli("case", "new", path, "dunlin", "--title", "no tides").code == 0
    assert cli("case", "new", path, "dunlin").code == 3
    before = path.read_text()
    assert cli("case", "add", path, "passed", "program=tides", "runs=3").code == 0
    assert path.read_text().startswith(before)
    assert cli("case", "add", path, "passed", "programm=tides").code == 3
    assert cli("case", "add", path, "passed", "tides").code == 2
    assert cli("case", "check", path).code == 0
    assert of_schema(cli("case", "check", path, "--json"), "case-check/1")["errors"] == 0
    assert "tides passed 3 times" in cli("case", "show", path).out
    assert of_schema(cli("case", "show", path, "--json"), "case-show/1")["entries"][0]["epoch"] == 0
    path.write_text(
        path.read_text() + '[[entry]]\nkind = "alarm"\nprogram = "tides"\nalarm = "perity"\ncount = 3\n'
    )
    told = cli("case", "check", path)
    assert told.code == 3
    assert "mine.toml:" in told.err


def test_a_machine_that_is_not_there_is_told_in_the_case_with_the_file_that_is(cli, tmp_path):
    (tmp_path / "mine.toml").write_text("", encoding="utf-8")
    case = tmp_path / "case.toml"
    for name, hint in (("mine", "write mine.toml"), ("fulmer", "did you mean 'fulmar'?")):
        case.write_text(f'format = "case/1"\nmachine = "{name}"\n', encoding="utf-8")
        for command in (("match",), ("case", "check")):
            told = cli(*command, case)
            assert told.code == 3
            assert "case.toml:2:11: error:" in told.err
            assert hint in told.err
