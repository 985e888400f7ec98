"""A corpus of malformed programs, each pinned to its exact message.

``malformed.txt`` holds the programs, the machine and the words that the caret must stand under, written by
hand; ``malformed_expected.txt`` the whole messages, reviewed by hand. On a mismatch the new messages are
written beside the old ones with the ending ``.new``.
"""

from pathlib import Path

import pytest

from emu.assemble import assemble
from emu.errors import InputError
from emu.where import Source

FOLDER = Path(__file__).parent
EXPECTED = FOLDER / "malformed_expected.txt"


def read_corpus():
    cases = {}
    for part in (FOLDER / "malformed.txt").read_text(encoding="utf-8").split("=== ")[1:]:
        head, body = part.split("\n", 1)
        name, machine, token = (piece.strip() for piece in head.split("|", 2))
        cases[name] = (machine, token, body)
    return cases


def read_expected():
    parts = EXPECTED.read_text(encoding="utf-8").split("=== ")[1:] if EXPECTED.exists() else []
    return {name: body.rstrip("\n") for name, body in (part.split("\n", 1) for part in parts)}


CORPUS = read_corpus()


def no_such_file(name):
    raise FileNotFoundError(name)


def failure(machine, text):
    with pytest.raises(InputError) as caught:
        assemble(Source("bad.asm", text), machine, no_such_file)
    return caught.value


@pytest.fixture(scope="session")
def failures(machines):
    return {name: failure(machines[machine], body) for name, (machine, _, body) in CORPUS.items()}


def test_there_are_enough_programs_and_every_one_has_its_message():
    assert len(CORPUS) >= 60
    assert set(read_expected()) == set(CORPUS)


@pytest.mark.parametrize("name", CORPUS)
def test_message_is_exactly_this(name, failures):
    got = failures[name].render()
    if got != read_expected().get(name):
        new = "".join(f"=== {key}\n{value.render()}\n" for key, value in failures.items())
        EXPECTED.with_suffix(".txt.new").write_text(new, encoding="utf-8")
    assert got == read_expected().get(name)


@pytest.mark.parametrize("name", CORPUS)
def test_caret_stands_under_the_word_in_question(name, failures):
    _, token, body = CORPUS[name]
    problem = failures[name].problems[0]
    line = body.split("\n")[problem.place.line - 1]
    start = problem.place.column - 1
    assert problem.source_line == (line if start < 200 else "")
    assert line[start : start + len(token)] == token
    if not token:  # the end of the statement: nothing but blanks and a comment follow
        assert line[start:].split(";")[0].strip() == ""


@pytest.mark.parametrize("name", CORPUS)
def test_one_mistake_gives_one_error(name, failures):
    expected = 5 if name.startswith("several") else 1
    assert len(failures[name].problems) == expected
    assert all(problem.code.slug.startswith("asm-") for problem in failures[name].problems)
