"""Image files: published records, an independent library, and every width against itself."""

import bincopy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emu.codes import encode, verify
from emu.errors import InputError, declared
from emu.files import guess_format, intel_hex, listing, raw, read_image, s_record, write_image
from emu.files.layout import FORMATS, FileWord
from emu.image import MemoryImage
from emu.where import Source
from emu.words import mask

BYTE = FileWord(8)


def octets(image):
    return {address: value for address, value, _ in image.words()}


# --- records whose sums were recomputed; the examples from memory, as printed in the formats' descriptions

HEX_LINES = [
    ":0300300002337A1E",
    ":10010000214601360121470136007EFE09D2190140",
    ":100110002146017E17C20001FF5F16002148011928",
    ":10012000194E79234623965778239EDA3F01B2CAA7",
    ":100130003F0156702B5E712B722B732146013421C7",
    ":0B0010006164647265737320676170A7",
    ":04000005000000CD2A",
    ":00000001FF",
]
HELLO = [
    "S00F000068656C6C6F202020202000003C",
    "S11F00007C0802A6900100049421FFF07C6C1B787C8C23783C6000003863000026",
    "S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9",
    "S111003848656C6C6F20776F726C642E0A0042",
    "S5030003F9",
    "S9030000FC",
]


def test_published_intel_hex_records():
    result = intel_hex.read(Source("x", "\n".join(HEX_LINES)), BYTE)
    content = octets(result.image)
    assert [content[a] for a in (0x30, 0x31, 0x32)] == [0x02, 0x33, 0x7A]
    assert bytes(content[0x10 + n] for n in range(11)) == b"address gap"
    assert bytes(content[0x100 + n] for n in range(4)) == bytes.fromhex("21460136")
    assert content[0x13F] == 0x21
    assert result.entry == 0xCD
    outside = bincopy.BinFile()
    outside.add_ihex("\n".join(HEX_LINES))
    assert dict(enumerate_segments(outside)) == content


def test_extended_addresses():
    # 02: value times 16; 04: value times 65536
    text = ":020000021200EA\n:0100000055AA\n:020000040800F2\n:0100000066 99\n:00000001FF\n".replace(" ", "")
    assert octets(intel_hex.read(Source("x", text), BYTE).image) == {0x12000: 0x55, 0x08000000: 0x66}


def test_published_s_records():
    result = s_record.read(Source("x", "\n".join(HELLO) + "\n"), BYTE)
    content = bytes(octets(result.image).values())
    assert len(content) == 70
    assert list(result.image.ranges()) == [(0, 0x45)]
    assert content[0x38:] == b"Hello world.\n\0"
    assert (result.title, result.entry, result.warnings) == ("hello", None, ())


def test_the_right_sum_is_named():
    line = "S1137AF00A0A0D0000000000000000000000000061"
    good = s_record.read(Source("x", f"{line}\nS9030000FC\n"), BYTE)
    assert list(good.image.ranges()) == [(0x7AF0, 0x7AFF)]
    with pytest.raises(InputError, match="the record's sum byte is 61, got 62: bytes 7af0 to 7aff lost"):
        s_record.read(Source("x", f"{line[:-1]}2\nS9030000FC\n"), BYTE)
    with pytest.raises(bincopy.Error, match="expected crc '61'"):
        bincopy.BinFile().add_srec(line[:-1] + "2")


# --- against bincopy, 8- to 64-bit words


def enumerate_segments(binary):
    for segment in binary.segments:
        yield from enumerate(segment.data, segment.minimum_address)


@st.composite
def byte_images(draw, bits):
    blocks = draw(st.lists(st.tuples(st.integers(0, 0x3000), st.integers(1, 40)), min_size=1, max_size=4))
    addresses = {start + n for start, count in blocks for n in range(count)}
    words = draw(st.lists(st.integers(0, mask(bits)), min_size=len(addresses), max_size=len(addresses)))
    return MemoryImage.certain(bits, dict(zip(sorted(addresses), words, strict=True)))


def as_bytes(image, order):
    size = image.bits // 8
    return {
        address * size + n: byte
        for address, value, _ in image.words()
        for n, byte in enumerate(value.to_bytes(size, order))
    }


@pytest.mark.parametrize("bits", [8, 16, 32, 64])
@pytest.mark.parametrize("form", ["intel-hex", "s-record"])
@settings(max_examples=25)
@given(data=st.data())
def test_bincopy_reads_what_we_write(bits, form, data):
    image = data.draw(byte_images(bits))
    order = data.draw(st.sampled_from(["big", "little"]))
    text = write_image(image, form, FileWord(bits, byte_order=order)).decode()
    outside = bincopy.BinFile()
    (outside.add_ihex if form == "intel-hex" else outside.add_srec)(text)
    assert dict(enumerate_segments(outside)) == as_bytes(image, order)
    # addresses that count words are what bincopy calls its word size
    text = write_image(image, form, FileWord(bits, byte_order=order, addresses="words")).decode()
    outside = bincopy.BinFile(word_size_bits=bits)
    (outside.add_ihex if form == "intel-hex" else outside.add_srec)(text)
    assert dict(enumerate_bytes(outside, bits)) == as_bytes(image, order)


def enumerate_bytes(binary, bits):
    for segment in binary.segments:
        yield from enumerate(segment.data, segment.address * (bits // 8))


@pytest.mark.parametrize("bits", [8, 16, 32, 64])
@pytest.mark.parametrize("form", ["intel-hex", "s-record"])
@settings(max_examples=25)
@given(data=st.data())
def test_we_read_what_bincopy_writes(bits, form, data):
    image = data.draw(byte_images(bits))
    count = data.draw(st.integers(1, 4).map(lambda n: n * bits // 8))
    inside = bincopy.BinFile()
    for address, byte in as_bytes(image, "big").items():
        inside.add_binary(bytes([byte]), address)
    # its 16-bit S-records are broken above 64 KiB, so they are asked for below only
    sizes = [24, 32] if max(image.cells) * bits // 8 > 0xFF00 else [16, 24, 32]
    size = data.draw(st.sampled_from(sizes))
    text = inside.as_ihex(count) if form == "intel-hex" else inside.as_srec(count, size)
    assert read_image("x", text.encode(), FileWord(bits)).image == image


@settings(max_examples=25)
@given(byte_images(16))
def test_records_that_split_words_are_joined(image):
    inside = bincopy.BinFile()
    for address, byte in as_bytes(image, "big").items():
        inside.add_binary(bytes([byte]), address)
    text = inside.as_ihex(3)
    assert read_image("x", text.encode(), FileWord(16)).image == image


def test_records_cross_64_kib():
    # 24-bit words do not divide 65,536 bytes: the writer splits, the reader joins
    image = MemoryImage.of_words(24, range(1, 20), 0x10000 // 3 - 9)
    word = FileWord(24)
    text = write_image(image, "intel-hex", word).decode()
    assert ":020000040001F9" in text
    assert read_image("x", text.encode(), word).image == image
    outside = bincopy.BinFile()
    outside.add_ihex(text)
    assert dict(enumerate_segments(outside)) == as_bytes(image, "big")


# --- against themselves, every width

WORDS = st.builds(
    FileWord,
    st.integers(4, 64),
    st.sampled_from(["none", "odd", "even", "sec-ded"]),
    st.sampled_from(["stored", "absent"]),
    st.sampled_from([2, 8, 10, 16]),
    st.sampled_from(["low", "high"]),
    st.sampled_from(["big", "little"]),
    st.sampled_from(["bytes", "words"]),
)


@st.composite
def stated_images(draw, gaps=True):
    word = draw(WORDS)
    count = draw(st.integers(1, 60))
    words = draw(st.lists(st.integers(0, mask(word.data_bits)), min_size=count, max_size=count))
    if draw(st.booleans()):
        words = [words[0]] * 40 + words
    stored = [encode(word.protection, word.data_bits, value) for value in words]
    jump = draw(st.integers(0, 30)) if gaps else 0
    addresses = [n if n < count // 2 else n + jump for n in range(len(stored))]
    return word, MemoryImage.certain(word.stored_bits, dict(zip(addresses, stored, strict=True)))


@given(stated_images(), st.sampled_from([f for f in FORMATS if f != "raw"]))
def test_round_trip_with_addresses(stated, form):
    word, image = stated
    result = read_image("x", write_image(image, form, word), word, form)
    assert result.image == image
    assert {p.code.slug for p in result.warnings} <= {"words-missing"}


@given(stated_images(gaps=False))
def test_round_trip_raw(stated):
    word, image = stated
    data = write_image(image, "raw", word)
    assert len(data) == len(image.cells) * word.bytes_per_word
    assert read_image("x.bin", data, word).image == image


@given(stated_images(), st.sampled_from([f for f in FORMATS if f != "raw"]))
def test_the_format_is_recognised(stated, form):
    word, image = stated
    assert guess_format("x", write_image(image, form, word))[0] == form


@given(stated_images())
def test_a_listing_states_itself(stated):
    word, image = stated
    result = read_image("x", write_image(image, "listing", word))
    assert result.image == image
    assert (result.word.data_bits, result.word.protection) == (word.data_bits, word.protection)


@given(st.integers(4, 64), st.sampled_from([2, 8, 16]), st.sampled_from(["listing", "csv"]), st.data())
def test_unknown_digits_round_trip(bits, base, form, data):
    word = FileWord(bits, base=base)
    step = {2: 1, 8: 3, 16: 4}[base]
    lost = data.draw(st.sets(st.integers(0, word.text.digits - 1)))
    known = mask(bits) & ~sum(mask(step) << step * n for n in lost)
    image = MemoryImage(bits, {5: (data.draw(st.integers(0, mask(bits))) & known, known)})
    assert read_image("x", write_image(image, form, word), word, form).image == image


@settings(max_examples=50)
@given(st.binary(max_size=300), st.sampled_from([None, *FORMATS]))
def test_no_bytes_make_a_traceback(data, form):
    try:
        result = read_image("x", data, FileWord(16), form)
    except InputError as error:
        assert error.problems  # noqa: PT017
    else:
        assert result.image.cells


@settings(max_examples=150)
@given(stated_images(gaps=False), st.sampled_from(["listing", "intel-hex", "s-record"]), st.data())
def test_a_damaged_character_is_never_taken_in_silence(stated, form, data):
    """One digit lost from a line is an error: records have sums, listings count the digits of a word.

    A word of one digit can be lost whole at the end of the last line, which no reader can see.
    """
    word, image = stated
    if word.text.digits == 1:
        return
    text = write_image(image, form, word).decode()
    lines = text.splitlines()
    index = data.draw(st.integers(0, len(lines) - 1))
    if form == "listing" and (index == 0 or lines[index] == "*"):
        return
    start = lines[index].index(":") + 2 if form == "listing" else 1
    spots = [n for n in range(start, len(lines[index])) if lines[index][n].isalnum()]
    if not spots:
        return
    spot = data.draw(st.sampled_from(spots))
    lines[index] = lines[index][:spot] + lines[index][spot + 1 :]
    with pytest.raises(InputError) as caught:
        read_image("x", ("\n".join(lines) + "\n").encode(), word, form)
    assert index + 1 in {p.place.line for p in caught.value.problems}


# --- the ways words lie


@pytest.mark.parametrize(
    ("align", "order", "octets_"),
    [("low", "big", "0abc"), ("low", "little", "bc0a"), ("high", "big", "abc0"), ("high", "little", "c0ab")],
)
def test_alignment_and_byte_order(align, order, octets_):
    word = FileWord(12, align=align, byte_order=order)
    assert raw.write(MemoryImage.of_words(12, [0xABC]), word) == bytes.fromhex(octets_)


def test_raw_starts_where_it_is_told():
    result = raw.read(b"\x01\x02\x03\x04", FileWord(16, first=0o100))
    assert octets(result.image) == {0o100: 0x0102, 0o101: 0x0304}


def test_a_listing_as_people_write_it():
    text = (
        "; read through the panel, 2nd evening\n"
        "words 16 base octal parity odd checks absent\n"
        "0000: 012345 000017 1?7777   ; lamp 14 was dark\n"
        "      000001\n"
        "0010: 000000 000000\n"
        "*\n"
        "0020: 177777\n"
        "*\n"
        "0022:\n"
    )
    image = read_image("dump.txt", text.encode()).image
    assert image.bits == 17
    assert image.cells[0] == (encode("odd", 16, 0o12345), mask(17))
    assert image.cells[2] == (0o107777, 0o107777)
    assert image.cells[3] == (1, mask(17))
    assert list(image.ranges()) == [(0, 3), (8, 17)]
    assert [image.cells[a][0] for a in (0o10, 0o17, 0o20, 0o21)] == [1 << 16, 1 << 16, 0o377777, 0o377777]
    assert all(verify("odd", 16, v).status == "ok" for _, v, k in image.words() if k == mask(17))
    assert str(image.place_of(3)) == "dump.txt:4:7"


def test_a_listing_is_written_as_documented():
    image = MemoryImage.of_words(12, [1, 2, *[0] * 24, 7])
    assert listing.write(image, FileWord(12, words=4096)) == (
        "words 12 base octal\n"
        "0000: 0001 0002 0000 0000 0000 0000 0000 0000\n"
        "0010: 0000 0000 0000 0000 0000 0000 0000 0000\n"
        "*\n"
        "0030: 0000 0000 0007\n"
    )


def test_csv_columns_in_any_order_with_bases_of_their_own():
    text = '# from a spreadsheet\nWord , "Address"\n"0x1F",0o10\n17,11\n0b1?1,12\n'
    image = read_image("x.csv", text.encode(), FileWord(12)).image
    assert image.cells == {8: (0x1F, 0o7777), 9: (0o17, 0o7777), 10: (5, 0o7775)}


def test_line_ends_and_marks_of_other_systems():
    text = "\ufeffwords 12 base hexadecimal\r\n0: abc DEF\r\n"
    assert octets(read_image("x", text.encode()).image) == {0: 0xABC, 1: 0xDEF}


def test_how_the_format_was_told():
    assert guess_format("x", b"\x00\x01") == ("raw", "it is not text")
    assert guess_format("x.bin", b"000: 1") == ("raw", "the name ends in .bin")
    assert guess_format("x.hex", b"?!") == ("intel-hex", "the name ends in .hex")
    result = read_image("dump.hex", b"words 8 base octal\n0: 017\n")
    assert result.how == "read as a listing: 2 of 2 lines look like it"
    assert "\n".join(p.headline for p in result.warnings) == (
        "dump.hex: warning: the name ends in .hex but the content looks like a listing: "
        "2 of 2 lines look like it [format-differs]"
    )
    assert read_image("x", b"0,1\n", FileWord(8), "csv").how == "read as CSV: as asked"


# --- what a format cannot carry


@pytest.mark.parametrize(
    ("form", "word", "image", "message"),
    [
        ("raw", FileWord(8), MemoryImage(8, {0: (0, 0)}), "this format needs every bit known, got unknown bits at 0o0 [unknown-bits-lost]"),
        ("intel-hex", FileWord(8), MemoryImage(8, {9: (0, 1)}), "this format needs every bit known, got unknown bits at 0o11 [unknown-bits-lost]"),
        ("listing", FileWord(8), MemoryImage(8, {0: (0, 1)}), "a ? stands for a whole digit, got a digit partly known at 0o0 [unknown-bits-lost]"),
        ("csv", FileWord(8, base=10), MemoryImage(8, {0: (0, 0)}), "a ? stands for a whole digit, got a digit partly known at 0 [unknown-bits-lost]"),
        ("raw", FileWord(8), MemoryImage.certain(8, {0: 1, 2: 3}), "a raw file has every word from 0o0 on, got 0o0 to 0o0, 0o2 to 0o2 [raw-has-no-gaps]"),
        ("raw", FileWord(8, first=1), MemoryImage.certain(8, {0: 1}), "a raw file has every word from 0o1 on, got 0o0 to 0o0 [raw-has-no-gaps]"),
        ("csv", FileWord(8, "odd", "absent"), MemoryImage.certain(9, {3: 0}), "check bits left out can be computed from the data, got others at 0o3 [check-bits-lost]"),
        ("csv", FileWord(8, "odd"), MemoryImage(8), "the words stated have 9 stored bits, got an image of 8 [image-size-differs]"),
        ("intel-hex", FileWord(64), MemoryImage.certain(64, {0xFFFFFFFF: 1}), "file addresses have 32 bits, got 0x7ffffffff [file-address-too-far]"),
    ],
)  # fmt: skip
def test_writing_refuses_to_lose_anything(form, word, image, message):
    with pytest.raises(InputError) as caught:
        write_image(image, form, word, "out")
    assert [p.headline for p in caught.value.problems] == [f"out: error: {message}"]


def test_formats_have_names():
    with pytest.raises(ValueError, match="listing, raw, intel-hex, s-record, csv, got 'octal'"):
        write_image(MemoryImage(8), "octal", BYTE)


def test_every_documented_example_emits_its_own_code():
    """Examples without a statement of their own are read as words of 12 bits."""
    for slug, code in declared().items():
        if code.example_kind != "image":
            continue
        word = None if "words " in code.example else FileWord(12)
        try:
            found = read_image("example", code.example.encode(), word).warnings
        except InputError as error:
            found = error.problems
        assert slug in {p.code.slug for p in found}, slug


@pytest.mark.parametrize("form", ["intel-hex", "s-record"])
@pytest.mark.parametrize("bits", [8, 12, 24, 64])
@pytest.mark.parametrize("first", [0xFFF8, 0xFFFC, 0xFFFF, 0x1FFFC])
def test_addresses_that_count_words_run_on_past_65_536(form, bits, first):
    word = FileWord(bits, addresses="words")
    image = MemoryImage.of_words(bits, range(1, 12), first)
    assert read_image("x", write_image(image, form, word), word, form).image == image


def test_a_record_may_end_with_the_last_word_of_a_segment():
    """Two words of two bytes, at the words fffe and ffff, are within the segment; a third is not."""
    word = FileWord(16, addresses="words")
    fits = intel_hex.record(0xFFFE, 0, bytes(4)) + "\n:00000001FF\n"
    assert octets(read_image("x", fits.encode(), word, "intel-hex").image) == {0xFFFE: 0, 0xFFFF: 0}
    with pytest.raises(InputError) as caught:
        read_image(
            "x", (intel_hex.record(0xFFFE, 0, bytes(6)) + "\n:00000001FF\n").encode(), word, "intel-hex"
        )
    assert [p.code.slug for p in caught.value.problems] == ["record-crosses-segment"]
