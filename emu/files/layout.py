"""How words lie in a file: the statement that every reader and writer of images works from."""

from typing import Final, Literal, get_args

from attrs import field, frozen
from attrs import validators as valid

from emu.codes import PROTECTIONS, Protection, check_bits, encode
from emu.errors import Problem
from emu.image import MAX_ADDRESS, MemoryImage
from emu.words import BASES, Base, WordFormat, mask

Checks = Literal["stored", "absent"]
Align = Literal["low", "high"]
ByteOrder = Literal["big", "little"]
AddressUnit = Literal["bytes", "words"]
FormatName = Literal["listing", "raw", "intel-hex", "s-record", "csv"]
FORMATS: Final[tuple[FormatName, ...]] = get_args(FormatName)


@frozen
class FileWord:
    """The word of a file.

    ``data_bits`` 4 to 64. ``protection`` says which check bits a *stored* word has above its data;
    ``checks`` whether the file has them too (``stored``) or only the data (``absent``: they are computed on
    reading, and left out on writing if they are right). ``base`` is that of digits in text.

    In formats made of bytes a word takes the fewest whole bytes; ``align`` says whether its unused bits,
    which are 0, lie above it (``low``) or below; ``byte_order`` which byte comes first. ``addresses`` says
    whether addresses in Intel HEX and S-record files count bytes or words. ``first`` is the address of the
    first word where a file gives none. ``words`` is the size of the store, or None: addresses beyond it are
    errors.
    """

    data_bits: int = field(validator=[valid.instance_of(int), valid.ge(4), valid.le(64)])
    protection: Protection = field(default="none", validator=valid.in_(PROTECTIONS))
    checks: Checks = field(default="stored", validator=valid.in_(get_args(Checks)))
    base: Base = field(default=8, validator=valid.in_(BASES))
    align: Align = field(default="low", validator=valid.in_(get_args(Align)))
    byte_order: ByteOrder = field(default="big", validator=valid.in_(get_args(ByteOrder)))
    addresses: AddressUnit = field(default="bytes", validator=valid.in_(get_args(AddressUnit)))
    first: int = field(default=0, validator=[valid.ge(0), valid.le(MAX_ADDRESS)])
    words: int | None = field(default=None, validator=valid.optional(valid.ge(1)))

    @property
    def stored_bits(self) -> int:
        """Bits of a word of the image: data and check bits."""
        return self.data_bits + check_bits(self.protection, self.data_bits)

    @property
    def bits(self) -> int:
        """Bits of a word in the file."""
        return self.stored_bits if self.checks == "stored" else self.data_bits

    @property
    def bytes_per_word(self) -> int:
        """Whole bytes that a word takes in a file of bytes."""
        return -(-self.bits // 8)

    @property
    def spare_bits(self) -> int:
        """Bits of those bytes that the word does not use."""
        return 8 * self.bytes_per_word - self.bits

    @property
    def unit(self) -> int:
        """How much a file's addresses grow from word to word."""
        return self.bytes_per_word if self.addresses == "bytes" else 1

    @property
    def text(self) -> WordFormat:
        """How a word of the file is written in digits."""
        return WordFormat(self.bits, base=self.base)

    def tagged(self, address: int) -> str:
        """Return an address for a message, with its base."""
        return WordFormat(max(address.bit_length(), 1), base=self.base).tagged(address)

    def to_stored(self, value: int, known: int) -> tuple[int, int]:
        """Return ``(value, known)`` of the stored word for a word of the file.

        Absent check bits are computed; if a data bit is unknown, so are all check bits.
        """
        if self.checks == "stored":
            return value, known
        if known != mask(self.data_bits):
            return value, known
        return encode(self.protection, self.data_bits, value), mask(self.stored_bits)


@frozen
class ReadResult:
    """What a file holds.

    ``word`` is the statement as settled in the end (a listing may state its own); ``how`` says in a sentence
    which format was read and why; ``warnings`` are the problems that lost nothing. ``entry`` is the start
    address that the file names, in words, or None; ``title`` the file's own heading, or "".
    """

    image: MemoryImage
    word: FileWord
    format: FormatName
    warnings: tuple[Problem, ...] = ()
    how: str = ""
    entry: int | None = None
    title: str = ""
