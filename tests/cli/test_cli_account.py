"""predict, explain, dump and faults on the command line."""

import json
from collections import Counter
from pathlib import Path

import pytest

import emu
from faults.cli.dump import SCHEMA as DUMP
from faults.cli.explain import CODE, STORY
from faults.cli.predict import SCHEMA as PREDICT
from faults.cli.schemas import check_against
from faults.cli.universe import SCHEMA as FAULTS

LINE = "rope/address/10:stuck-0"
QUICK = ("--max-steps", "3000")


# --- predict


def test_predict_tells_a_volunteer_what_a_stuck_line_does(cli):
    told = cli("predict", "fulmar", "gates", "--fault", LINE, *QUICK)
    assert told.code == 1
    assert "Address line 10 (bank bit 0) of the rope [card B2" in told.out.replace("\n", " ")
    assert "connector J11 · pin 22" in told.out
    assert "CAUTION" in told.out
    assert "bit 1 is the most" in told.out
    assert "Printer" in told.out
    assert "engine:" in told.err


def test_predict_says_why_nothing_shows(cli):
    told = cli("predict", "fulmar", "gates", "--fault", "core/x/13:open", *QUICK, "-q")
    assert told.code == 0
    assert "Nothing can be seen of it. The program never goes there" in told.out.replace("\n", " ").replace(
        "            ", " "
    ).replace("  ", " ")
    assert told.err == ""


@pytest.mark.parametrize(
    ("fault", "more"),
    [
        (LINE, ()),
        ("core/x/13:open", ()),
        ("rope/sense/3:stuck-1@1%", ("--runs", "2")),
        ("bus/address/5:stuck-1", ()),
        ("core/rewrite:dead", ()),
    ],
)
def test_predict_json_is_as_declared(cli, fault, more):
    told = cli("predict", "fulmar", "gates", "--fault", fault, "--json", "-q", *QUICK, *more)
    found = json.loads(told.out)
    assert check_against(PREDICT, found) == ()
    assert found["fault"] == fault
    assert found["differs"] == (told.code == 1)
    assert bool(found["reasons"]) == (not any(row["differs"] for row in found["seen"]))


def test_several_faults_at_once_in_either_order(cli):
    two = ["--fault", "core/x/13:open", "--fault", "rope/sense/3:stuck-1"]
    one = ["--fault", "rope/sense/3:stuck-1 & core/x/13:open"]
    first, second = (
        cli("predict", "fulmar", "gates", *which, "--json", "-q", *QUICK).out for which in (two, one)
    )
    assert first == second


def test_conditions_and_inputs_are_given(cli):
    fault = ["--fault", "rope/sense/3:stuck-1@when:warm"]
    assert cli("predict", "fulmar", "gates", *fault, *QUICK).code == 0
    assert cli("predict", "fulmar", "gates", *fault, "--when", "warm", *QUICK).code == 1
    bad = cli("predict", "fulmar", "gates", *fault, "--input", "see=1", *QUICK)
    assert bad.code == 3
    assert "sea" in bad.err


def test_predict_writes_a_page_and_never_over_a_file(cli, tmp_path):
    page = tmp_path / "account.html"
    arguments = ("predict", "fulmar", "gates", "--fault", LINE, "-o", page, "-q", *QUICK)
    assert cli(*arguments).code == 1
    assert page.read_text().startswith("<!doctype html>")
    assert "stuck-0" in page.read_text()
    assert cli(*arguments).code == 2
    assert cli(*arguments, "--force").code == 1


@pytest.mark.parametrize(
    ("fault", "said"),
    [
        ("rope/address/15:stuck-0", "'rope/address/14'"),
        ("rope/adress/10:stuck-0", "rope/address"),
        ("core/cell/0o4000/3:stuck-1", "0o3777"),
        ("rope/address/10:stuk-0", "stuck-0"),
        ("core/x/13:stuck-1", "open"),
    ],
)
def test_a_fault_that_the_board_has_not_is_told_with_the_nearest(cli, fault, said):
    told = cli("predict", "fulmar", "gates", "--fault", fault)
    assert told.code == 3
    assert said in told.err
    assert told.out == ""


# --- explain


def test_explain_tells_the_story(cli):
    told = cli("explain", "fulmar", "gates", "--fault", LINE, *QUICK)
    assert told.code == 1
    flat = " ".join(told.out.split())
    assert "1. The first word that goes wrong: the processor fetches" in flat
    assert "instead of `load 0o1`" in flat
    assert "access 140" in flat


@pytest.mark.parametrize("fault", [LINE, "core/x/13:open"])
def test_explain_json_is_as_declared(cli, fault):
    told = cli("explain", "fulmar", "gates", "--fault", fault, "--json", "-q", *QUICK)
    found = json.loads(told.out)
    assert check_against(STORY, found) == ()
    assert found["silent"] == (told.code == 0)


def test_explain_an_error_code(cli):
    told = cli("explain", "unknown-site")
    assert told.code == 0
    assert "A fault lies at a site that the board has." in told.out
    assert check_against(CODE, json.loads(cli("explain", "[unknown-site]", "--json").out)) == ()
    wrong = cli("explain", "unknown-sight")
    assert wrong.code == 3
    assert "unknown-site" in wrong.err


@pytest.mark.parametrize("arguments", [("fulmar", "gates"), ("fulmar", "--fault", LINE)])
def test_explain_says_what_is_missing(cli, arguments):
    assert cli("explain", *arguments).code == 2


def test_a_machine_without_a_board_file_is_told_so(cli, tmp_path):
    own = tmp_path / "own.toml"
    own.write_bytes((Path(emu.__file__).parent / "machines" / "dunlin.toml").read_bytes())
    told = " ".join(cli("faults", own, "--no-cells").out.split())
    assert "board none, so only address lines, data lines and cells are known. Write STEM.board.toml" in told
    assert json.loads(cli("faults", own, "--no-cells", "--json").out)["described"] is False
    assert "Write STEM.board.toml" not in cli("faults", "dunlin", "--no-cells").out


# --- dump


def test_dump_shows_the_alternating_groups(cli):
    # common practice, no source: address bit 10 stuck gives groups of 1,024 words right and wrong
    told = cli("dump", "fulmar", "rope", "--fault", LINE)
    assert told.code == 1
    assert "Groups of 1,024 words" in " ".join(told.out.split())
    rows = [line for line in told.out.splitlines() if line.startswith("0o")]
    assert [row.split()[1][0] for row in rows] == [".", "C"] * 12


def test_dump_writes_what_was_read_and_pattern_finds_it(cli, tmp_path):
    right, wrong = tmp_path / "right.oct", tmp_path / "wrong.oct"
    assert cli("dump", "fulmar", "rope", "-o", right, "--checks", "stored").code == 0
    more = ("--fault", LINE, "-o", wrong, "--checks", "stored")
    assert cli("dump", "fulmar", "rope", *more).code == 1
    told = cli("pattern", right, wrong)
    assert told.code == 1
    assert "address bit 10 was always 0" in " ".join(told.out.split())


def test_dump_of_a_program_twice(cli):
    told = cli(
        "dump", "fulmar", "core", "--fault", "core/rewrite:dead", "--twice", "--json", "--program", "gates"
    )
    found = json.loads(told.out)
    assert check_against(DUMP, found) == ()
    assert told.code == 0  # the first reading is right
    assert found["destroyed"] == 2048
    assert set(found["words_again"]) == {0}
    told = cli("dump", "fulmar", "core", "--fault", "core/rewrite:dead", "--twice")
    assert "may be the only one" in " ".join(told.out.split())


def test_dump_after_a_run_tells_what_the_broken_machine_left_there(cli, tmp_path):
    # dunlin's one store need not be named; a healthy machine leaves what it should
    told = cli("dump", "dunlin", "--program", "selftest-registers", "--ran", "--json")
    healthy = json.loads(told.out)
    assert (told.code, healthy["wrong"], healthy["destroyed"]) == (0, 0, 0)
    more = ("--program", "selftest-registers", "--fault", "core/data/3:stuck-1", "--json")
    loaded, left = (json.loads(cli("dump", "dunlin", *more, *ran).out) for ran in ((), ("--ran",)))
    # bit 3 (of 12, from the left) reads as 1 in both; reading clears and writes back, so that where the
    # program has been, the cells hold it by now
    assert {w >> 8 & 1 for w in (*loaded["words"], *left["words"])} == {1}
    assert left["contents"] == "what selftest-registers leaves there"
    assert cli("dump", "dunlin", "--ran").code == 2
    told = cli("dump", "fulmar", "--fault", LINE)
    assert (told.code, "STORE is one of core, rope; none was named" in told.err) == (2, True)


def test_dump_that_would_lose_its_check_bits_says_how_to_keep_them(cli, tmp_path):
    told = cli("dump", "fulmar", "core", "--fault", "core/sense/3:open", "-o", tmp_path / "x.oct")
    assert told.code == 3
    assert "hint: write the check bits too: --checks stored" in told.err


def test_dump_of_an_image_that_was_read_before(cli, tmp_path):
    image = tmp_path / "core.oct"
    image.write_text("words 16 base octal parity odd checks absent\n0: 000001 000002\n")
    found = json.loads(cli("dump", "fulmar", "core", "--image", image, "--json").out)
    assert [w & 0xFFFF for w in found["words"][:3]] == [1, 2, 0]
    assert cli("dump", "fulmar", "core", "--image", image, "--program", "gates").code == 2


def test_dump_of_own_addresses_and_of_no_store(cli):
    found = json.loads(cli("dump", "dunlin", "core", "--fill", "addresses", "--json").out)
    assert found["words"] == list(range(4096))
    assert cli("dump", "fulmar", "drum").code == 2


def test_dump_says_why_a_fault_cannot_show_in_it(cli):
    told = cli("dump", "fulmar", "core", "--fault", "core/x/13:open@when:warm")
    assert (told.code, told.err) == (0, "The fault is there only when warm: not in this reading.\n")
    told = cli("dump", "fulmar", "core", "--fault", "core/x/13:open@when:warm", "--when", "warm")
    assert (told.code, told.err) == (1, "")
    told = cli("dump", "fulmar", "core", "--fault", LINE)
    assert (told.code, told.err) == (0, "The fault does not lie in the core.\n")


def test_dump_tells_that_the_address_bus_is_not_in_it(cli):
    told = cli("dump", "fulmar", "core", "--fault", "bus/address/3:open")
    assert told.code == 0
    assert "not seen at the store's own connector" in told.err


# --- faults


def test_faults_counts_the_universe(cli):
    found = json.loads(cli("faults", "fulmar", "--json").out)
    assert check_against(FAULTS, found) == ()
    assert sum(found["counts"].values()) == found["total"]
    assert found["total"] > 10_000
    assert len(found["structure"]) < 10_000
    assert LINE in found["structure"]
    without = json.loads(cli("faults", "fulmar", "--no-cells", "--json").out)
    assert without["total"] == len(without["structure"]) == len(found["structure"])
    kinds = Counter(text.rpartition(":")[2] for text in without["structure"])
    assert dict(kinds) == without["counts"]


def test_faults_of_a_store_and_a_kind(cli):
    told = cli("faults", "fulmar", "--store", "core", "--kind", "open", "--no-cells", "--list")
    lines = told.out.splitlines()
    assert "core/x/13:open" in lines
    assert all(line.startswith("core/") and line.endswith(":open") for line in lines)
    assert cli("faults", "fulmar", "--kind", "opne").code == 2


def test_faults_collapse_groups(cli):
    more = ("--no-cells", "--store", "core", "--kind", "open", "--kind", "dead", "--collapse", "--json")
    found = json.loads(cli("faults", "dunlin", *more).out)
    assert 0 < found["groups"] <= found["total"]
    assert "By kind" in cli("faults", "dunlin", "--no-cells").out


def test_a_report_holds_no_folders_of_the_reader(cli, tmp_path):
    program = tmp_path / "idle.asm"
    program.write_text("        .at 6000\nagain:  jump again\n")
    told = cli("predict", "fulmar", program, "--fault", LINE, *QUICK)
    assert "idle.asm" in told.out
    assert str(tmp_path) not in told.out
    image = tmp_path / "core.oct"
    image.write_text("words 16 base octal parity odd checks absent\n0: 000001\n")
    assert str(tmp_path) not in cli("dump", "fulmar", "core", "--image", image).out


def test_a_misspelt_condition_is_no_answer_about_another_day(cli):
    fault = "rope/sense/3:stuck-1@when:warm"
    told = cli("dump", "fulmar", "rope", "--fault", fault, "--when", "warmm")
    assert told.code == 2
    assert "the fault asks about warm; got --when 'warmm'" in told.err
    assert cli("dump", "fulmar", "rope", "--fault", fault, "--when", "warm").code == 1


def test_faults_of_some_cells_only(cli):
    told = cli(
        "faults", "fulmar", "--store", "core", "--kind", "stuck-0", "--within", "0o20", "0o27", "--json"
    )
    less = cli("faults", "fulmar", "--store", "core", "--kind", "stuck-0", "--no-cells", "--json")
    assert json.loads(told.out)["total"] - json.loads(less.out)["total"] == 8 * 17
    wrong = cli("faults", "fulmar", "--within", "0o28", "5")
    assert wrong.code == 2
    assert "an address is a whole number from 0" in wrong.err
