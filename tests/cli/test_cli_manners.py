"""Exit codes, streams, pipes, colour, encodings, signals and safe writes, each seen from outside."""

import json
import os
import pty
import select
import signal
import time

import pytest

BAD = "; machine: dunlin\n        jmup here\n"
# counts through 48 bits, so that no engine comes to an end of it
FOREVER = """        .at 0x100
again:  add-number r1, r1, 1
        jump-if-not-zero r1, again
        add-number r2, r2, 1
        jump again
"""


# --- exit codes: one case per code ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        (["machines"], 0),
        (["pattern", "{left}", "{left}"], 0),
        (["pattern", "{left}", "{right}"], 1),
        (["march", "MATS+", "--class", "TF"], 1),
        (["march", "MATS+", "--class", "SAF"], 0),
        (["run"], 2),
        (["run", "fulmar", "gates", "--max-time", "soon"], 2),
        (["machines", "--no-such-option"], 2),
        (["machines", "-o", "{bad}"], 2),
        (["machines", "fulmar", "--page", "--json"], 2),
        (["run", "fulmer", "gates"], 3),
        (["run", "fulmar", "gatez"], 3),
        (["assemble", "dunlin", "{bad}"], 3),
        (["march", "~(w0); ^(r1)"], 3),
        (["run", "fulmar", "gates", "--max-steps", "10"], 4),
    ],
)
def test_exit_code(cli, tmp_path, arguments, code):
    (tmp_path / "bad.asm").write_text(BAD)
    (tmp_path / "left.oct").write_text("words 12 base octal\n0: 0001 0002\n")
    (tmp_path / "right.oct").write_text("words 12 base octal\n0: 0001 0003\n")
    names = {
        name: tmp_path / file
        for name, file in (("bad", "bad.asm"), ("left", "left.oct"), ("right", "right.oct"))
    }
    assert cli(*(a.format(**names) for a in arguments)).code == code


def test_exit_code_of_our_own_mistake_and_no_traceback(cli, monkeypatch):
    def broken():
        raise RuntimeError("a slip")

    monkeypatch.setattr("faults.cli.info._facts", broken)
    told = cli("info")
    assert told.code == 70
    assert "a slip" in told.err
    assert "Traceback" not in told.err
    assert "Traceback" in cli("--debug", "info").err


def test_an_alarm_that_stops_the_machine_is_a_negative_answer(cli, tmp_path):
    stray = tmp_path / "stray.asm"
    stray.write_text("        .at 0o7777\n        .word 0\n        .start 0o7777\n")
    told = cli("run", "fulmar", stray, "--max-steps", 50)
    assert told.code in {1, 4}
    assert "stray" in told.out


# --- streams ----------------------------------------------------------------------------------------------


def test_results_and_notices_go_to_their_own_streams(process):
    done = process("run", "fulmar", "gates")
    assert done.returncode == 0
    assert b"RAVENSHOLM GATES" in done.stdout
    assert b"engine:" not in done.stdout
    assert done.stderr.decode().startswith("engine: ")
    assert process("run", "fulmar", "gates", "-q").stderr == b""


def test_bad_input_leaves_standard_output_empty(cli, tmp_path):
    bad = tmp_path / "bad.asm"
    bad.write_text(BAD)
    told = cli("assemble", "dunlin", bad)
    assert told.out == ""
    assert told.err.startswith(f"{bad}:2:9: error: ")
    assert "        jmup here\n            ^~~~" in told.err
    assert "Traceback" not in told.err


@pytest.mark.parametrize("arguments", [["assemble", "dunlin", "-"], ["run", "dunlin", "-"]])
def test_errors_as_json_are_on_standard_error(cli, arguments):
    told = cli(*arguments, "--json", stdin=BAD)
    assert (told.code, told.out) == (3, "")
    errors = json.loads(told.err)
    assert errors["schema"] == "errors/1"
    assert (errors["errors"][0]["file"], errors["errors"][0]["line"], errors["errors"][0]["column"]) == (
        "<stdin>",
        2,
        9,
    )


def test_usage_errors_as_json(cli):
    told = cli("run", "--json")
    assert json.loads(told.err)["errors"][0]["code"] == "usage"


def test_standard_input_and_output_carry_bytes(process):
    assembled = process(
        "assemble",
        "dunlin",
        "-",
        "--format",
        "raw",
        "--first",
        "200",
        input=b".at 0o200\n.word 0o7402, 0o17\n",
    )
    assert assembled.stdout == b"\x0f\x02\x00\x0f"
    again = process("disassemble", "dunlin", "-", "--format", "raw", "--first", "200", input=assembled.stdout)
    assert again.returncode == 0
    assert b"0200  7402" in again.stdout


def test_characters_that_could_steer_a_terminal_are_not_printed(cli, tmp_path):
    bad = tmp_path / "bad.asm"
    bad.write_text("        jmup \x1b[2J\u202ehere\n")
    told = cli("assemble", "dunlin", bad)
    assert told.code == 3
    assert "\x1b" not in told.err
    assert "\u202e" not in told.err


def test_problems_beyond_those_shown_are_counted(cli, tmp_path):
    machine = tmp_path / "odd.toml"
    machine.write_text("format = 'machine/1'\n" + "".join(f"[[lamp]]\nx{n} = 1\n" for n in range(120)))
    told = cli("machines", machine)
    assert told.code == 3
    assert "more problems, not shown" in told.err
    assert json.loads(cli("machines", machine, "--json").err)["dropped"] > 0


# --- pipes and signals ------------------------------------------------------------------------------------


def test_a_reader_that_goes_away_is_no_mistake(started):
    with started("assemble", "fulmar", "gates", "--json", "-q", stdout=-1, stderr=-1) as child:
        assert child.stdout.readline() == b"{\n"
        child.stdout.close()
        assert child.stderr.read() == b""
        assert child.wait(timeout=30) == 0


@pytest.mark.parametrize(
    ("engine", "ready"), [("walker", 0.2), pytest.param("compiled", 20, marks=pytest.mark.slow)]
)
def test_ctrl_c_stops_within_a_second(started, tmp_path, engine, ready):
    # a second on a free processor; where others wait for it too, each of them gets its turn first
    patience = max(1.0, os.getloadavg()[0])
    program = tmp_path / "forever.asm"
    program.write_text(FOREVER)
    arguments = ["run", "sandpiper", program, "--max-steps", 10**15, "--engine", engine]
    with started(*arguments, stdout=-1, stderr=-1) as child:
        assert child.stderr.readline().startswith(b"engine")
        time.sleep(ready)
        assert child.poll() is None
        child.send_signal(signal.SIGINT)
        sent = time.monotonic()
        assert child.wait(timeout=10) == 130
        assert time.monotonic() - sent < patience
        assert b"interrupted" in child.stderr.read()
        assert child.stdout.read() == b""


# --- colour and encoding ----------------------------------------------------------------------------------


def seen_on_a_terminal(started, arguments, env):
    """Return what a process writes to a pseudo-terminal."""
    master, slave = pty.openpty()
    with started(*arguments, env=env, stdout=slave, stderr=slave, stdin=slave) as child:
        os.close(slave)
        data = b""
        while select.select([master], [], [], 30)[0]:
            try:
                part = os.read(master, 65536)
            except OSError:
                break
            if not part:
                break
            data += part
        child.wait(timeout=30)
    os.close(master)
    return data


@pytest.mark.parametrize(
    ("env", "option", "coloured"),
    [
        ({"TERM": "xterm"}, "auto", True),
        ({"TERM": "dumb"}, "auto", False),
        ({"TERM": "xterm", "NO_COLOR": "1"}, "auto", False),
        ({"TERM": "xterm", "NO_COLOR": "1"}, "always", True),
    ],
)
def test_colour_on_a_terminal(started, env, option, coloured):
    seen = seen_on_a_terminal(started, ["info", "--color", option], env)
    assert b"version" in seen
    assert (b"\x1b[" in seen) == coloured


@pytest.mark.parametrize(
    ("env", "option", "coloured"),
    [
        ({}, "auto", False),
        ({"FORCE_COLOR": "1"}, "auto", True),
        ({"FORCE_COLOR": "1", "NO_COLOR": "1"}, "auto", False),
        ({"FORCE_COLOR": "1"}, "never", False),
        ({}, "always", True),
    ],
)
def test_colour_in_a_pipe(cli, monkeypatch, env, option, coloured):
    for name in ("NO_COLOR", "FORCE_COLOR", "CLICOLOR_FORCE"):
        monkeypatch.delenv(name, raising=False)
    for name, value in env.items():
        monkeypatch.setenv(name, value)
    assert ("\x1b[" in cli("info", "--color", option).out) == coloured
    assert "\x1b[" not in cli("info", "--json", "--color", option).out
    assert ("\x1b[" in cli("machines", "fulmer", "--color", option).err) == coloured


def test_ascii_where_nothing_else_can_be_shown(process):
    for arguments in (["machines", "fulmar"], ["march", "~(w0)·"]):
        done = process(*arguments, env={"PYTHONIOENCODING": "ascii"})
        assert done.returncode in {0, 3}
        assert (done.stdout + done.stderr).isascii()
    assert "─" in process("machines", env={"PYTHONIOENCODING": "utf-8"}).stdout.decode()


@pytest.mark.parametrize("columns", [60, 80, 200])
def test_tables_fit_the_terminal(cli, monkeypatch, columns):
    monkeypatch.setenv("COLUMNS", str(columns))
    for arguments in (["machines", "fulmar"], ["march", "March C-"], ["run", "fulmar", "gates"]):
        assert max(map(len, cli(*arguments).out.splitlines())) <= columns


# --- safe writes ------------------------------------------------------------------------------------------


def test_a_file_is_not_overwritten_without_force(cli, tmp_path):
    target = tmp_path / "page.md"
    assert cli("machines", "dunlin", "--page", "-o", target).code == 0
    written = target.read_text()
    assert written.startswith("# dunlin")
    target.write_text("mine")
    told = cli("machines", "dunlin", "--page", "-o", target)
    assert told.code == 2
    assert "--force" in told.err
    assert target.read_text() == "mine"
    assert cli("machines", "dunlin", "--page", "-o", target, "--force").code == 0
    assert target.read_text() == written


def test_a_failed_write_leaves_nothing_behind(cli, tmp_path):
    program = tmp_path / "wide.asm"
    program.write_text(".at 0o200\n.word 1\n.at 0o300\n.word 2\n")
    told = cli("assemble", "dunlin", program, "--format", "raw", "-o", tmp_path / "out.bin")
    assert told.code == 3
    assert sorted(p.name for p in tmp_path.iterdir()) == ["wide.asm"]
    nowhere = cli("assemble", "dunlin", program, "-o", tmp_path / "no" / "out")
    assert nowhere.code == 3
    assert nowhere.err.startswith(f"{tmp_path / 'no' / 'out'}: error: ")


@pytest.mark.parametrize(
    "arguments", [["machines"], ["machines", "dunlin"], ["assemble", "dunlin", "selftest-march"]]
)
def test_objects_go_to_a_file_as_well(cli, tmp_path, arguments):
    printed = cli(*arguments, "--json").out
    told = cli(*arguments, "--json", "-o", tmp_path / "out.json")
    assert (told.code, told.out) == (0, "")
    assert (tmp_path / "out.json").read_text() == printed
    assert cli(*arguments, "--json", "-o", tmp_path / "out.json").code == 2


def test_a_new_file_has_the_rights_of_any_new_file(cli, tmp_path):
    cli("machines", "dunlin", "--page", "-o", tmp_path / "page.md")
    (tmp_path / "other").write_text("")
    assert (tmp_path / "page.md").stat().st_mode == (tmp_path / "other").stat().st_mode
