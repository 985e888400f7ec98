"""What a program from a stranger may include."""

import pytest


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("/etc/hostname", "lies in the program's folder or below it"),
        ("../other.asm", "lies in the program's folder or below it"),
        ("parts/../../other.asm", "lies in the program's folder or below it"),
        ("endless", "an input has at most 64 MiB"),
        ("not-text", "this is text in UTF-8"),
    ],
)
def test_only_text_below_the_program_is_included(cli, tmp_path, name, why):
    (tmp_path / "endless").symlink_to("/dev/zero")
    (tmp_path / "not-text").write_bytes(b"\xff\xfe")
    program = tmp_path / "stranger.asm"
    program.write_text(f'.include "{name}"\n')
    told = cli("assemble", "dunlin", str(program))
    assert told.code == 3
    assert ":1:10: error: " in told.err
    assert why in told.err
