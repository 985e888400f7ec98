"""What a file can carry of an image: words on their way out, or the reason why they would lose something."""

from typing import Final

from emu.codes import encode
from emu.errors import declare, fail
from emu.files.layout import FileWord
from emu.image import MemoryImage
from emu.where import Place
from emu.words import mask

UNKNOWN: Final = declare(
    "unknown-bits-lost",
    "Only a listing and a CSV file can say that a bit is not known.",
    "Write a listing or CSV; in base 2 it keeps every known bit.",
)
CHECKS: Final = declare(
    "check-bits-lost",
    "Check bits are left out of a file only where they agree with the data and can be computed again.",
    "Write the file with its check bits.",
)
SIZE: Final = declare(
    "image-size-differs",
    "An image is written with the word size it has.",
    "State the image's own data bits and protection.",
)


def outgoing(value: int, known: int, address: int, word: FileWord, file: str) -> tuple[int, int]:
    """Return ``(value, known)`` of the file's word for a stored word.

    InputError if check bits would be left out that cannot be computed again.
    """
    if word.checks == "stored":
        return value, known
    data, sure = value & mask(word.data_bits), known & mask(word.data_bits)
    checks_known = known >> word.data_bits
    whole = sure == mask(word.data_bits)
    if checks_known and not (whole and (value ^ encode(word.protection, word.data_bits, data)) & known == 0):
        message = f"check bits left out can be computed from the data, got others at {word.tagged(address)}"
        fail(CHECKS, message, Place(file), hint="write the check bits too: --checks stored")
    return data, sure


def check_size(image: MemoryImage, word: FileWord, file: str) -> None:
    """InputError if the image's words are not those of the statement."""
    if image.bits != word.stored_bits:
        stated = f"{word.stored_bits} stored bits"
        fail(SIZE, f"the words stated have {stated}, got an image of {image.bits}", Place(file))


def file_words(image: MemoryImage, word: FileWord, file: str) -> dict[int, int]:
    """Return the file's words by address; InputError if the file could not carry all that is in the image."""
    check_size(image, word, file)
    words: dict[int, int] = {}
    for address, value, known in image.words():
        words[address], sure = outgoing(value, known, address, word, file)
        if sure != mask(word.bits):
            message = f"this format needs every bit known, got unknown bits at {word.tagged(address)}"
            fail(UNKNOWN, message, Place(file), hint="write a listing")
    return words


def masked_digits(image: MemoryImage, word: FileWord, file: str) -> dict[int, str]:
    """Return the words by address as digits and ``?``; InputError if a digit would hide a known bit."""
    check_size(image, word, file)
    texts: dict[int, str] = {}
    form = word.text
    for address, value, known in image.words():
        out, sure = outgoing(value, known, address, word, file)
        texts[address] = form.masked_text(out, sure)
        if sure != mask(word.bits) and (word.base == 10 or form.parse_masked(texts[address])[1] != sure):
            message = f"a ? stands for a whole digit, got a digit partly known at {word.tagged(address)}"
            fail(UNKNOWN, message, Place(file), hint="write the file in base 2")
    return texts
