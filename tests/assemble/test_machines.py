"""Assembler and disassembler against every machine there is: the shipped ones and those of the tests."""

import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.assemble import assemble, disassemble_image, disassemble_word
from emu.errors import InputError
from emu.image import MemoryImage, ProgramImage
from emu.load import load_machine, parse_machine
from emu.shipped import machine_names
from emu.where import Source
from emu.words import mask

TESTS = Path(__file__).parent.parent
OWN = sorted([*(TESTS / "machines").glob("*.toml"), *(TESTS / "assemble").glob("*.toml")])
ALL = {**{name: name for name in machine_names()}, **{path.stem: path for path in OWN}}
INSTRUCTIONS = [(name, spec.name) for name in ALL for spec in load_machine(ALL[name]).instructions]


@pytest.fixture(scope="session")
def every():
    return {name: load_machine(where) for name, where in ALL.items()}


def words_of(machine, text, store=None):
    image = assemble(Source("p.asm", text), machine).image
    store = store or machine.windows[0].store
    return [value for _, value, _ in image.segments[store].words()]


def first_address(machine):
    return machine.windows[0].first


def placed(machine, lines):
    return f".at 0x{first_address(machine):x}\n" + "\n".join(lines) + "\n"


@pytest.mark.parametrize(("name", "instruction"), INSTRUCTIONS)
def test_example_assembles_to_its_word_and_back(name, instruction, every):
    machine = every[name]
    spec = next(s for s in machine.instructions if s.name == instruction)
    assert words_of(machine, placed(machine, [spec.example_text])) == [spec.example_word]
    again = disassemble_word(machine, spec.example_word, first_address(machine))
    assert again.split()[0] == instruction
    assert words_of(machine, placed(machine, [again])) == [spec.example_word]


def assert_identity(machine, words):
    """Disassemble words one after the other in the first window, assemble, compare; in pieces that fit."""
    window = machine.windows[0]
    for start in range(0, len(words), window.size):
        piece = words[start : start + window.size]
        lines = [
            disassemble_word(machine, word, window.first + number * window.unit)
            for number, word in enumerate(piece)
        ]
        assert words_of(machine, placed(machine, lines)) == piece


def test_identity_for_every_word_of_fulmar(every):
    assert_identity(every["fulmar"], list(range(1 << 16)))


def test_identity_for_every_word_of_dunlin(every):
    assert_identity(every["dunlin"], list(range(1 << 12)))


@pytest.mark.slow
def test_identity_for_drawn_words_of_sandpiper(every):
    draw = random.Random(20)
    assert_identity(every["sandpiper"], [draw.getrandbits(24) for _ in range(100_000)])


@pytest.mark.parametrize("name", ALL)
def test_identity_for_some_words_of_every_machine(name, every):
    machine = every[name]
    draw = random.Random(name)
    words = [draw.getrandbits(machine.word.bits) for _ in range(500)]
    for spec in machine.instructions:  # words near the instructions, which drawn words may never hit
        loose = mask(machine.instruction_bits) & ~spec.mask
        words += [spec.match | draw.getrandbits(machine.instruction_bits) & loose for _ in range(20)]
    assert_identity(machine, words)


@pytest.mark.parametrize("name", ALL)
def test_a_word_that_no_writing_makes_is_data(name, every):
    machine = every[name]
    draw = random.Random(name)
    for word in (draw.getrandbits(machine.word.bits) for _ in range(500)):
        known = [
            s
            for s in machine.instructions
            if word & s.mask == s.match and word >> machine.instruction_bits == 0
        ]
        if not known:
            assert disassemble_word(machine, word, first_address(machine)).startswith(".word ")


def test_bits_that_do_not_matter_make_a_word_data(tern):
    assert disassemble_word(tern, 0o3403, 0) == "shift 0o3"
    assert disassemble_word(tern, 0o3423, 0) == ".word 0o3423"
    assert disassemble_word(tern, 0o7777, 0) == ".word 0o7777"


def test_relative_words_without_an_address_are_data(tern):
    assert disassemble_word(tern, 0o2017, 0) == "jump 0o20"
    assert disassemble_word(tern, 0o2017) == ".word 0o2017"
    assert disassemble_word(tern, 0o2377, 0) == "jump 0o0"
    assert disassemble_word(tern, 0o2376, 0) == "jump 0o7777"  # round the end of the address space


def test_marks_of_a_form_and_the_second_zero(rail):
    assert disassemble_word(rail, 0x1602, 0) == "load one, 0x4(two)"
    assert disassemble_word(rail, 0x16FF, 0) == "load one, -0(two)"
    assert disassemble_word(rail, 0x2FE0, 0) == "nudge sp += -0x1"
    assert disassemble_word(rail, 0x4001, 0) == "again 0x1+"
    assert words_of(rail, "load one, -0(two)\nload one, (1+3)*2(two)\nagain (1+1)+\nnudge sp += -1") == [
        0x16FF, 0x1604, 0x4002, 0x2FE0,
    ]  # fmt: skip


def test_a_word_too_long_is_refused(tern):
    for word in (-1, 1 << 12):
        with pytest.raises(ValueError, match="12 bits"):
            disassemble_word(tern, word, 0)


# ---- images


def segments_of(machine, draw):
    """Draw an image with a few stretches in every store."""
    segments = {}
    for store in machine.stores:
        cells = {}
        for _ in range(draw(st.integers(0, 3))):
            start = draw(st.integers(0, store.words - 1))
            words = draw(st.lists(st.integers(0, mask(store.data_bits)), min_size=1, max_size=12))
            cells |= {start + n: word for n, word in enumerate(words) if start + n < store.words}
        if cells:
            segments[store.name] = MemoryImage.certain(store.data_bits, cells)
    return segments


@pytest.mark.parametrize("name", ALL)
@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_image_disassembles_to_a_program_that_makes_it(name, every, data):
    machine = every[name]
    entry = data.draw(st.one_of(st.none(), st.just(machine.start)))
    image = ProgramImage(segments_of(machine, data.draw), entry)
    text = disassemble_image(machine, image)
    again = assemble(Source("again.asm", text), machine).image
    assert again.segments == image.segments
    assert again.entry == image.entry


def test_an_image_that_no_program_makes_is_refused(tern):
    with pytest.raises(ValueError, match="data bits"):
        disassemble_image(tern, ProgramImage({"core": MemoryImage.of_words(13, [0])}))
    with pytest.raises(ValueError, match="wholly known"):
        disassemble_image(tern, ProgramImage({"core": MemoryImage(12, {0: (0, 0o7770)})}))


# ---- generated programs: assemble, disassemble, and the instructions come back as they were meant


def operand_values(machine, operand, address, draw):
    """Draw a value that fits an operand, by the rules of the machine file, and its text."""
    kind, width = operand.field.kind, operand.width
    if kind == "register":
        file = machine.register(operand.field.file)
        number = draw(st.integers(0, min(file.count, 1 << width) - 1))
        return number, (file.names or [f"{file.name}{n}" for n in range(file.count)])[number]
    if kind == "relative":
        low, high = -(1 << (width - 1)), (1 << (width - 1)) - 1
        half = (1 << (machine.address_bits - 1)) // operand.field.scale
        distance = draw(st.integers(max(low, -half), min(high, half - 1)))
        target = (address + machine.step + distance * operand.field.scale) & mask(machine.address_bits)
        return distance & mask(width), f"0x{target:x}"
    if kind == "signed":
        high = (1 << (width - 1)) - 1
        low = -high - (machine.word.arithmetic == "twos")
        number = draw(st.integers(low, high))
        if number >= 0:
            return number, f"0x{number * operand.field.scale:x}"
        size = -number * operand.field.scale
        pattern = {
            "twos": number & mask(width),
            "ones": mask(width) + number,
            "sign-magnitude": 1 << (width - 1) | -number,
        }
        return pattern[machine.word.arithmetic], f"-0x{size:x}"
    number = draw(st.integers(0, mask(width)))
    return number, f"0d_{number}"


@pytest.mark.parametrize("name", ALL)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_generated_instructions_have_the_bits_of_their_encoding(name, every, data):
    machine = every[name]
    address = first_address(machine)
    lines, expected = [], []
    for _ in range(data.draw(st.integers(1, 6))):
        spec = data.draw(st.sampled_from(machine.instructions))
        tail, pattern = spec.form, spec.bits.replace(" ", "").replace("-", "0")
        for operand in spec.operands:
            number, text = operand_values(machine, operand, address, data.draw)
            tail = tail.replace("{" + operand.field.letter + "}", text)
            digits = iter(f"{number:0{operand.width}b}")  # the oracle: letters of the drawing, left to right
            pattern = "".join(next(digits) if c == operand.field.letter else c for c in pattern)
        lines.append(f"{spec.name} {tail}")
        expected.append(int(pattern, 2))
        address += machine.windows[0].unit
    assert words_of(machine, placed(machine, lines)) == expected
    assert_identity(machine, expected)


# ---- forms that cannot be read


@pytest.mark.parametrize("form", ['{d} "{v}({s})', "{d}, {v}{w}", "{d}, é {v}"])
def test_a_form_that_no_program_can_hold_is_refused(form):
    text = (TESTS / "assemble" / "rail.toml").read_text(encoding="utf-8")
    old = 'bits = "0010 dd wwwwww 0000"\ndoes = ["r[d] = r[d] + widen(w, 16)"]\nform = "{d} += {w}"\n'
    new = 'bits = "0010 dd wwwwww vvvv"\ndoes = ["r[d] = r[d] + widen(w, 16)"]\nform = \'' + form + "'\n"
    if "{s}" in form:
        new = new.replace("vvvv", "vvss")
    new = (
        new.replace("{w}", "{w}")
        if "{w}" in form
        else new.replace("wwwwww", "vvvvvv").replace("widen(w", "widen(v")
    )
    text = text.replace(old, new).replace("nudge sp += -1", "nudge").replace("0x2FE0", "0x2000")
    with pytest.raises(InputError) as caught:
        parse_machine(Source("rail.toml", text))
    assert [p.code.slug for p in caught.value.problems] == ["asm-unreadable-form"]
    assert [p.place.line for p in caught.value.problems] == [1 + text[: text.index("form = '")].count("\n")]


# ---- examples that prove nothing


def spoiled_tern(old, new):
    text = (TESTS / "assemble" / "tern.toml").read_text(encoding="utf-8")
    assert text.count(old) == 1
    with pytest.raises(InputError) as caught:
        parse_machine(Source("tern.toml", text.replace(old, new)))
    return [(p.code.slug, p.message, p.hint) for p in caught.value.problems]


def test_an_example_assembles_to_its_word():
    found = spoiled_tern('{ text = "jump 0o20", word = 0o2017 }', '{ text = "jump 0o20", word = 0o2016 }')
    message = "the text of an example assembles to its word; 'jump 0o20' is 0o2017, got 0o2016"
    assert found == [("example", message, "write 0o2017, or mend the text")]


@pytest.mark.parametrize("text", ["shift", "shift 99", "shift count", "shift 3, 3", "shift )"])
def test_an_example_can_be_assembled(text):
    [(slug, message, _)] = spoiled_tern('"shift 3"', f'"{text}"')
    assert slug == "example"
    assert message.startswith("an example can be assembled; ")


def test_an_example_is_one_line():
    found = spoiled_tern('"shift 3"', r'"shift 3\nshift 3"')
    assert [(slug, message) for slug, message, _ in found] == [
        ("example", r"an example is one instruction; got 'shift 3\nshift 3'")
    ]
