"""A dump of 24,576 words and five programs against every single fault of fulmar, once everything is kept."""

import time

import pytest

from emu.shipped import programs_folder
from emu.where import Source
from faults.case.load import parse_case
from faults.diagnose import diagnose

MORE = ("selftest-bank-switch", "selftest-parity", "selftest-registers")


@pytest.mark.perf
def test_a_dump_and_five_programs_take_two_seconds():
    path = programs_folder() / "ravensholm" / "evening" / "case.toml"
    text = path.read_text()
    for name in MORE:
        text += f'\n[[entry]]\nkind = "hung"\nprogram = "{name}"\n'
    case = parse_case(Source(str(path), text))
    diagnose(case)
    began = time.process_time()
    found = diagnose(case)
    spent = time.process_time() - began
    assert len(found.ranking.columns) == 8
    assert spent < 2.0, f"{spent:.2f} s"
