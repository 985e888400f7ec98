"""How long a match takes: a dump of 24,576 words and five programs against every single fault of fulmar; pairs.

``ready``: everything that one match keeps for the next is kept ("a ready dictionary"). Raw figures go to
``docs/performance/match.csv``, wall time and processor time side by side. Reported, never gated.
"""

import shutil
import time
from pathlib import Path

import pytest

from emu.shipped import programs_folder
from emu.where import Source
from faults import pairsearch as searching
from faults.case.load import parse_case
from faults.cli import exit_code_of
from faults.diagnose import diagnose

pytestmark = pytest.mark.perf
FIGURES = "match"
EVENING = programs_folder() / "ravensholm" / "evening"
MORE = ("selftest-bank-switch", "selftest-parity", "selftest-registers")  # besides the two of the evening
TWO = "rope/sense/9:open & rope/strand/3:open"
ROUNDS = 5


def timed(case, times: int = 1):
    """Return the last diagnosis, and the median wall and processor time."""
    taken = []
    for _ in range(times):
        wall, processor = time.perf_counter(), time.process_time()
        found = diagnose(case)
        taken.append((time.perf_counter() - wall, time.process_time() - processor))
    return found, *(round(sorted(column)[times // 2], 3) for column in zip(*taken, strict=True))


def evening(more: int):
    """Return the case of the evening with as many more programs that hung."""
    text = (EVENING / "case.toml").read_text()
    for name in MORE[:more]:
        text += f'\n[[entry]]\nkind = "hung"\nprogram = "{name}"\n'
    return parse_case(Source(str(EVENING / "case.toml"), text))


def test_a_dump_and_five_programs(rows, tmp_path, monkeypatch) -> None:
    diagnose(evening(3))  # compiles
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    found, wall, processor = timed(evening(3))
    assert len(found.ranking.columns) == 8
    top = {found.ranking.hypotheses[i].fault for i in found.ranking.group(1).members}
    assert found.ranking.outcome == "fits", top
    rows.append(
        ("dump and 5 programs, nothing kept", len(found.subjects), wall, processor, "compiled before")
    )
    _, again, spent = timed(evening(3), ROUNDS)
    ratio = f"median of {ROUNDS}; {wall / again:.1f} times as fast as with nothing kept; aim under 2 s"
    rows.append(("dump and 5 programs, ready", len(found.subjects), again, spent, ratio))


@pytest.mark.parametrize("more", [0, 1, 2, 3])
def test_growth_with_what_was_seen(rows, more: int) -> None:
    case = evening(more)
    diagnose(case)
    found, wall, processor = timed(case, ROUNDS)
    size = len(found.ranking.columns)
    rows.append((f"dump and {2 + more} programs, ready", size, wall, processor, "size: observations"))


def two_faults(folder: Path):
    """Return a case of two broken places: the rope as it then reads, and two tests that passed."""
    where = folder / "reading.oct"
    gates = str(programs_folder() / "fulmar" / "gates.asm")
    asked = [
        "dump", "fulmar", "rope", "--fault", TWO, "--program", gates, "-o", str(where), "--checks", "stored", "-q",
    ]  # fmt: skip
    assert exit_code_of(asked) == 1
    text = (
        'format = "case/1"\nmachine = "fulmar"\n'
        '[[entry]]\nkind = "dump"\nstore = "rope"\nfile = "reading.oct"\nprogram = "gates"\n'
        '[[entry]]\nkind = "passed"\nprogram = "selftest-core-march"\n'
    )
    (folder / "case.toml").write_text(text)
    return parse_case(Source(str(folder / "case.toml"), text))


@pytest.mark.parametrize("tried", [60, 120, 240, 480])
def test_growth_with_pairs(rows, tmp_path, monkeypatch, tried: int) -> None:
    """A match takes 300 proposed ones, and 400 that explain a dump together."""
    case = two_faults(tmp_path)
    monkeypatch.setattr(searching, "_ROUNDS", ((1, tried),))
    monkeypatch.setattr(searching, "_WORTH_DUMP_PAIRS", tried)
    diagnose(case)
    found, wall, processor = timed(case)
    pairs = sum(h.kind == "pair" for h in found.ranking.hypotheses)
    assert pairs
    rows.append((f"pairs, at most {tried} of a sort", pairs, wall, processor, "size: pairs tried"))


def test_pairs_as_a_match_tries_them(rows, tmp_path, monkeypatch) -> None:
    case = two_faults(tmp_path)
    diagnose(case, pairs=False)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "kept"))
    shutil.rmtree(tmp_path / "kept", ignore_errors=True)
    found, wall, processor = timed(case)
    pairs = sum(h.kind == "pair" for h in found.ranking.hypotheses)
    note = "nothing kept, compiled before; size: pairs tried; aim under 60 s"
    rows.append(("pairs of structural faults", pairs, wall, processor, note))
