"""Board files: geometry, sites, labels, and what is refused."""

import re

import attrs
import pytest

from emu.errors import InputError, declared
from emu.load import load_machine
from emu.spec import StoreSpec
from emu.where import Source
from faults.boards import load_board, parse_board, shipped_boards
from faults.boards.load import plain_board
from faults.lower import plan_of
from faults.notation import parse_fault
from faults.sites import AddressLine, CoreInhibit, SelectLine

MACHINES = ("dunlin", "fulmar", "sandpiper")


@pytest.fixture(scope="module")
def boards():
    return {name: load_board(load_machine(name)) for name in MACHINES}


def sizes(board, store):
    return {
        f.prefix.removeprefix(store + "/"): f.size for f in board.tree.families if f.prefix.startswith(store)
    }


def test_every_shipped_machine_has_a_board():
    assert shipped_boards() == MACHINES


def test_fulmar_rope(boards):
    """512 cores of eight strands in six modules hold 24,576 words (arithmetic)."""
    found = sizes(boards["fulmar"], "rope")
    assert load_machine("fulmar").store("rope").words == 512 * 8 * 6
    assert found["core"] == 6 * 512
    assert found["wire"] == 6 * 8 * 17
    assert found["inhibit"] == 2 * 9
    assert found["address"] == 15
    assert "cell" not in found, "a single bit of a woven store is a thread, not a part that fails"


def test_coincident_stacks(boards):
    core = sizes(boards["fulmar"], "core")
    assert (core["x"], core["y"], core["sense"], core["inhibit"]) == (32, 64, 17, 17)
    assert core["x"] * core["y"] == load_machine("fulmar").store("core").words
    core = sizes(boards["dunlin"], "core")
    assert (core["x"], core["y"], core["sense"]) == (64, 64, 2 * 12)


def test_sandpiper_chips(boards):
    """Thirty chips of 16,384 x 1, 128 lines by 128 columns, in four rows: 65,536 words (arithmetic)."""
    found = sizes(boards["sandpiper"], "chips")
    assert found["chip"] == 4 * 30
    assert found["leg"] == 4 * 30 * 7
    assert found["inside-line"] == found["inside-column"] == 4 * 30 * 128
    assert load_machine("sandpiper").store("chips").words == 4 * 128 * 128


WOVEN_512 = """
format = "board/1"
machine = "fulmar"
[[store]]
store = "rope"
built = "woven"
core = "0-8"
strand = "9-12"
"""


def test_twelve_words_a_core():
    """Common practice, no source: 512 cores that carry 192 bits hold 12 words of 16 bits each."""
    machine = load_machine("fulmar")
    rope = StoreSpec("rope", 12 * 512, 16, "none", writable=False)
    rest = tuple(s for s in machine.stores if s.name != "rope")
    small = attrs.evolve(machine, stores=(*rest, rope))
    found = sizes(parse_board(small, Source("b.board.toml", WOVEN_512)), "rope")
    assert found["wire"] == 192, "sense wires through a core"
    assert found["strand"] == 12
    assert 6 * rope.words == 36_864
    assert 6 * rope.words * 16 // 8 == 72 * 1024, "bytes of six such modules, parity not counted"


def test_bits_are_numbered_as_the_machine_says(boards):
    fulmar = boards["fulmar"]  # msb1: bit 1 is the leftmost
    assert fulmar.site("core/sense/1").role.bit == 1 << 15
    assert fulmar.site("core/sense/16").role.bit == 1
    assert fulmar.site("core/sense/parity").role.bit == 1 << 16
    assert boards["dunlin"].site("core/sense/0/0").role.bit == 1 << 11  # msb0
    assert boards["sandpiper"].site("chips/data/0").role.bit == 1  # lsb0
    assert boards["sandpiper"].site("chips/data/check5").role.bit == 1 << 29


def test_address_lines_are_numbered_by_weight(boards):
    role = boards["fulmar"].site("rope/address/10").role
    assert isinstance(role, AddressLine)
    assert (role.bit, role.bank) == (10, True)
    assert not boards["fulmar"].site("rope/address/9").role.bank


def test_every_site_is_found_by_its_path(boards):
    for board in boards.values():
        sites = board.sites()
        assert len({s.path for s in sites}) == len(sites)
        for site in sites[::17]:
            assert board.site(site.path) == site
            assert site.noun
            assert "{" not in site.noun


def test_check_bits_are_spoken_of_as_people_do(boards):
    nouns = [boards["fulmar"].site(p).noun for p in ("core/sense/parity", "bus/data/parity", "core/sense/3")]
    assert nouns == [
        "sense wire and amplifier of the parity bit of the core",
        "line of the parity bit of the data bus",
        "sense wire and amplifier of bit 3 of the core",
    ]
    assert boards["sandpiper"].site("chips/chip/0/check2").noun == "chip of row 0, check bit 2, of the chips"


def test_cells_are_found_in_any_base(boards):
    board = boards["fulmar"]
    assert board.site("core/cell/17/3") == board.site("core/cell/0o17/3") == board.site("core/cell/0x000f/03")
    assert board.site("core/cell/0o17/3").path == "core/cell/0o0017/3"
    assert board.cell(0, 15, 1 << 13) == board.site("core/cell/0o17/3")
    assert board.has_cells(0)
    assert not board.has_cells(1)


def test_select_lines_share_out_the_cells(boards):
    for board in boards.values():
        for family in board.families():
            sites = [board.member(family, at) for at in family.all()]
            roles = [s.role for s in sites]
            if not all(isinstance(r, SelectLine) for r in roles) or family.prefix.endswith(
                ("driver", "motor")
            ):
                continue
            cells = [c for r in roles for c in r.region.cells().tolist()]
            assert sorted(cells) == list(range(board.shapes[roles[0].store].words)), family.prefix


def test_labels(boards):
    board = boards["fulmar"]
    assert board.site("rope/address/10").labels.text() == "card B2, connector J11, pin 22"
    assert board.site("rope/wire/2/3/5").labels.text() == "connector J32, pin S3-5"
    assert board.site("core/cell/0o17/3").labels.text() == ""


def test_a_list_of_labels_follows_the_numbers_as_the_machine_has_them():
    # fulmar calls its leftmost bit 1, dunlin 0; the list begins with the bit of the lowest number, parity last
    for name, count, path in (("fulmar", 17, "core/data/{}"), ("dunlin", 12, "core/data/{}")):
        words = ", ".join(f'"p{i}"' for i in range(count))
        text = f'format = "board/1"\nmachine = "{name}"\n[[label]]\nsites = "core/data/*"\npin = [{words}]\n'
        board = parse_board(load_machine(name), Source("f.board.toml", text))
        numbers = [*range(1, 17), "parity"] if name == "fulmar" else range(12)
        assert [board.site(path.format(n)).labels.pin for n in numbers] == [f"p{i}" for i in range(count)]


def test_the_order_of_bits_is_that_of_the_lines():
    text = 'format = "board/1"\nmachine = "fulmar"\n[[store]]\nstore = "core"\nbuilt = "coincident"\n'
    board = parse_board(load_machine("fulmar"), Source("f.board.toml", text + 'x = "10,0-3"\ny = "4-9"\n'))
    assert board.site("core/x/1").role.region.value == 1 << 10
    assert board.site("core/x/2").role.region.value == 1


def test_without_a_board_file_a_line_that_it_would_have_tells_of_the_file():
    board = plain_board(load_machine("fulmar"))
    with pytest.raises(InputError, match=r"fulmar has no board file, .*write STEM\.board\.toml"):
        board.site("core/y/1")
    with pytest.raises(InputError, match="did you mean 'core/address/1'"):
        board.site("core/adress/1")
    with pytest.raises(InputError, match="did you mean"):
        load_board(load_machine("fulmar")).site("core/yy/1")


def test_levels_of_open_lines():
    text = 'format = "board/1"\nmachine = "fulmar"\n[[floats]]\nsites = "rope/address/*"\nlevel = 0\n'
    board = parse_board(load_machine("fulmar"), Source("f.board.toml", text))
    assert board.site("rope/address/3").role.floats == 0
    assert board.site("core/address/3").role.floats == 1


def test_without_a_board_file_there_are_lines_and_cells():
    board = plain_board(load_machine("fulmar"))
    assert board.built == ("plain", "plain")
    assert board.site("rope/address/10").noun == "address line 10 (bank bit 0) of the rope"
    assert board.site("rope/address/9").noun == "address line 9 of the rope"
    assert board.site("rope/cell/0o17/3")
    assert board.site("bus/data/parity")


def test_a_board_file_beside_the_machine_file(tmp_path, boards):
    machine = load_machine("fulmar")
    (tmp_path / "mine.toml").write_text("", encoding="utf-8")
    assert load_board(machine, tmp_path / "mine.toml").built == ("plain", "plain")
    text = 'format = "board/1"\nmachine = "fulmar"\n[[store]]\nstore = "core"\nbuilt = "plain"\n'
    (tmp_path / "mine.board.toml").write_text(text, encoding="utf-8")
    assert load_board(machine, tmp_path / "mine.toml").built == ("plain", "plain")
    assert load_board(machine, tmp_path / "mine.board.toml").tree.family("rope/wire") is None


def test_parity_pair_lines():
    text = WOVEN_512.replace('strand = "9-12"', 'strand = "9-14"\nparity_pair = true')
    board = parse_board(load_machine("fulmar"), Source("f.board.toml", text))
    role = board.site("rope/inhibit/parity/1").role
    assert role == CoreInhibit(1, -1, 1, role.region, (1 << 9) - 1, parity_pair=True)


def test_a_core_that_a_store_does_not_have_does_not_switch():
    """24,576 words fill three quarters of fifteen address bits: no core has both bit 13 and bit 14."""
    text = (
        HEAD + '[[store]]\nstore = "rope"\nbuilt = "woven"\ncore = "6-14"\nstrand = "3-5"\nmodule = "0-2"\n'
    )
    board = parse_board(load_machine("fulmar"), Source("f.board.toml", text))
    table = plan_of(board, parse_fault("rope/inhibit/14/0:open", board)).modes[0].tables[1]
    assert board.shapes[1].name == "rope"
    assert table.moved.tolist() == list(range(1 << 13)), "both bits 0: the core with bit 14 is there"
    assert table.read_to.tolist() == [[a, a | 1 << 14] for a in range(1 << 13)]


HEAD = 'format = "board/1"\nmachine = "fulmar"\n'
WRONG = {
    "machine of another name": ('format = "board/1"\nmachine = "dunlin"\n', "board-machine", "2:11"),
    "store": (HEAD + '[[store]]\nstore = "roap"\nbuilt = "plain"\n', "board-machine", "4:9"),
    "technology": (HEAD + '[[store]]\nstore = "rope"\nbuilt = "wovn"\n', "bad-choice", "5:9"),
    "key": (HEAD + '[[store]]\nstore = "rope"\nbuilt = "plain"\nwidth = 3\n', "unknown-key", "6:1"),
    "bit left out": (
        HEAD + '[[store]]\nstore = "rope"\nbuilt = "woven"\ncore = "0-8"\n',
        "board-geometry",
        "6:8",
    ),
    "bit twice": (
        HEAD + '[[store]]\nstore = "core"\nbuilt = "coincident"\nx = "0-5"\ny = "5-10"\n',
        "board-geometry",
        "7:5",
    ),
    "bit beyond": (
        HEAD + '[[store]]\nstore = "core"\nbuilt = "coincident"\nx = "0-4"\ny = "5-11"\n',
        "board-geometry",
        "7:5",
    ),
    "woven and written": (
        HEAD + '[[store]]\nstore = "core"\nbuilt = "woven"\ncore = "0-10"\n',
        "board-geometry",
        "4:9",
    ),
    "driver bits elsewhere": (
        HEAD + '[[store]]\nstore = "core"\nbuilt = "coincident"\nx = "0-4"\ny = "5-10"\nx_drivers = ["5"]\n',
        "board-geometry",
        "8:13",
    ),
    "absurd geometry": (
        HEAD + '[[store]]\nstore = "rope"\nbuilt = "woven"\ncore = "0"\nstrand = "1-14"\n',
        "board-geometry",
        "3:1",
    ),
    "numbers with a gap": (
        HEAD
        + '[[store]]\nstore = "rope"\nbuilt = "woven"\ncore = "0-8"\nstrand = "9-11"\nmodule = "14,13,12"\n',
        "board-geometry",
        "8:10",
    ),
    "labels too few": (
        HEAD + '[[label]]\nsites = "rope/address/*"\npin = ["1", "2"]\n',
        "board-sites",
        "5:7",
    ),
    "label": (HEAD + '[[label]]\nsites = "rope/adress/*"\ncard = "A"\n', "board-sites", "4:9"),
    "name of no star": (HEAD + '[[label]]\nsites = "core/address/*"\npin = "A{2}"\n', "board-label", "5:7"),
    "name in a list": (
        HEAD + '[[label]]\nsites = "core/address/*"\npin = ["{1}"' + 10 * ', "1"' + "]\n",
        "board-label",
        "5:7",
    ),
    "range that falls": (
        HEAD + '[[store]]\nstore = "core"\nbuilt = "coincident"\nx = "4-0"\ny = "5-10"\n',
        "board-geometry",
        "6:5",
    ),
    "level": (HEAD + '[[floats]]\nsites = "rope/address/*"\nlevel = 2\n', "out-of-range", "5:9"),
    "net": (
        HEAD + '[[net]]\nname = "n"\nfeeds = ["core/sense/3"]\neffect = "read-ones"\n',
        "board-sites",
        "5:10",
    ),
    "net of address lines": (
        HEAD + '[[net]]\nname = "n"\nfeeds = ["core/address/3"]\neffect = "dead"\n',
        "board-net",
        "5:10",
    ),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_is_refused(name):
    text, slug, place = WRONG[name]
    with pytest.raises(InputError) as caught:
        parse_board(load_machine("fulmar"), Source("f.board.toml", text))
    problem = caught.value.problems[0]
    assert problem.code.slug == slug
    assert str(problem.place) == f"f.board.toml:{place}"


@pytest.mark.parametrize("slug", [s for s, c in declared().items() if c.example_kind == "board"])
def test_documented_examples_provoke_their_codes(slug):
    with pytest.raises(InputError) as caught:
        parse_board(load_machine("fulmar"), Source("f.board.toml", declared()[slug].example))
    assert slug in {p.code.slug for p in caught.value.problems}


def test_all_problems_at_once():
    text = HEAD + '[[label]]\nsites = "rope/adress/*"\n[[label]]\nsites = "core/z/*"\n'
    with pytest.raises(InputError) as caught:
        parse_board(load_machine("fulmar"), Source("f.board.toml", text))
    assert len(caught.value.problems) == 2
    assert re.search("rope/address", caught.value.problems[0].hint)
