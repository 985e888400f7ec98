"""``corewright march``."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

import click

from emu.load import load_machine
from faults.cli.exits import Exit
from faults.cli.options import (
    color_option,
    json_option,
    output_option,
    print_json,
    quiet_option,
    use_colour,
    write_output,
)
from faults.cli.parameters import machine_option
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer
from faults.march.coverage import ClassCoverage, MarchReport, coverage, escapes, word_coverage
from faults.march.named import NAMED, KnownTest, find
from faults.march.notation import MarchTest
from faults.march.program import march_program
from faults.march.template import find_template

SHOWN_ESCAPES = 20

SCHEMA = declare_schema(
    "march/1",
    "`corewright march NAME-OR-NOTATION --json`: what a march test is and what it detects.",
    {
        "name": "text: name, or the notation itself",
        "notation": "text: the notation, empty for a test that is no march",
        "reference": "text: literature",
        "note": "text: how far the reference was checked",
        "operations_per_cell": "int?: length, null for a test that is no march",
        "delays": "int: pauses",
        "operations": "int: operations on the cells or words below",
        "cells": "int: cells (words, where bits is more than 1)",
        "bits": "int: bits of a word",
        "either": "text: order taken by either-way elements: up, down or worst",
        "backgrounds": ["int: data background of each repetition"],
        "classes": [
            {
                "class": "text: fault class",
                "meaning": "text: what it is",
                "instances": "int: how many faults of the class there are",
                "always": "int: seen from every first content (D)",
                "sometimes": "int: seen from some first content (P)",
                "from_zero": "int: seen when all cells start at 0 (Z)",
            }
        ],
    },
)
NAMES = declare_schema(
    "march-names/1",
    "`corewright march --names --json`: the tests known by name.",
    {
        "tests": [
            {
                "name": "text: name",
                "notation": "text: the notation, empty for a test that is no march",
                "operations_per_cell": "int?: length, null for a test that is no march",
                "reference": "text: literature",
                "note": "text: how far the reference was checked",
            }
        ]
    },
)


@click.command(
    epilog='Example: corewright march "March C-"    or: corewright march "March C-" --machine dunlin -o x.asm'
)
@click.argument("test", metavar="NAME-OR-NOTATION", required=False)
@click.option("--names", is_flag=True, help="List the tests known by name.")
@click.option(
    "--cells", type=int, default=8, show_default=True, help="Cells of the memory looked at, 2 to 16."
)
@click.option("--bits", type=int, default=1, show_default=True,
              help="Bits of a word; more than 1 looks at faults between the bits of a word.")  # fmt: skip
@click.option("--either", type=click.Choice(["up", "down", "worst"]), default="up", show_default=True,
              help="Order of either-way elements; worst counts what every order sees.")  # fmt: skip
@click.option("--class", "classes", multiple=True, metavar="CLASS", help="Only this fault class; repeatable.")
@click.option("--escapes", "missed", metavar="CLASS", help="Name the faults of a class that escape.")
@machine_option
@click.option(
    "--template",
    metavar="PATH",
    help="March template; else STEM.march.toml beside the machine file, or the shipped one.",
)
@click.option(
    "--place", default="", metavar="NAME", help="Where the program stands, by the template's names."
)
@click.option("--solid", is_flag=True, help="All zeros and all ones only, no other backgrounds.")
@output_option
@json_option
@quiet_option
@color_option
def command(
    test: str | None,
    names: bool,
    cells: int,
    bits: int,
    either: Literal["up", "down", "worst"],
    classes: tuple[str, ...],
    missed: str | None,
    machine: str | None,
    template: str | None,
    place: str,
    solid: bool,
    output: str,
    force: bool,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """Coverage of a march test, or a program for it.

    NAME-OR-NOTATION is a name of the literature or the test itself: ^ up, v down, ~ either way. With
    --machine the answer is a program that runs the test there, complete in one file.

    Exit code: 0 for the coverage of classes not asked for by name; with --class or --escapes 1 if a fault of
    them escapes.
    """
    del quiet
    writer = Writer(use_colour(color))
    if names or test is None:
        if not names:
            raise click.UsageError("NAME-OR-NOTATION is needed; --names lists the names")
        return _names(as_json=as_json, writer=writer)
    known = find(test)
    if machine is None and output != "-":
        raise click.UsageError("-o takes the program that --machine makes; coverage is printed")
    if machine is not None:
        if as_json:
            raise click.UsageError("a program is text; leave out --json")
        write_output(output, _program(known, machine, template, place, solid=solid), force=force)
        return Exit.DONE
    wanted = (*classes, missed) if missed else classes
    report = _report(known, cells, bits, either, wanted)
    if as_json:
        print_json(SCHEMA.name, {k: v for k, v in report.to_json().items() if k != "schema"})
    else:
        _write(report, writer)
        if missed:
            _write_escapes(known, missed, cells, either, writer)
    complete = all(row.always == row.instances for row in report.rows)
    return Exit.DONE if complete or not wanted else Exit.NEGATIVE


def _program(known: KnownTest, machine: str, template: str | None, place: str, *, solid: bool) -> str:
    spec = load_machine(machine)
    found = find_template(spec, template, machine if Path(machine).suffix == ".toml" else None)
    return march_program(known.name, known.test, spec, found, place=place, solid=solid)


def _report(
    known: KnownTest, cells: int, bits: int, either: Literal["up", "down", "worst"], classes: tuple[str, ...]
) -> MarchReport:
    if bits == 1:
        return coverage(known, cells, either=either, classes=tuple(dict.fromkeys(classes)))
    if classes:
        raise click.UsageError("--class and --escapes speak of cells of one bit; leave out --bits")
    if bits < 1 or cells % bits:
        raise click.UsageError(f"--cells {cells} are no whole number of words of --bits {bits}")
    return word_coverage(known, cells // bits, bits, either=either)


def _names(*, as_json: bool, writer: Writer) -> int:
    if as_json:
        print_json(NAMES.name, {"tests": [_name(known) for known in NAMED]})
        return Exit.DONE
    rows = [(k.name, _length(k), str(k.test) if isinstance(k.test, MarchTest) else "") for k in NAMED]
    writer.table(("name", "length", "notation"), rows)
    return Exit.DONE


def _length(known: KnownTest) -> str:
    return f"{known.test.length}N" if isinstance(known.test, MarchTest) else "-"


def _name(known: KnownTest) -> Mapping[str, object]:
    march = known.test if isinstance(known.test, MarchTest) else None
    return {
        "name": known.name,
        "notation": str(march) if march else "",
        "operations_per_cell": march.length if march else None,
        "reference": known.reference,
        "note": known.note,
    }


def _write(report: MarchReport, writer: Writer) -> None:
    writer.labelled("test", report.name)
    if report.notation and report.notation != report.name:
        writer.labelled("notation", report.notation)
    if report.length is not None:
        writer.labelled("length", f"{report.length} operations per cell, {report.delays} pauses")
    writer.labelled("reference", f"{report.reference} ({report.note})" if report.reference else report.note)
    size = f"{report.cells} cells" if report.bits == 1 else f"{report.cells} words of {report.bits} bits"
    writer.labelled("computed on", f"{size}, either-way elements: {report.either}")
    writer.line()
    writer.table(("class", "faults", "D", "D %", "P", "Z", "meaning"), [_row(row) for row in report.rows])
    writer.line()
    writer.paragraph(
        "D: seen whatever the memory held before; P: from some first content; Z: when all starts at 0. "
        "D is the figure to trust. It speaks of cells, not of wires, drivers or timing."
    )


def _row(row: ClassCoverage) -> tuple[str, ...]:
    percent = row.percent()
    shown = "-" if percent is None else f"{percent:.2f}"
    counts = (str(row.always), shown, str(row.sometimes), str(row.from_zero))
    return row.name, str(row.instances), *counts, row.meaning


def _write_escapes(
    known: KnownTest, name: str, cells: int, either: Literal["up", "down", "worst"], writer: Writer
) -> None:
    found: tuple[Any, ...] = escapes(known, name, cells, either=either)
    writer.heading(f"Escapes of {name}: {len(found):,}")
    for fault in found[:SHOWN_ESCAPES]:
        writer.bullet(str(fault))
    if len(found) > SHOWN_ESCAPES:
        writer.bullet(f"and {len(found) - SHOWN_ESCAPES:,} more of that class")
