"""Raw bytes: the words one after the other, nothing else."""

from typing import Final

from emu.errors import Problems, declare, fail
from emu.files.byte_words import PARTIAL, pack, put_group
from emu.files.gather import Gathering, counted
from emu.files.layout import FileWord, ReadResult
from emu.files.outgoing import file_words
from emu.image import MemoryImage
from emu.where import Place, Source

NO_GAPS: Final = declare(
    "raw-has-no-gaps",
    "A raw file has no addresses, so its words follow each other from the first address on.",
    "Write a format with addresses, or fill the gaps first.",
)


def read(data: bytes, word: FileWord, file: str = "raw") -> ReadResult:
    """Read raw bytes; the first word gets the address ``word.first``. InputError with all problems.

    Places have no line; the byte is named in the message.
    """
    problems = Problems(Source(file, ""))
    gathering = Gathering(word, problems)
    size, place = word.bytes_per_word, Place(file)
    count, odd = divmod(len(data), size)
    if odd:
        message = f"a word of {word.bits} bits takes {counted(size, 'byte')}, got {len(data)} in all"
        problems.add(PARTIAL, f"{message}: the last {counted(odd, 'byte')} lost", place)
    if not count or gathering.room_for(word.first, count, place):
        for n in range(count):
            put_group(gathering, word.first + n, data[n * size : (n + 1) * size], place)
    return ReadResult(gathering.finish(), word, "raw", problems.warnings)


def write(image: MemoryImage, word: FileWord, file: str = "raw") -> bytes:
    """Return the words as bytes; InputError if there are gaps, unknown bits or another first address."""
    words = file_words(image, word, file)
    ranges = image.ranges()
    if len(ranges) > 1 or (ranges and ranges[0][0] != word.first):
        got = ", ".join(f"{word.tagged(a)} to {word.tagged(b)}" for a, b in ranges[:3])
        got += " and more" if len(ranges) > 3 else ""
        fail(NO_GAPS, f"a raw file has every word from {word.tagged(word.first)} on, got {got}", Place(file))
    return b"".join(pack(value, word) for value in words.values())
