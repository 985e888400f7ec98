"""March tests as programs: they assemble, find nothing on a healthy machine, and find what theory says."""

import pytest
from attrs import evolve

from emu.assemble import assemble
from emu.codes import check_bits, encode
from emu.engine.compiled import CompiledEngine, have_numba
from emu.engine.contract import RunRequest
from emu.errors import InputError
from emu.load import load_machine
from emu.where import Source
from faults.boards import load_board
from faults.campaign import run_campaign
from faults.grade import Grader
from faults.march.coverage import coverage
from faults.march.named import NAMED, find
from faults.march.notation import MarchTest
from faults.march.operations import expand, with_backgrounds
from faults.march.program import march_program, word_pairs
from faults.march.template import find_template
from faults.universe import universe_of
from faults.workload import Conditions, Job, Program

MACHINES = ("fulmar", "dunlin", "sandpiper")


def source(name: str, machine: str, place: str = "", *, solid: bool = True) -> str:
    known, spec = find(name), load_machine(machine)
    return march_program(known.name, known.test, spec, find_template(spec), place=place, solid=solid)


@pytest.mark.parametrize("machine", MACHINES)
def test_the_longest_and_the_paused_tests_become_programs(machine: str) -> None:
    spec = load_machine(machine)
    marches = [k for k in NAMED if isinstance(k.test, MarchTest)]
    longest = max(marches, key=lambda k: k.test.length)
    for name in (longest.name, "~(w0); Del; ^(r0,w1); Del; v(r1)"):
        for place in find_template(spec).places:
            assembly = assemble(Source("m.asm", source(name, machine, place.name, solid=False)), spec)
            assert not assembly.warnings


@pytest.mark.parametrize("machine", MACHINES)
def test_pairs_change_every_bit_and_every_check_bit(machine: str) -> None:
    """Every stored bit is 0 in one word and 1 in another, and any two data bits differ in some word."""
    store = load_machine(machine).stores[0]
    changed = 0
    for low, high in word_pairs(store):
        words = (encode(store.protection, store.data_bits, w) for w in (low, high))
        first, second = words
        changed |= first ^ second
    assert changed == (1 << store.data_bits + check_bits(store.protection, store.data_bits)) - 1
    solid = word_pairs(store, solid=True)
    assert solid[0] == (0, (1 << store.data_bits) - 1)
    assert len(solid) < len(word_pairs(store))


def test_operations_on_a_word_come_in_the_order_of_the_march() -> None:
    """The reads and writes of core that a healthy fulmar does are those of the notation, word for word."""
    machine, text = load_machine("fulmar"), source("March Y", "fulmar")
    text = text.replace(".let LAST = 3777", ".let LAST = 3")
    image = assemble(Source("m.asm", text), machine).image
    result = CompiledEngine(jit=False).run(RunRequest(machine, image, trace=True))
    core = [(e.kind, e.address, e.word) for e in result.events if e.store == 0]
    wanted = [
        ("write" if op.write else "read", op.address, high if op.data else low)
        for low, high in word_pairs(machine.stores[0], solid=True)
        for op in with_backgrounds(expand(find("March Y").test, 4), [0], 1)
        if op is not None
    ]
    assert core == wanted
    assert "".join(chr(word) for _, _, word in result.outputs) == "GOOD\n"


KINDS = {"SAF": ["stuck"], "TF": ["refuses"], "CFin": ["inverts"], "CFid": ["forces"], "CFst": ["holds"]}


@pytest.mark.skipif(not have_numba(), reason="thousands of long runs: needs the extra 'fast'")
@pytest.mark.slow
@pytest.mark.parametrize("power_up", ["zeros", "seeded"])
@pytest.mark.parametrize(
    ("machine", "store", "region"), [("fulmar", "core", (1500, 1501)), ("dunlin", "core", (0o7000, 0o7001))]
)
def test_a_program_finds_what_the_theory_says(
    machine: str, store: str, region: tuple[int, int], power_up: str
) -> None:
    """March C- finds all stuck, transition and coupling faults, and so does its program, bit by bit.

    Source: the guarantees of March C- (van de Goor, 1991), as reckoned by ``faults.march.coverage``.
    """
    rows = {row.name: row for row in coverage(find("March C-"), classes=list(KINDS)).rows}
    spec = load_machine(machine)
    image = assemble(Source("m.asm", source("March C-", machine, solid=False)), spec).image
    for name, kinds in KINDS.items():
        universe = universe_of(load_board(spec), kinds=kinds, stores=[store], region=region)
        cells = [b for b in universe.faults.blocks if "/cell/" in b.fault(0).parts[0].sites[0]]
        assert cells
        job = Job(spec, Program("march", image), Conditions(seed=5, power_up=power_up))
        campaign = run_campaign(universe, [job], workers=2)
        grader = Grader(campaign)
        found = dict(grader.grade().union.by_site)[f"{store}/cell"]
        assert rows[name].percent() == 100.0
        assert found.percent == 100.0, name


def test_a_wrong_place_or_a_test_that_is_no_march_is_refused() -> None:
    with pytest.raises(InputError, match="march-no-place") as wrong:
        source("March C-", "dunlin", "hihg")
    assert "did you mean 'high'" in str(wrong.value)
    with pytest.raises(InputError, match="march-no-program"):
        source("GALPAT", "fulmar")


def test_a_template_of_another_machine_is_refused(tmp_path) -> None:
    template = find_template(load_machine("fulmar")).folder / "march.toml"
    with pytest.raises(InputError, match="march-template-machine"):
        find_template(load_machine("dunlin"), template)
    with pytest.raises(InputError, match="march-no-template"):
        find_template(evolve(load_machine("fulmar"), name="tern"))


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("m${n}_$k:", "m$n_$k:", "into 'read' are put $n $k $data; got '$n_' [march-template-name]"),
        ("differ $data", "differ $dato", "hint: did you mean 'data'?"),
        ("differ $data", "differ $", "'read' has a $ without a name; put in are $n $k $data"),
    ],
)
def test_a_name_that_is_not_put_in_is_refused_with_the_right_one(tmp_path, old, new, told) -> None:
    shipped = find_template(load_machine("dunlin")).folder / "march.toml"
    text = shipped.read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "x.toml").write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(InputError) as wrong:
        find_template(load_machine("dunlin"), tmp_path / "x.toml")
    assert told in str(wrong.value)


def test_the_template_of_a_machine_of_ones_own_lies_beside_its_file(tmp_path) -> None:
    machine = load_machine("dunlin")
    with pytest.raises(InputError, match=r"write mine\.march\.toml beside the machine file"):
        find_template(machine, None, tmp_path / "mine.toml")
    shipped = find_template(machine).folder / "march.toml"
    (tmp_path / "mine.march.toml").write_bytes(shipped.read_bytes())
    assert find_template(machine, None, tmp_path / "mine.toml").folder == tmp_path


@pytest.mark.parametrize("name", ["gone.asm", "../secret.asm", "/etc/passwd"])
def test_an_included_file_lies_beside_the_template(tmp_path, name) -> None:
    machine = load_machine("dunlin")
    text = (find_template(machine).folder / "march.toml").read_text(encoding="utf-8")
    (tmp_path.parent / "secret.asm").write_text("secret", encoding="utf-8")
    (tmp_path / "x.toml").write_text(text.replace("parts/frame.asm", name), encoding="utf-8")
    test = find("MATS+").test
    with pytest.raises(InputError, match="cannot-read"):
        march_program("MATS+", test, machine, find_template(machine, tmp_path / "x.toml"))
