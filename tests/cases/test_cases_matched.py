"""The repair stories of this folder, written down as the people there wrote them, and matched.

The true site must be in the top group, or the answer must say that nothing in the model fits. What was seen is
made by simulation here; the stories come from published accounts of repairs, made anonymous.
"""

import numpy as np
import pytest
from attrs import evolve

from emu.files import write_image
from emu.image import MemoryImage
from emu.where import Source
from faults.case.load import parse_case
from faults.casereport import case_report
from faults.costs import load_costs
from faults.diagnose import diagnose_scene
from faults.dump import read_out
from faults.measurements import next_step
from faults.predictions.scene import Program, Scene, file_word
from faults.predictions.workshop import Workshop
from faults.priors import load_priors

CORE = """
[[store]]
store = "work"
built = "coincident"
x = "0-3"
y = "4-7"
y_drivers = ["4-6"]
{more}
"""
ROPE = """
[[store]]
store = "work"
built = "woven"
core = "0-3"
strand = "4-6"
module = "7"
[[stand-in]]
store = "work"
"""
CHIPS = """
[[store]]
store = "work"
built = "chips"
column = "0-4"
line = "5-7"
row = "8-9"
undriven = "{undriven}"
"""
CARD_NET = """
[[net]]
name = "driver-card"
feeds = ["work/y-driver-a/4", "work/y-driver-a/5", "work/y-driver-a/6", "work/y-driver-a/7"]
effect = "dead"
"""
HEAD = 'format = "case/1"\nmachine = "bench.toml"\n'
PROGRAMS = ("at-once", "fill-first", "zeros", "scan", "punch")


def busy(words, seed=7):
    """Words without order, so that nothing can hide behind their structure."""
    return np.random.default_rng(seed).integers(0, 1 << 16, words)


class Told:
    """A case as it is told: files in a folder, entries as text."""

    def __init__(self, bench, folder, data, held=()):
        self.bench, self.folder, self.data = bench, folder, [int(w) for w in data]
        self.held = list(held) or self.data
        self.text = HEAD
        self.write("expected.lst", self.words(self.data))

    def words(self, data):
        return self.bench.words(data).tolist()

    def write(self, name, stored):
        spec = self.bench.spec
        word = file_word(self.bench.machine, spec)
        image = MemoryImage.of_words(spec.bits, [int(w) for w in stored])
        if spec.bits != spec.data_bits:
            word = evolve(word, checks="stored")
        (self.folder / name).write_bytes(write_image(image, "listing", word))

    def dump(self, fault, *, repeat=1, seed=0):
        """Read the store out with the fault there."""
        name = f"reading-{repeat}-{seed}.lst"
        plan = self.bench.plan(fault)
        read = read_out(self.bench.machine, 0, plan, self.bench.words(self.data), twice=repeat > 1, seed=seed)
        self.write(name, read.second if repeat > 1 else read.first)
        self.entry("dump", store="work", file=name, expected="expected.lst", repeat=repeat)
        return self

    def entry(self, kind, **values):
        lines = [f"{k} = {v!r}".replace("'", '"') for k, v in values.items()]
        self.text += "\n".join([f'\n[[entry]]\nkind = "{kind}"', *lines, ""])
        return self

    def matched(self, **options):
        case = parse_case(Source(str(self.folder / "case.toml"), self.text))
        (self.folder / "case.toml").write_text(self.text)
        priors = load_priors()
        scene = Scene(case, self.bench.machine, self.bench.board, priors, load_costs())
        for name in PROGRAMS:
            scene._programs[name] = Program(
                name, self.bench.image(name, self.held if self.bench.held else ())
            )
        return diagnose_scene(scene, Workshop(self.bench.board, priors, cached=False), **options)


@pytest.fixture
def told(bench, tmp_path):
    """Return a function that begins a case about a bench."""

    def make(board, words, data=None, **more):
        made = bench(board, words, **more)
        return Told(_Held(made), tmp_path, busy(words) if data is None else data)

    return make


class _Held:
    """A bench whose read-only store holds the data from the start."""

    def __init__(self, bench):
        self._bench = bench
        self.held = not bench.spec.writable

    def __getattr__(self, name):
        return getattr(self._bench, name)


def top(found):
    ranking = found.ranking
    return {ranking.hypotheses[i].fault for i in ranking.group(1).members}


@pytest.mark.slow
def test_c1_the_card_is_named_where_the_board_knows_it(told):
    case = told(CORE.replace("{more}", CARD_NET), 256, protection="odd", destructive=True)
    seen = case.dump("net/driver-card:open").entry("alarm", program="scan", alarm="parity", count=1)
    found = seen.matched()
    assert "net/driver-card:open" in top(found)
    assert found.ranking.outcome == "fits"


def sites(found):
    """The sites of the best answer."""
    subject = found.subjects[found.ranking.group(1).members[0]]
    return {path for part in subject.fault.parts for path in part.sites}


@pytest.mark.slow
def test_c1_without_the_card_on_the_board_nothing_single_fits(told):
    """Two shorts of driver lines do what four dead drivers do: the same four sites, and no single fault."""
    case = told(CORE.replace("{more}", ""), 256, protection="odd", destructive=True)
    card = " & ".join(f"work/y-driver-a/{n}:dead" for n in (4, 5, 6, 7))
    found = case.dump(card).matched()
    assert not found.ranking.single_fits
    assert found.ranking.group(1).kind == "pair"
    assert sites(found) == {f"work/y-driver-a/{n}" for n in (4, 5, 6, 7)}


def test_c2_an_x_and_a_y_bit_and_only_some_data(told):
    halves = CORE.replace("{more}", 'section = "7"\nwinding = "3"')
    case = told(halves, 256, protection="odd", destructive=True)
    assert "work/sense/1/2:weak-zeros" in top(case.dump("work/sense/1/2:weak-zeros").matched())


@pytest.mark.slow
def test_c3_a_zero_cannot_be_written_in_one_bit_of_one_half(told):
    case = told(CORE.replace("{more}", 'section = "7"'), 256, [0] * 256, destructive=True)
    case.entry("stop", program="zeros", lamps="mark=2 index=0000")
    case.dump("work/inhibit/0/6:open", repeat=2)
    found = case.matched()
    assert "work/inhibit/0/6:open" in top(found)
    assert len(top(found)) < 12


@pytest.mark.slow
def test_c4_a_pin_that_feeds_two_bits(told):
    net = '[[net]]\nname = "pin"\nfeeds = ["work/sense/1", "work/sense/5"]\neffect = "read-ones"\n'
    case = told(CORE.replace("{more}", net), 256, destructive=True)
    assert "net/pin:open" in top(case.dump("net/pin:open").matched())


LABELS = '[[label]]\nsites = "work/sense/*"\ncard = "E{1}"\n[[label]]\nsites = "work/data/*"\ncard = "M1"\n'


@pytest.mark.slow
def test_c5_the_fault_moves_with_the_card(told):
    case = told(CORE.replace("{more}", LABELS), 256, destructive=True)
    case.dump("work/sense/0:stuck-1")
    before = top(case.matched())
    assert {"work/sense/0:stuck-1", "work/data/0:stuck-1"} <= before  # the dump alone cannot tell them
    case.entry("swap", moved="E0", to="E8", fault="moved")
    after = top(case.matched())
    assert "work/sense/0:stuck-1" in after
    assert "work/data/0:stuck-1" not in after


@pytest.mark.slow
def test_c6_a_memory_that_repeats_is_two_lines(told):
    case = told(CORE.replace("{more}", ""), 256, destructive=True)
    case.entry("passed", program="at-once").entry("failed", program="fill-first")
    found = case.dump("work/address/7:stuck-0 & work/address/6:stuck-0").matched()
    best = found.ranking.group(1)
    assert best.kind == "pair"
    faults = {found.ranking.hypotheses[i].fault for g in found.ranking.groups(3) for i in g.members}
    assert any("work/address/7" in f and "work/address/6" in f for f in faults)


@pytest.mark.slow
def test_c7_many_cells_at_once_are_not_forced_into_one(told):
    fault = " & ".join(f"work/cell/{c:#04x}/3:stuck-0" for c in (0x62, 0x63, 0x65, 0x66))
    case = told(CORE.replace("{more}", ""), 256, [0xFFFF] * 256, protection="odd", destructive=True)
    found = case.dump(fault).matched()
    assert found.ranking.negative
    report = case_report(found, None)
    assert report.answer is not None
    assert report.answer.sentence.startswith("No")
    assert report.unexplained


@pytest.mark.slow
def test_c8_wires_side_by_side_are_the_sites_of_the_answer(told):
    fault = " & ".join(f"work/x/{n}:open" for n in (11, 12, 13))
    found = told(CORE.replace("{more}", ""), 256, protection="odd", destructive=True).dump(fault).matched()
    assert not found.ranking.single_fits
    assert sites(found) == {f"work/x/{n}" for n in (11, 12, 13)}


@pytest.mark.slow
def test_c9_a_strand_with_a_dead_bit_while_another_is_erratic(told):
    case = told(ROPE, 256, protection="odd", writable=False)
    found = case.dump("work/wire/1/2/5:stuck-1 & work/wire/1/6/0:stuck-1@30%", seed=1).matched()
    assert found.ranking.negative  # one fault alone does not explain the erratic words
    assert any("work/wire/1/2/5:stuck-1" in f for f in top(found))


@pytest.mark.parametrize(
    "fault", ["work/inhibit/3/1:open", "work/unit:late", "work/wire/1/2/5:stuck-1", "work/sense/4:open"]
)
def test_c10_c16_woven_stores(told, fault):
    found = told(ROPE, 256, protection="odd", writable=False).dump(fault).matched()
    assert fault in top(found)
    assert found.ranking.outcome == "fits"


@pytest.mark.parametrize(
    "fault",
    [
        "work/inside-line/0/2/3:dead",
        "work/inside-column/1/7/9:dead",
        "work/leg/0/7/7:open",
        "work/output/6:stuck-0",
        "work/chip/1/6:dead",
    ],
    ids=["c11", "c12", "c13", "c14 line", "c14 chip"],
)
def test_c11_to_c14_chips(told, fault):
    found = told(CHIPS.replace("{undriven}", "zeros"), 1024).dump(fault).matched()
    assert fault in top(found)
    assert found.ranking.outcome == "fits"


def test_c19_a_row_that_echoes_the_bus(told):
    found = told(CHIPS.replace("{undriven}", "residue"), 1024).dump("work/row/1:echo").matched()
    assert "work/row/1:echo" in top(found)


@pytest.mark.slow
def test_c17_a_test_that_passes_in_single_step_and_fails_in_a_run(told):
    case = told(CORE.replace("{more}", 'winding = "0,4"'), 256, destructive=True)
    case.entry("failed", program="fill-first", condition="running")
    case.entry("passed", program="fill-first", condition="single step")
    found = case.matched()
    best = {
        f for g in found.ranking.groups(3) for f in (found.ranking.hypotheses[i].fault for i in g.members)
    }
    assert any(f.startswith("work/strobe:mistimed-late@") for f in best)


def test_c20_the_second_reading_is_zero(told):
    case = told(CORE.replace("{more}", ""), 256, destructive=True)
    case.dump("work/rewrite:dead").dump("work/rewrite:dead", repeat=2)
    found = case.matched()
    assert "work/rewrite:dead" in top(found)
    following = next_step(found)
    assert all(m.caution for m in following.measurements)
