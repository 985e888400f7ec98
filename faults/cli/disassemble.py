"""``corewright disassemble``."""

from typing import Final

import click

from emu.assemble import disassemble_image, disassemble_word
from emu.assemble.layout import Layout
from emu.codes import verify
from emu.errors import declare, fail
from emu.image import MemoryImage, ProgramImage
from emu.load import load_machine
from emu.spec import MachineSpec, StoreSpec
from emu.where import Place
from emu.words import mask
from faults.cli.exits import Exit
from faults.cli.filelayout import FileLayout, layout_options
from faults.cli.options import (
    color_option,
    json_option,
    output_option,
    print_json,
    quiet_option,
    write_output,
)
from faults.cli.parameters import machine_argument, store_option
from faults.cli.reading import read_store_image, shown, start_store, the_store
from faults.cli.schemas import declare_schema
from faults.cli.writer import notice

UNKNOWN_WORD: Final = declare(
    "disassemble-unknown-word",
    "A word with an unknown digit is no instruction; it cannot be turned back into a program.",
    "Put the right digits in the place of the ?, or leave the word out of the image.",
)
SCHEMA = declare_schema(
    "disassemble/1",
    "`corewright disassemble MACHINE IMAGE --json`: the words of an image as instructions.",
    {
        "machine": "text: name of the machine",
        "numbering": "text: word size, arithmetic, base and bit numbers in a sentence",
        "store": "text: the store",
        "words": [
            {
                "index": "int: word of the store, from 0",
                "word": "int: its data bits",
                "text": "text: the same in the machine's base",
                "instruction": "text: the word as a line of assembly",
            }
        ],
    },
)


@click.command(epilog="Example: corewright disassemble fulmar gates.oct -o again.asm")
@machine_argument
@click.argument("image", type=click.Path(allow_dash=True))
@output_option
@layout_options
@store_option
@json_option
@quiet_option
@color_option
def command(
    machine: str,
    image: str,
    output: str,
    force: bool,
    layout: FileLayout,
    store: str | None,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """Turn an image back into a program.

    IMAGE is a file in any format that Corewright reads, or - for standard input; it holds words of one store,
    by default the one that the machine starts in. The program assembles to exactly the same words.
    """
    del color
    spec = load_machine(machine)
    place = the_store(spec, store or start_store(spec))
    result = read_store_image(image, spec, place, layout)
    for problem in result.warnings:
        notice(problem.render(), quiet=quiet)
    data, wrong = _data_words(result.image, place, shown(image))
    if wrong:
        notice(f"{shown(image)}: {wrong} words have check bits that do not fit their data", quiet=quiet)
    if result.entry is not None:
        notice(
            f"{shown(image)}: its start address is left out, for it counts words of the store", quiet=quiet
        )
    if as_json:
        print_json(SCHEMA.name, _json(spec, place, data), output, force=force)
    else:
        text = disassemble_image(spec, ProgramImage({place.name: data}))
        write_output(output, text, force=force)
    return Exit.DONE


def _data_words(image: MemoryImage, store: StoreSpec, file: str) -> tuple[MemoryImage, int]:
    """Return the data words, and how many had check bits that do not fit."""
    words: dict[int, int] = {}
    wrong = 0
    for address, value, known in image.words():
        if known & mask(store.data_bits) != mask(store.data_bits):
            message = (
                f"every digit must be known to be disassembled, got ? in word {address:#o} of {store.name}"
            )
            fail(UNKNOWN_WORD, message, image.place_of(address) or Place(file))
        words[address] = value & mask(store.data_bits)
        if known == mask(store.bits) and store.bits > store.data_bits:
            wrong += verify(store.protection, store.data_bits, value).status != "ok"
    return MemoryImage.certain(store.data_bits, words, image.runs), wrong


def _json(spec: MachineSpec, store: StoreSpec, image: MemoryImage) -> dict[str, object]:
    layout = Layout(spec)
    return {
        "machine": spec.name,
        "numbering": spec.word.numbering_sentence(),
        "store": store.name,
        "words": [
            {
                "index": address,
                "word": word,
                "text": spec.word.tagged(word),
                "instruction": disassemble_word(spec, word, _seen_at(layout, store.name, address)),
            }
            for address, word, _ in image.words()
        ],
    }


def _seen_at(layout: Layout, store: str, index: int) -> int | None:
    """Return the machine address of a word of a store, None if no window shows it."""
    address = layout.spot_in(store, index).address
    return address if address >= 0 else None
