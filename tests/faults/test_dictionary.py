"""Dictionaries hold what the campaign saw, whole or not at all."""

import json

import numpy as np
import pytest

from emu.errors import InputError
from emu.load import load_machine
from emu.shipped import find_program
from faults.boards import load_board
from faults.campaign import run_campaign
from faults.cli.reading import read_program
from faults.dictionary import META, digest_of, fault_numbers, open_dictionary, save
from faults.records import symptoms_of_record
from faults.universe import universe_of
from faults.workload import Job, Program


@pytest.fixture(scope="module")
def campaign():
    machine = load_machine("fulmar")
    names = ("selftest-parity", "selftest-registers")
    jobs = [Job(machine, Program(n, read_program(machine, str(find_program("fulmar", n))))) for n in names]
    universe = universe_of(load_board(machine), kinds=["open", "stuck-1"], stores=["core"], region=(512, 513))
    return run_campaign(universe, jobs, workers=1, jit=False)


def test_a_dictionary_says_what_the_campaign_saw(campaign, tmp_path) -> None:
    save(campaign, tmp_path / "d")
    found = open_dictionary(tmp_path / "d", campaign.jobs[0].machine)
    assert found.programs == ("selftest-parity", "selftest-registers")
    of_fault = campaign.grouping.of_fault
    for fault in range(0, len(campaign.universe), 7):
        for program in (0, 1):
            record = campaign.records[campaign.seen[program, of_fault[fault]]]
            assert found.record_of(fault, program) == record
            assert found.symptoms(campaign.jobs[0].machine, fault, program) == symptoms_of_record(
                campaign.jobs[0].machine, record
            )
            groups = found.groups_showing(record, program)
            wanted = [g for g, n in enumerate(campaign.seen[program]) if campaign.records[n] == record]
            assert groups.tolist() == wanted
            assert fault in fault_numbers(found, groups.tolist())
    assert found.groups_showing(b"\x00nobody saw this", 0).tolist() == []


def test_records_of_one_digest_are_told_apart(campaign, tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("faults.dictionary.digest_of", lambda record: digest_of(record) & 1)
    save(campaign, tmp_path / "d")
    found = open_dictionary(tmp_path / "d")
    for number, record in enumerate(campaign.records):
        assert found.number_of(record) == number


def test_a_dictionary_is_written_whole_or_not_at_all(campaign, tmp_path, monkeypatch) -> None:
    save(campaign, tmp_path / "d")
    with pytest.raises(FileExistsError):
        save(campaign, tmp_path / "d")
    before = {p.name: p.read_bytes() for p in (tmp_path / "d").iterdir()}
    save(campaign, tmp_path / "d", force=True)
    assert {p.name: p.read_bytes() for p in (tmp_path / "d").iterdir()} == before

    def broken(*_: object, **__: object) -> None:
        raise OSError("no room")

    monkeypatch.setattr(np, "save", broken)
    with pytest.raises(OSError, match="no room"):
        save(campaign, tmp_path / "d", force=True)
    assert {p.name: p.read_bytes() for p in (tmp_path / "d").iterdir()} == before
    assert [p.name for p in tmp_path.iterdir()] == ["d"]


def test_only_a_dictionary_or_an_empty_folder_is_overwritten(campaign, tmp_path) -> None:
    (tmp_path / "empty").mkdir()
    save(campaign, tmp_path / "empty", force=True)
    open_dictionary(tmp_path / "empty")
    (tmp_path / "empty" / "mine.txt").write_text("keep me")
    with pytest.raises(InputError, match="holds something else"):
        save(campaign, tmp_path / "empty", force=True)
    assert (tmp_path / "empty" / "mine.txt").read_text() == "keep me"


def test_what_is_no_dictionary_is_refused(campaign, tmp_path, monkeypatch) -> None:
    with pytest.raises(InputError, match="not-a-dictionary"):
        open_dictionary(tmp_path)
    save(campaign, tmp_path / "d")
    with pytest.raises(InputError, match="dictionary-machine"):
        open_dictionary(tmp_path / "d", load_machine("dunlin"))
    machine, universe = campaign.jobs[0].machine, campaign.universe
    open_dictionary(tmp_path / "d", machine, universe)
    board = load_board(machine)
    for other in (
        universe_of(board, kinds=["open", "stuck-1"], stores=["core"], region=(512, 514)),
        universe_of(board, kinds=["open", "stuck-1"], stores=["core"], region=(511, 512)),
        universe_of(board, kinds=["stuck-1", "dead"], stores=["core"], region=(512, 513)),
    ):
        with pytest.raises(InputError, match="other faults"):
            open_dictionary(tmp_path / "d", machine, other)
    with monkeypatch.context() as newer:
        newer.setattr("faults.dictionary.workings_digest", lambda: "newer")
        with pytest.raises(InputError, match="other code"):
            open_dictionary(tmp_path / "d", machine)
    (tmp_path / "d" / "seen.npy").unlink()
    with pytest.raises(InputError, match=r"seen\.npy is missing"):
        open_dictionary(tmp_path / "d")
    meta = json.loads((tmp_path / "d" / META).read_text())
    (tmp_path / "d" / META).write_text(json.dumps({**meta, "format": "dictionary/9"}))
    with pytest.raises(InputError, match="dictionary/1"):
        open_dictionary(tmp_path / "d")
