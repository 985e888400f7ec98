"""The options that say how words lie in an image file, the same in every command."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Final, TypeVar, cast, get_args

import click
from attrs import frozen

from emu.codes import Protection
from emu.files.layout import FORMATS, AddressUnit, Align, ByteOrder, Checks, FileWord, FormatName
from emu.spec import MachineSpec, StoreSpec
from emu.words import Base, WordFormat

F = TypeVar("F", bound=Callable[..., Any])


@frozen
class FileLayout:
    """What the command line says of an image file. ``form`` None: told by content and name.

    ``first`` is an address in the machine's base, or with a prefix.
    """

    form: FormatName | None = None
    checks: Checks = "absent"
    align: Align = "low"
    byte_order: ByteOrder = "big"
    addresses: AddressUnit = "bytes"
    first: str = "0"

    def word_of(self, machine: MachineSpec, store: StoreSpec) -> FileWord:
        """Return how words of a store of a machine lie in such a file."""
        return self.word(store.data_bits, store.protection, machine.word.base, store.words)

    def word(self, bits: int, protection: Protection, base: Base, words: int | None = None) -> FileWord:
        """Return how words lie in such a file; ``click.UsageError`` if ``first`` is no address."""
        try:
            first = WordFormat(32, base=base).parse(self.first)
        except ValueError as error:
            raise click.UsageError(f"--first is an address: {error}") from error
        ways = (self.align, self.byte_order, self.addresses)
        return FileWord(bits, protection, self.checks, base, *ways, first, words)


DEFAULT_LAYOUT: Final = FileLayout()
_NAMES: Final = ("form", "checks", "align", "byte_order", "addresses", "first")


def layout_options(function: F) -> F:
    """Add the options of an image file; the command gets them as one ``layout``."""

    @wraps(function)
    def gathered(*arguments: Any, **options: Any) -> Any:
        return function(*arguments, layout=FileLayout(**{n: options.pop(n) for n in _NAMES}), **options)

    for option in reversed(_options()):
        gathered = option(gathered)
    return cast(F, gathered)


def _options() -> list[Callable[[Callable[..., Any]], Callable[..., Any]]]:
    def choice(name: str, values: tuple[str, ...], text: str) -> Callable[[Any], Any]:
        return click.option(name, type=click.Choice(values), default=values[0], show_default=True, help=text)

    return [
        click.option(
            "--format", "form", type=click.Choice(FORMATS), help="Format of image files; else told by itself."
        ),
        choice("--checks", ("absent", "stored"), "Whether image files hold check bits beside the data."),
        choice("--align", get_args(Align), "Where a word lies in its bytes: at their low or high end."),
        choice("--byte-order", get_args(ByteOrder), "Which byte of a word comes first, in files of bytes."),
        choice("--addresses", get_args(AddressUnit), "What addresses count in Intel HEX and S-record files."),
        click.option(
            "--first",
            default="0",
            metavar="ADDRESS",
            show_default=True,
            help="Address of the first word in files that give none.",
        ),
    ]
