"""The commands do what they say, against files that were not made by them."""

import json
from pathlib import Path

import pytest

from emu.assemble import assemble
from emu.load import load_machine
from emu.machinepage import machine_page
from emu.shipped import machine_names, program_names
from emu.where import Source
from faults.cli import exit_code_of
from faults.cli.run import simulated_time
from faults.cli.schemas import schema_page

ROOT = Path(__file__).resolve().parents[2]
PROGRAMS = ROOT / "programs"
WORDS = [0o5213, 0o0347, 0o7120, 0o2664, 0o1475, 0o6031, 0o3706, 0o4552,
         0o2417, 0o5340, 0o0761, 0o6125, 0o3072, 0o7654, 0o1203, 0o4536]  # fmt: skip


def listing(words, first=0):
    return f"words 12 base octal\n{first:o}: {' '.join(f'{w:04o}' for w in words)}\n"


# --- machines ---------------------------------------------------------------------------------------------


def test_machines_lists_those_that_come_along(cli):
    printed = json.loads(cli("machines", "--json").out)
    assert [m["name"] for m in printed["machines"]] == ["dunlin", "fulmar", "sandpiper"]
    text = cli("machines").out
    assert all(name in text for name in machine_names())


@pytest.mark.parametrize("name", ["dunlin", "fulmar", "sandpiper"])
def test_a_description_states_numbering_and_every_instruction(cli, monkeypatch, name):
    monkeypatch.setenv("COLUMNS", "300")
    machine = load_machine(name)
    text = cli("machines", name).out
    assert machine.word.numbering_sentence() in text
    for instruction in machine.instructions:
        assert instruction.doc in text
    page = cli("machines", name, "--page").out
    assert page == machine_page(machine)
    assert [line[4:] for line in page.splitlines() if line.startswith("### ")] == [
        i.name for i in machine.instructions
    ]


def test_a_machine_of_ones_own_is_described_from_its_file(cli):
    told = cli("machines", ROOT / "tests" / "assemble" / "tern.toml")
    assert told.code == 0
    assert "tern" in told.out


def test_an_instruction_without_a_sentence_is_described_by_what_it_does(cli, tmp_path):
    text = (ROOT / "tests" / "assemble" / "tern.toml").read_text(encoding="utf-8")
    bare = "".join(line for line in text.splitlines(keepends=True) if not line.startswith("doc = "))
    assert bare != text
    own = tmp_path / "own.toml"
    own.write_text(bare, encoding="utf-8")
    machine = load_machine(own)
    told = cli("machines", own)
    rows = told.out.partition("what it does")[2]
    assert machine.instructions[0].does_text[0] in rows
    page = cli("machines", own, "--page").out
    assert "corewright machines FILE --page" in page
    assert "\n\n\n```" not in page


# --- assemble and disassemble -----------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["listing", "intel-hex", "s-record", "csv"])
@pytest.mark.parametrize("checks", ["absent", "stored"])
@pytest.mark.parametrize(("machine", "program"), [("fulmar", "{small}"), ("dunlin", "selftest-march")])
def test_what_is_assembled_comes_back_as_the_same_words(cli, tmp_path, machine, program, form, checks):
    small = tmp_path / "small.asm"
    small.write_text("        .bank 2\n        .at 0o4000\n        load 0o17\n        .word 1, 0\n")
    layout = ["--format", form, "--checks", checks]
    store = ["--store", load_machine(machine).stores[-1].name]
    image, text, again = tmp_path / "a.img", tmp_path / "a.asm", tmp_path / "b.img"
    assert cli("assemble", machine, program.format(small=small), "-o", image, *layout, *store).code == 0
    assert cli("disassemble", machine, image, "-o", text, *layout, *store).code == 0
    assert cli("assemble", machine, text, "-o", again, *layout, *store).code == 0
    assert again.read_bytes() == image.read_bytes()


def test_listing_and_symbols_go_where_they_are_told(cli, tmp_path):
    told = cli("assemble", "fulmar", "gates", "--listing", "-", "--symbols", tmp_path / "names.txt")
    assert "RAVENSHOLM" not in told.err
    assert "words 16" not in told.out
    assert "next_round:" in told.out
    assert "next_round" in (tmp_path / "names.txt").read_text()
    assert not (tmp_path / "-").exists()


def test_objects_hold_the_words_of_the_assembler(cli):
    printed = json.loads(cli("assemble", "fulmar", "gates", "--json").out)
    path = PROGRAMS / "fulmar" / "gates.asm"
    image = assemble(
        Source("gates.asm", path.read_text()),
        load_machine("fulmar"),
        lambda name: Source(name, (path.parent / name).read_text()),
    ).image
    assert [s["store"] for s in printed["segments"]] == ["rope"]
    words = {w["index"]: w["word"] for w in printed["segments"][0]["words"]}
    assert words == {a: w for a, w, _ in image.segments["rope"].words()}
    assert all(int(w["text"], 8) == w["word"] for w in printed["segments"][0]["words"])
    assert {s["name"]: s["value"] for s in printed["symbols"]} == dict(image.symbols)


def test_a_program_for_two_stores_asks_which_one(cli, tmp_path):
    program = tmp_path / "two.asm"
    program.write_text("        .at 0o0\n        .word 1\n        .at 0o6000\n        .word 2\n")
    told = cli("assemble", "fulmar", program)
    assert told.code == 2
    assert "core, rope" in told.err
    assert "0000: 000001" in cli("assemble", "fulmar", program, "--store", "core").out
    assert cli("assemble", "fulmar", program, "--store", "attic").code == 2


def test_warnings_go_to_standard_error(cli, tmp_path):
    program = tmp_path / "odd.asm"
    program.write_text("        .at 0o200\n        jump 0o200\n        set 5\n")
    loud, quiet = cli("assemble", "dunlin", program), cli("assemble", "dunlin", program, "-q")
    assert loud.out == quiet.out
    assert "warning:" in loud.err
    assert quiet.err == ""


def test_check_prints_no_image(cli, tmp_path):
    program = tmp_path / "good.asm"
    program.write_text("        .at 0o200\n        stop 1\n")
    told = cli("assemble", "dunlin", program, "--check")
    assert (told.code, told.out) == (0, "")
    assert json.loads(cli("assemble", "dunlin", program, "--check", "--json").out)["diagnostics"] == []


def test_an_unknown_digit_cannot_be_disassembled(cli):
    told = cli("disassemble", "dunlin", "-", stdin="words 12 base octal\n0: 0001 1?77\n")
    assert told.code == 3
    assert "[disassemble-unknown-word]" in told.err


def test_a_start_address_of_an_image_is_left_out_and_told(cli):
    # S9 record: the sum is the ones' complement of 03 + 00 + 02
    text = "S10500000F02E9\nS9030002FA\n"
    told = cli("disassemble", "dunlin", "-", stdin=text)
    assert (told.code, ".start" in told.out) == (0, False)
    assert "start address is left out" in told.err


def test_check_bits_that_do_not_fit_are_told(cli):
    good = "words 16 base octal parity odd checks stored\n0: 200000 000001\n"
    assert cli("disassemble", "fulmar", "-", "--store", "rope", stdin=good).err == ""
    wrong = good.replace("000001", "200001")
    assert "1 words have check bits" in cli("disassemble", "fulmar", "-", "--store", "rope", stdin=wrong).err


# --- run --------------------------------------------------------------------------------------------------


def test_the_gate_sequence_prints_the_log_it_should(cli):
    told = cli("run", "fulmar", "gates", "--json")
    printed = json.loads(told.out)
    assert told.code == 0
    assert printed["printed"]["printer"] == (PROGRAMS / "fulmar" / "gates.expected").read_text()
    assert printed["stop"]["kind"] == "halt"
    text = cli("run", "fulmar", PROGRAMS / "fulmar" / "gates.asm").out
    for line in (PROGRAMS / "fulmar" / "gates.expected").read_text().splitlines():
        assert line in text


def test_an_image_runs_as_its_program_does(cli, tmp_path):
    image = tmp_path / "gates.oct"
    cli("assemble", "fulmar", "gates", "-o", image)
    inputs = PROGRAMS / "fulmar" / "gates.inputs"
    one = json.loads(cli("run", "fulmar", "gates", "--json").out)
    two = json.loads(cli("run", "fulmar", image, "--inputs", inputs, "--json").out)
    assert one == two


ECHO = """        .at 0o6000
        read-port 4
        write-port 2
        read-port 4
        write-port 2
        stop
"""


def test_inputs_from_a_file_beside_from_a_named_file_and_from_options(cli, tmp_path):
    program = tmp_path / "echo.asm"
    program.write_text(ECHO)

    def sent(*arguments):
        return [
            o["word"] for o in json.loads(cli("run", "fulmar", program, "--json", *arguments).out)["outputs"]
        ]

    assert sent() == [0, 0]
    assert sent("--input", "sea=3,4") == [3, 4]
    (tmp_path / "echo.inputs").write_text("sea: 5\n")
    assert sent() == [5, 5]
    assert sent("--input", "sea=3,4") == [3, 4]
    (tmp_path / "other").write_text("sea: 0x10 17\n")
    assert sent("--inputs", tmp_path / "other") == [16, 17]
    bad = cli("run", "fulmar", program, "--input", "see=1")
    assert bad.code == 3
    assert "did you mean 'sea'?" in bad.err


def test_how_a_run_stopped_is_told(cli, tmp_path):
    program = tmp_path / "p.asm"

    def stopped(text, *arguments):
        program.write_text(text)
        told = cli("run", "fulmar", program, "--json", *arguments)
        return told.code, json.loads(told.out)["stop"]["sentence"]

    assert stopped("        .at 0o6000\n        stop\n") == (0, "Halted at 0o6000.")
    rounds = "        .at 0o6000\n        rearm\nagain:  jump again\n"
    code, sentence = stopped(rounds, "--max-steps", 50)
    assert (code, sentence) == (4, "Not finished: the limit of instructions was hit at 0o6001.")
    code, sentence = stopped(rounds, "--max-time", "1ms")
    assert code == 4
    assert "simulated time" in sentence
    code, sentence = stopped(
        "        .at 0o6000\n        .word 0\n"
    )  # no instruction: alarm and restart, for ever
    assert code == 1
    assert sentence.startswith("Restarts for ever: 1 restart every instruction (")
    assert sentence.endswith("), at 0o6000.")


def test_an_alarm_that_no_word_raised_names_none(cli, tmp_path):
    """Stray (no instruction) and the watchdog are no matter of a word: null, not word 0 of nothing."""
    program = tmp_path / "p.asm"
    program.write_text("        .at 0o6000\n        .word 0\n")
    told = json.loads(cli("run", "fulmar", program, "--json", "--trace", 4).out)
    alarm = next(a for a in told["alarms"] if a["name"] == "stray")
    assert (alarm["first_store"], alarm["first_index"], alarm["first_index_text"]) == (None, None, None)
    events = {e["kind"]: e for e in told["events"]}
    nothing = ("store", "address", "address_text")
    assert [events["alarm"][k] for k in (*nothing, "word", "word_text")] == [None] * 5
    assert [events["restart"][k] for k in nothing] == [None] * 3
    assert events["restart"]["word"] == 1
    assert (events["fetch"]["store"], events["fetch"]["address"], events["fetch"]["word"]) == ("rope", 0, 0)


def test_an_alarm_that_a_word_raised_names_it(cli, tmp_path):
    image = tmp_path / "p.oct"
    image.write_text("words 16 base octal parity odd checks stored\n0: 200001\n")  # two ones
    told = json.loads(cli("run", "fulmar", image, "--store", "rope", "--json", "--max-steps", 1).out)
    alarm = next(a for a in told["alarms"] if a["name"] == "parity")
    assert (alarm["first_store"], alarm["first_index"], alarm["first_index_text"]) == ("rope", 0, "0o00000")


@pytest.mark.parametrize("arguments", [["--trace", "50", "--max-steps", "2000"], ["--max-time", "9ms"]])
def test_every_engine_says_the_same(cli, monkeypatch, arguments):
    monkeypatch.setattr("emu.engine.compiled.have_numba", lambda: False)  # compiling is tested elsewhere
    printed = {}
    for engine in ("auto", "walker", "compiled"):
        told = cli("run", "fulmar", "gates", "--json", "--engine", engine, *arguments)
        printed[engine] = json.loads(told.out)
        assert f"engine: {printed[engine].pop('engine')}" in told.err
        assert ("numba is not installed" in told.err) == (engine == "compiled")
    assert printed["auto"] == printed["walker"] == printed["compiled"]


def test_a_long_run_is_done_anew_by_the_engine_of_its_budget(cli, monkeypatch, tmp_path):
    monkeypatch.setattr("emu.engine.compiled.have_numba", lambda: False)
    monkeypatch.setattr("faults.cli.engines.FIRST_STEPS", 100)
    told = cli("run", "fulmar", "gates", "--json")
    assert json.loads(told.out)["engine"] == "generated"
    assert json.loads(told.out)["steps"] > 10_000


def test_a_trace_shows_the_first_events(cli):
    events = json.loads(cli("run", "fulmar", "gates", "--trace", 3, "--json").out)["events"]
    assert [e["kind"] for e in events] == ["fetch", "fetch", "output"]
    assert "150000" in cli("run", "fulmar", "gates", "--trace", 3).out


def test_the_seed_is_echoed_and_matters_only_where_chance_is_asked_for(cli):
    one, two = (json.loads(cli("run", "fulmar", "gates", "--seed", s, "--json").out) for s in (1, 2))
    assert (one.pop("seed"), two.pop("seed")) == (1, 2)
    assert one == two


@pytest.mark.parametrize(
    ("text", "nanoseconds"),
    [
        ("2", 2 * 10**9),
        ("1.5ms", 1_500_000),
        ("20 us", 20_000),
        ("7ns", 7),
        ("1min", 60 * 10**9),
        ("9" * 40, 1 << 62),
    ],
)
def test_times(text, nanoseconds):
    assert simulated_time(None, None, text) == nanoseconds


# --- pattern ----------------------------------------------------------------------------------------------


def test_an_open_address_bit_is_found_from_two_dumps_alone(cli, tmp_path):
    expected, observed = tmp_path / "e.oct", tmp_path / "o.oct"
    expected.write_text(listing(WORDS))
    observed.write_text(listing([WORDS[a & ~2] for a in range(16)]))
    told = cli("pattern", expected, observed)
    assert told.code == 1
    assert "as if address bit 1 was always 0" in " ".join(told.out.split())
    assert cli("pattern", expected, expected).code == 0


def test_word_base_and_numbering_from_options(cli, tmp_path):
    expected, observed = tmp_path / "e.csv", tmp_path / "o.csv"
    expected.write_text("".join(f"{a:x},{w:x}\n" for a, w in enumerate(WORDS)))
    observed.write_text("".join(f"{a:x},{w | 0x800:x}\n" for a, w in enumerate(WORDS)))
    told = cli("pattern", expected, observed, "--word", 12, "--base", 16, "--numbering", "msb0")
    text = " ".join(told.out.split())
    assert "Words of 12 bits, in hexadecimal; bit 0 is the most significant" in text
    assert "data bit 0 as 1" in text
    assert cli("pattern", expected, observed, "--base", 16).code == 2


def test_a_machine_brings_its_numbering_and_a_program_its_words(cli, tmp_path):
    image = tmp_path / "gates.oct"
    cli("assemble", "fulmar", "gates", "-o", image, "--checks", "stored")
    spec = load_machine("fulmar")
    damaged = image.read_text().replace(" 150000", " 150010").replace(" 550000", " 550010")
    assert damaged != image.read_text()
    image.write_text(damaged)
    told = cli("pattern", "gates", image, "--for", "fulmar", "--store", "rope", "--checks", "stored")
    text = " ".join(told.out.split())
    assert told.code == 1
    assert f"data bit {spec.word.label(3)}" in text
    assert "The parity bit lies above the data." in text
    assert "0 of " not in text.split("failing")[1][:8]


def test_pattern_numbers_address_bits_as_boards_and_dumps_do(cli, tmp_path):
    """Fulmar counts its data bits from the left; its address lines go by weight, here as everywhere else."""
    good, read = tmp_path / "good.oct", tmp_path / "read.oct"
    layout = ("--checks", "stored")
    cli("dump", "fulmar", "rope", "-o", good, *layout)
    cli("dump", "fulmar", "rope", "--fault", "rope/address/10:stuck-0", "-o", read, *layout)
    told = cli("pattern", good, read, "--machine", "fulmar", "--store", "rope", *layout)
    text = " ".join(told.out.split())
    assert told.code == 1
    assert "as if address bit 10 was always 0" in text
    assert "Groups of 1,024 words (where address bit 10 is 1) are alternately right and wrong" in text
    assert "bit 1 is the most significant" in text
    assert "Addresses of 15 bits, numbered by weight" in text


def test_dumps_without_anything_in_common_are_refused(cli, tmp_path):
    one, two = tmp_path / "1.oct", tmp_path / "2.oct"
    one.write_text(listing(WORDS))
    two.write_text(listing(WORDS, first=64))
    assert "[pattern-nothing-shared]" in cli("pattern", one, two).err


def test_addresses_of_only_one_dump_are_left_out_and_told(cli, tmp_path):
    one, two = tmp_path / "1.oct", tmp_path / "2.oct"
    one.write_text(listing(WORDS))
    two.write_text(listing(WORDS[:14]))
    told = cli("pattern", one, two)
    assert told.code == 0
    assert "2 addresses only in EXPECTED" in told.err


def test_a_second_reading(cli, tmp_path):
    files = [tmp_path / name for name in ("e", "o", "a")]
    for path, words in zip(files, (WORDS, WORDS, [0] * 16), strict=True):
        path.write_text(listing(words))
    told = cli("pattern", files[0], files[1], "--again", files[2])
    assert "Stop reading" in told.out


def test_a_list_of_failing_addresses(cli):
    told = cli(
        "pattern", "--failing", "-", "--base", 8, "--tested", "0-17", stdin="05 07, 15\n17 ; the last\n"
    )
    assert told.code == 1
    assert "address bit 2 is 1 and bit 0 is 1" in " ".join(told.out.split())
    bad = cli("pattern", "--failing", "-", stdin="05\n08\n")
    assert bad.code == 3
    assert bad.err.startswith("<stdin>:2:1: error: ")
    assert cli("pattern", "--failing", "-", stdin="; none\n").code == 3
    assert cli("pattern", "--failing", "-", "--tested", "9", stdin="05\n").code == 2
    assert cli("pattern", "a", "b", "--failing", "-", stdin="05\n").code == 2
    assert cli("pattern", "a").code == 2


# --- march, info ------------------------------------------------------------------------------------------


def test_march_prints_length_and_coverage(cli):
    printed = json.loads(cli("march", "march c-", "--json").out)
    # 10N, and all unlinked coupling faults: van de Goor, Testing Semiconductor Memories, 1991 (from memory)
    assert printed["operations_per_cell"] == 10
    full = {c["class"] for c in printed["classes"] if c["always"] == c["instances"]}
    assert {"SAF", "TF", "CFin", "CFid", "CFst", "AF-B", "AF-C", "AF-D"} <= full
    assert "100.00" in cli("march", "MATS+", "--class", "SAF").out
    assert "Escapes of TF: 8" in cli("march", "MATS+", "--escapes", "TF").out


def test_march_notation_and_names(cli):
    assert json.loads(cli("march", "~(w0); ^(r0,w1); v(r1,w0)", "--json").out)["operations_per_cell"] == 5
    names = {t["name"]: t for t in json.loads(cli("march", "--names", "--json").out)["tests"]}
    assert names["MATS+"]["operations_per_cell"] == 5
    assert names["GALPAT"]["operations_per_cell"] is None
    assert "MATS+" in cli("march", "--names").out
    assert "did you mean" in cli("march", "Martch C-").err
    assert cli("march").code == 2
    words = json.loads(cli("march", "MATS+", "--bits", 4, "--json").out)
    assert (words["cells"], words["bits"]) == (2, 4)


def test_info_shows_each_folder_on_one_line(cli, monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    lines = cli("info").out.splitlines()
    for name, folder in json.loads(cli("info", "--json").out)["folders"].items():
        assert f"{name:<14}{folder}" in lines


def test_info_and_version(cli):
    printed = json.loads(cli("info", "--json").out)
    assert printed["machines"] == list(machine_names())
    assert Path(printed["folders"]["programs"]).is_dir()
    assert printed["packages"]["numpy"]
    version = cli("--version")
    assert version.out.startswith(f"corewright {printed['version']}")
    assert "machine/1" in version.out


def test_the_page_of_schemas_names_every_key():
    page = schema_page()
    assert "| `stop.loop.low_text` | text |" in page
    assert "| `machines[].name` | text |" in page
    assert "| `packages.NAME` | text or null |" in page


def test_every_shipped_program_assembles(cli):
    for machine in machine_names():
        for program in program_names(machine):
            assert exit_code_of(["assemble", machine, program, "--check", "-q"]) == 0, program
