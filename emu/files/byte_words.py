"""Words as whole bytes: how raw, Intel HEX and S-record files carry them."""

from collections.abc import Iterable
from typing import Final

from attrs import frozen

from emu.errors import declare, fail
from emu.files.gather import Gathering, counted
from emu.files.layout import FileWord
from emu.files.outgoing import file_words
from emu.image import MemoryImage
from emu.where import Place
from emu.words import mask

PARTIAL: Final = declare(
    "odd-bytes",
    "A word is made of whole groups of bytes, none missing.",
    "Check the word size; if it is right, bytes were lost in transfer and the file must be read again.",
    ":01000000AA55\n:00000001FF\n",
    "image",
)
SPARE: Final = declare(
    "spare-bits-set",
    "The bits of a group of bytes that the word does not use are 0.",
    "State the other alignment, the other byte order or the right word size.",
    ":02000000F0010D\n:00000001FF\n",
    "image",
)


@frozen
class Chunk:
    """Bytes that a record gives from the file's address ``address`` on."""

    address: int
    data: bytes
    place: Place


def _spoken(word: FileWord) -> str:
    return counted(word.bytes_per_word, "byte")


def unpack(group: bytes, word: FileWord) -> int | None:
    """Return the word that a whole group of bytes spells, or None if spare bits are set."""
    value = int.from_bytes(group, word.byte_order)
    if word.align == "high":
        return None if value & mask(word.spare_bits) else value >> word.spare_bits
    return None if value >> word.bits else value


def pack(value: int, word: FileWord) -> bytes:
    """Return the group of bytes of a word."""
    raised = value << word.spare_bits if word.align == "high" else value
    return raised.to_bytes(word.bytes_per_word, word.byte_order)


def put_group(gathering: Gathering, address: int, group: bytes, place: Place) -> None:
    """Store the word of a whole group of bytes, or record why it is none."""
    word = gathering.word
    value = unpack(group, word)
    if value is None:
        side = "above" if word.align == "low" else "below"
        gathering.problems.add(
            SPARE,
            f"a word of {word.bits} bits leaves {word.spare_bits} bits {side} it 0 in {_spoken(word)}, "
            f"got {group.hex(' ')} for {word.tagged(address)}: word lost",
            place,
            hint=_other_reading(group, word),
        )
        return
    gathering.put(address, value, mask(word.bits), place)


def _other_reading(group: bytes, word: FileWord) -> str:
    """Name the first other statement under which the group is a word."""
    turned = group[::-1]
    high = int.from_bytes(group, word.byte_order) & mask(word.spare_bits) == 0
    if word.align == "low" and high:
        return "it would be a word with alignment high"
    if int.from_bytes(turned, word.byte_order) >> word.bits == 0:
        other = "little" if word.byte_order == "big" else "big"
        return f"it would be a word with byte order {other} and alignment low"
    return ""


def put_chunks(gathering: Gathering, chunks: Iterable[Chunk]) -> None:
    """Store the words of records; their addresses count as :attr:`FileWord.addresses` says.

    Bytes that two records give alike make one word; groups that are not whole are problems.
    """
    word = gathering.word
    size = word.bytes_per_word
    scale = 1 if word.addresses == "bytes" else size
    left: dict[int, dict[int, tuple[int, Place]]] = {}
    for chunk in chunks:
        start = chunk.address * scale
        if not gathering.room_for(start // size, max(len(chunk.data) // size, 1), chunk.place):
            continue
        head = -start % size
        whole = (len(chunk.data) - head) // size
        for n in range(max(whole, 0)):
            at = head + n * size
            put_group(gathering, (start + at) // size, chunk.data[at : at + size], chunk.place)
        edges = [*range(min(head, len(chunk.data))), *range(head + max(whole, 0) * size, len(chunk.data))]
        for at in edges:
            address, offset = divmod(start + at, size)
            byte = chunk.data[at]
            before = left.setdefault(address, {}).setdefault(offset, (byte, chunk.place))[0]
            if before != byte:
                gathering.contradict(address, f"byte {before:02x}", f"byte {byte:02x}", chunk.place)
    for address, group in sorted(left.items()):
        _put_pieces(gathering, address, group)


def _put_pieces(gathering: Gathering, address: int, group: dict[int, tuple[int, Place]]) -> None:
    word = gathering.word
    place = next(iter(group.values()))[1]
    if len(group) < word.bytes_per_word:
        given = " ".join(f"{group[n][0]:02x}" if n in group else "--" for n in range(word.bytes_per_word))
        message = f"a word of {word.bits} bits takes {_spoken(word)}, got {given} for {word.tagged(address)}"
        gathering.problems.add(PARTIAL, f"{message}: {counted(len(group), 'byte')} lost", place)
        return
    put_group(gathering, address, bytes(group[n][0] for n in range(word.bytes_per_word)), place)


def to_chunks(image: MemoryImage, word: FileWord, file: str, limit: int) -> list[Chunk]:
    """Return the image as records of at most ``limit`` bytes, each of whole words, by rising address.

    InputError if a bit is not known or an address needs more than 32 bits.
    """
    words = file_words(image, word, file)
    per_record = max(limit // word.bytes_per_word, 1)
    chunks: list[Chunk] = []
    for first, last in image.ranges():
        for start in range(first, last + 1, per_record):
            end = min(start + per_record, last + 1)
            data = b"".join(pack(words[a], word) for a in range(start, end))
            chunks.append(Chunk(start * word.unit, data, Place(file)))
    if chunks and highest(chunks) > 0xFFFFFFFF:
        fail(TOO_FAR, f"file addresses have 32 bits, got {highest(chunks):#x}", Place(file))
    return chunks


def highest(chunks: list[Chunk]) -> int:
    """Return the last file address that records reach, each byte counted as one; 0 if there are none."""
    return max((chunk.address + len(chunk.data) - 1 for chunk in chunks), default=0)


TOO_FAR: Final = declare(
    "file-address-too-far",
    "Intel HEX and S-record files have addresses of at most 32 bits.",
    "Write a listing instead, or let addresses count words.",
)
