"""Adding an entry: what was there stays byte for byte, or nothing changes."""

import datetime as dt
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emu.errors import InputError
from emu.where import Source
from faults.case import write
from faults.case.load import load_case, parse_case
from faults.case.model import Mended, Printed
from faults.case.template import EXAMPLES, new_case
from faults.case.write import add, appended, create, entry_text

HEAD = 'format = "case/1"\nmachine = "fulmar"\n'


@pytest.fixture
def case_file(tmp_path):
    path = tmp_path / "evening.toml"
    create(path, new_case("fulmar", "The gate that would not close"))
    return path


def test_create_refuses_to_overwrite_and_to_write_nonsense(case_file):
    before = case_file.read_bytes()
    with pytest.raises(InputError, match="free") as caught:
        create(case_file, new_case("dunlin"))
    assert caught.value.problems[0].code.slug == "case-exists"
    assert case_file.read_bytes() == before
    other = case_file.with_name("other.toml")
    with pytest.raises(InputError, match="format"):
        create(other, "format = 1\n")
    assert not other.exists()


def test_add_keeps_every_byte_and_the_order(case_file):
    before = case_file.read_bytes()
    add(case_file, "passed", {"program": "selftest-walk", "runs": 3})
    case = add(case_file, "mended", {"what": "pushed it in", "card": "A7", "works": 0.5})
    add(case_file, "passed", {"program": "selftest-sum", "when": dt.date(2026, 11, 2)})
    after = case_file.read_bytes()
    assert after.startswith(before)
    assert case.entries == load_case(case_file).entries[:2]
    again = load_case(case_file)
    assert [type(e).__name__ for e in again.entries] == ["Passed", "Mended", "Passed"]
    assert again.epochs == (0, 0, 1)
    assert again.entries[2].when == dt.date(2026, 11, 2)


def test_add_writes_the_hash_of_a_file(case_file):
    (case_file.parent / "first.lst").write_bytes(b"0: 17\n")
    case = add(case_file, "dump", {"store": "rope", "file": "first.lst", "expected": "not-there.lst"})
    assert case.entries[0].sha256 == sha256(b"0: 17\n").hexdigest()
    assert case.entries[0].expected_sha256 == ""


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("passed", {}),
        ("passd", {"program": "x"}),
        ("stop", {"program": "x", "lamps": "nonsense"}),
        ("dump", {"store": "rope", "file": "/etc/passwd"}),
        ("passed", {"program": "x", "extra": 1}),
        ("mended", {"what": "x"}),
    ],
)
def test_a_bad_entry_changes_nothing(case_file, kind, values):
    before = case_file.read_bytes()
    with pytest.raises(InputError) as caught:
        add(case_file, kind, values)
    assert caught.value.problems[0].place.line > 60
    assert case_file.read_bytes() == before
    assert [p.name for p in case_file.parent.iterdir()] == [case_file.name]


def test_a_bad_file_is_left_alone(tmp_path):
    path = tmp_path / "bad.toml"
    path.write_text(HEAD + "[[entry]]\nkind = 3\n", encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError):
        add(path, "passed", {"program": "x"})
    assert path.read_bytes() == before


def test_an_inline_list_of_entries_is_refused_not_broken(tmp_path):
    path = tmp_path / "inline.toml"
    path.write_text(HEAD + 'entry = [{kind = "passed", program = "x"}]\n', encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError):
        add(path, "passed", {"program": "y"})
    assert path.read_bytes() == before


@pytest.mark.parametrize("moment", ["fsync", "replace"])
def test_a_failure_while_writing_leaves_the_old_file(case_file, monkeypatch, moment):
    before = case_file.read_bytes()

    def full(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(write.os if moment == "fsync" else write.Path, moment, full)
    with pytest.raises(InputError, match="No space left"):
        add(case_file, "passed", {"program": "x"})
    assert case_file.read_bytes() == before
    assert [p.name for p in case_file.parent.iterdir()] == [case_file.name]


def test_somebody_else_s_words_are_not_lost(case_file, monkeypatch):
    real = write.parse_case

    def slow(source):
        with case_file.open("a", encoding="utf-8") as stream:
            stream.write("\n" + EXAMPLES["hung"])
        return real(source)

    monkeypatch.setattr(write, "parse_case", slow)
    with pytest.raises(InputError, match="changed"):
        add(case_file, "passed", {"program": "x"})
    assert [type(e).__name__ for e in load_case(case_file).entries] == ["Hung"]


def test_permissions_and_links_are_kept(case_file, tmp_path):
    case_file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(case_file.name)
    add(link, "passed", {"program": "x"})
    assert link.is_symlink()
    assert case_file.stat().st_mode & 0o777 == 0o640
    assert len(load_case(case_file).entries) == 1


def test_windows_line_ends_stay(tmp_path):
    path = tmp_path / "w.toml"
    path.write_bytes(b"\xef\xbb\xbf" + HEAD.replace("\n", "\r\n").encode())
    add(path, "passed", {"program": "x"})
    data = path.read_bytes()
    assert data.count(b"\n") == data.count(b"\r\n")
    assert data.startswith(b"\xef\xbb\xbfformat")


@given(
    st.text(st.characters(exclude_categories=["Cs"])),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
)
def test_any_text_comes_back_as_it_was_said(text, condition):
    written = entry_text("printed", {"program": "x", "text": text, "condition": condition})
    case = parse_case(Source("c.toml", HEAD + "\n" + written))
    assert isinstance(case.entries[0], Printed)
    assert (case.entries[0].text, case.entries[0].condition) == (text, condition)


@given(
    st.lists(st.sampled_from(["passed", "hung", "stop", "mended"]), max_size=5), st.booleans(), st.booleans()
)
def test_appending_is_only_ever_a_longer_file(kinds, ended, windows):
    values = {
        "passed": {"program": "x"},
        "hung": {"program": "x"},
        "stop": {"program": "x", "lamps": "a=1"},
        "mended": {"what": "w", "card": "c"},
    }
    data = (HEAD if ended else HEAD.rstrip("\n")).encode()
    data = data.replace(b"\n", b"\r\n") if windows else data
    for kind in kinds:
        longer = appended(data, entry_text(kind, values[kind]))
        assert longer.startswith(data)
        data = longer
    case = parse_case(Source("c.toml", data.decode()))
    assert [type(e) for e in case.entries].count(Mended) == kinds.count("mended")
    assert len(case.entries) == len(kinds)
