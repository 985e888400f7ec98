"""Captured transactions: what can be foretold of them is what the definition of a plan gives, and no more."""

import numpy as np
import pytest

from emu.codes import encode
from emu.engine.choose import choose_engine
from emu.engine.contract import RunRequest
from emu.load import load_machine
from emu.memory import EXTRA_CELLS, PlannedMemory
from emu.shipped import find_program
from emu.where import Source
from faults.boards import load_board
from faults.case.load import parse_case
from faults.diagnose import diagnose
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.predictions.captures import read_again, read_capture, set_aside
from faults.predictions.scene import program_of, scene_of
from faults.universe import universe_of

FULMAR = load_machine("fulmar")


def said(case, folder):
    scene = scene_of(parse_case(Source(str(folder / "case.toml"), case)))
    return scene, scene.case.entries[-1]


def captured(folder, text, columns="time,address,data,kind", program="gates", machine="fulmar"):
    (folder / "seen.csv").write_text(text, encoding="utf-8")
    return (
        f'format = "case/1"\nmachine = "{machine}"\n[[entry]]\nkind = "capture"\nprogram = "{program}"\n'
        f'file = "seen.csv"\ncolumns = "{columns}"\n'
    )


def simulated(fault, program="gates", most=400):
    """The transactions of a run under a fault, as an analyser at the processor would write them."""
    board = load_board(FULMAR)
    made = program_of(FULMAR, find_program("fulmar", program), program)
    plan = plan_of(board, parse_fault(fault, board)) if fault else None
    request = RunRequest(FULMAR, made.image, plan, made.inputs, max_steps=3000, trace=True)
    events = [
        e for e in choose_engine(request).engine.run(request).events if e.kind in ("fetch", "read", "write")
    ]
    rows = ["time,address,data,kind"]
    for e in events[:most]:
        spec = FULMAR.stores[e.store]
        fixed = e.store == 0 or e.address < 0o2000
        address = e.address if e.store == 0 else (0o6000 if fixed else 0o4000) + e.address % 0o2000
        rows.append(f"{e.time_ns},{address:o},{e.word & ((1 << spec.data_bits) - 1):o},{e.kind}")
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize(("machine", "store"), [("fulmar", 0), ("dunlin", 0), ("sandpiper", 0)])
def test_words_read_back_at_once_are_what_the_definition_of_a_plan_gives(machine, store):
    spec = load_machine(machine)
    board, rng = load_board(spec), np.random.default_rng(7)
    listed = [f for f in universe_of(board, cells=False).faults if f.parts[0].sites[0].startswith("c")]
    shape = spec.stores[store]
    told = 0
    for fault in [listed[i] for i in rng.permutation(len(listed))[:25].tolist()]:
        plan = plan_of(board, fault)
        addresses = rng.integers(0, shape.words, 12)
        data = rng.integers(0, 1 << shape.data_bits, 12)
        words = np.array([encode(shape.protection, shape.data_bits, w) for w in data.tolist()], np.int64)
        made = read_again(plan, store, addresses, words)
        if made is None:
            continue
        told += 1
        for filled in (0, (1 << shape.bits) - 1):  # whatever the other words hold
            cells = [[filled] * (s.words + EXTRA_CELLS) for s in plan.shapes]
            memory = PlannedMemory(plan, cells)
            for address, word, found in zip(addresses.tolist(), words.tolist(), made.tolist(), strict=True):
                memory.write(store, address, word)
                assert memory.read(store, address) == found, (fault, hex(address))
    assert told >= 5


def test_the_true_fault_is_in_the_top_group_of_a_captured_run(tmp_path):
    fault = "rope/address/3:open"
    (tmp_path / "case.toml").write_text(captured(tmp_path, simulated(fault)), encoding="utf-8")
    found = diagnose(parse_case(Source(str(tmp_path / "case.toml"), (tmp_path / "case.toml").read_text())))
    best = found.ranking.group(1)
    assert fault in {found.ranking.hypotheses[i].fault for i in best.members}
    assert "of 400 transactions" in found.ranking.agreement(best.members[0])[0].reason
    healthy = next(i for i, h in enumerate(found.ranking.hypotheses) if h.kind == "healthy")
    assert found.ranking.agreement(healthy)[0].word == "contradicts"


def test_what_a_healthy_machine_does_agrees_with_a_healthy_machine(tmp_path):
    scene, entry = said(captured(tmp_path, simulated("")), tmp_path)
    found = read_capture(scene, 0, entry)
    assert found.compared > 20
    assert not np.any(found.differs)
    assert not found.suspected


def test_what_cannot_be_compared_is_counted_and_said(tmp_path):
    rows = (
        "1,6000,1234,read\n2,6000,1235,read\n3,4000,7,read\n4,0100,17,write\n5,0101,1,write\n6,0100,17,read\n"
    )
    scene, entry = said(captured(tmp_path, rows), tmp_path)
    found = read_capture(scene, 0, entry)
    assert (found.compared, found.wavering, found.banked) == (0, 1, 1)  # 0o101 was written in between
    assert "whose bank the capture does not say" in set_aside(found, entry)
    scene, entry = said(captured(tmp_path, "1,0100,17\n2,0100,17\n", "time,address,data"), tmp_path)
    assert "names no kind" in set_aside(read_capture(scene, 0, entry), entry)


def test_a_word_written_and_read_at_once_is_compared(tmp_path):
    scene, entry = said(captured(tmp_path, "1,0100,17,write\n2,0100,16,read\n3,0100,16,read\n"), tmp_path)
    found = read_capture(scene, 0, entry)
    assert found.compared == 1  # the first reading may have spoilt the word for the second
    assert found.differs.tolist() == [1]


def test_a_capture_with_exchanged_bytes_is_set_aside(tmp_path):
    rows = simulated("").splitlines()
    swapped = [rows[0]]
    for time, address, data, kind in (row.split(",") for row in rows[1:]):
        word = int(data, 8)
        swapped.append(f"{time},{address},{(word >> 8) | (word & 255) << 8:o},{kind}")
    scene, entry = said(captured(tmp_path, "\n".join(swapped)), tmp_path)
    assert "read wrongly" in set_aside(read_capture(scene, 0, entry), entry)
