"""``corewright assemble``."""

from collections.abc import Mapping

import click
from attrs import evolve

from emu.assemble import Assembly, render_listing, render_symbols
from emu.errors import InputError, Problem
from emu.files import write_image
from emu.files.layout import FileWord
from emu.image import MemoryImage
from emu.load import load_machine
from emu.machinepage import addresses
from emu.spec import MachineSpec
from faults.cli.diagnostics import CHECK, diagnostics
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
from faults.cli.parameters import machine_argument, program_argument, store_option
from faults.cli.reading import read_assembly, the_store
from faults.cli.schemas import declare_schema
from faults.cli.writer import notice

SCHEMA = declare_schema(
    "assemble/1",
    "`corewright assemble MACHINE PROGRAM --json`: the program as data words, without check bits.",
    {
        "machine": "text: name of the machine",
        "numbering": "text: word size, arithmetic, base and bit numbers in a sentence",
        "entry": "int?: address to start from, or null for the machine's own",
        "entry_text": "text?: the same in the machine's base",
        "segments": [
            {
                "store": "text: store",
                "bits": "int: data bits of a word",
                "words": [
                    {
                        "index": "int: word of the store, from 0",
                        "word": "int: its pattern",
                        "text": "text: the same in the machine's base",
                    }
                ],
            }
        ],
        "symbols": [
            {
                "name": "text: name",
                "kind": "text: label or constant",
                "value": "int: address or value; -1 for a label that no window shows",
                "bank": "int?: bank of a label in a banked window",
                "file": "text: where it is defined",
                "line": "int: line, from 1",
                "uses": "int: how often it is used",
            }
        ],
        "warnings": "int: number of warnings (told on standard error)",
    },
)


@click.command(epilog="Example: corewright assemble fulmar gates --listing gates.txt -o gates.oct")
@machine_argument
@program_argument
@output_option
@layout_options
@store_option
@click.option("--listing", metavar="PATH", help="Write the listing there (- for standard output).")
@click.option("--symbols", metavar="PATH", help="Write the names and where they are used there.")
@click.option("--check", is_flag=True, help="Only report errors and warnings; with --json for editors.")
@json_option
@quiet_option
@color_option
def command(
    machine: str,
    program: str,
    output: str,
    force: bool,
    layout: FileLayout,
    store: str | None,
    listing: str | None,
    symbols: str | None,
    check: bool,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """Assemble a program.

    PROGRAM is the name of a shipped program, the path of a source file, or - for standard input. The image of
    one store goes to the output, as a listing unless --format says otherwise.
    """
    del color
    spec = load_machine(machine)
    if check and as_json:
        return _check(spec, program)
    assembly = read_assembly(spec, program)
    for problem in assembly.warnings:
        notice(problem.render(), quiet=quiet)
    if check:
        return Exit.DONE
    if listing is not None:
        write_output(listing, render_listing(assembly), force=force)
    if symbols is not None:
        write_output(symbols, render_symbols(assembly), force=force)
    if as_json:
        print_json(SCHEMA.name, assembly_json(assembly), output, force=force)
    elif output != "-" or "-" not in {listing, symbols}:
        write_output(output, _image(assembly, store, layout, output), force=force)
    return Exit.DONE


def _check(spec: MachineSpec, program: str) -> int:
    problems: tuple[Problem, ...]
    try:
        problems, code = read_assembly(spec, program).warnings, Exit.DONE
    except InputError as bad:
        problems, code = bad.problems, Exit.BAD_INPUT
    print_json(CHECK.name, diagnostics(problems))
    return code


def _image(assembly: Assembly, store: str | None, layout: FileLayout, output: str) -> str | bytes:
    """Return the image of one store as a file; text formats as text."""
    segments = assembly.image.segments
    names = sorted(segments)
    if store is None and len(names) != 1:
        raise click.UsageError(
            f"the program fills {', '.join(names) or 'no store'}; --store says which to write"
        )
    spec = the_store(assembly.machine, store or names[0])
    word = layout.word_of(assembly.machine, spec)
    segment = segments.get(spec.name, MemoryImage(spec.data_bits))
    stored = MemoryImage(word.stored_bits, {a: _stored(word, v, k) for a, v, k in segment.words()})
    form = layout.form or "listing"
    data = write_image(stored, form, word, "image" if output == "-" else output)
    return data if form == "raw" else data.decode("ascii")


def _stored(word: FileWord, value: int, known: int) -> tuple[int, int]:
    return evolve(word, checks="absent").to_stored(value, known)


def assembly_json(assembly: Assembly) -> Mapping[str, object]:
    """Return what schema ``assemble/1`` holds."""
    machine, image = assembly.machine, assembly.image
    return {
        "machine": machine.name,
        "numbering": machine.word.numbering_sentence(),
        "entry": image.entry,
        "entry_text": None if image.entry is None else addresses(machine).tagged(image.entry),
        "segments": [
            {
                "store": name,
                "bits": segment.bits,
                "words": [
                    {"index": a, "word": w, "text": machine.word.tagged(w)} for a, w, _ in segment.words()
                ],
            }
            for name, segment in sorted(image.segments.items())
        ],
        "symbols": [
            {
                "name": s.name, "kind": s.kind, "value": s.value, "bank": s.bank, "file": s.place.file,
                "line": s.place.line, "uses": len(s.uses),
            }
            for s in assembly.symbols
        ],
        "warnings": len(assembly.warnings),
    }  # fmt: skip
