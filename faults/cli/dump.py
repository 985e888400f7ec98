"""``corewright dump``."""

from collections.abc import Mapping
from typing import Final

import click

from emu.engine.contract import RunRequest
from emu.files import ENDINGS, write_image
from emu.files.layout import FormatName
from emu.image import ProgramImage
from emu.memory import MemoryPlan, Words, identity_plan, shapes_of
from emu.spec import MachineSpec
from faults.accountreport import dump_report
from faults.cli.engines import run_request
from faults.cli.exits import Exit
from faults.cli.faulted import (
    PAGE_ENDINGS,
    board_option,
    fault_option,
    heading,
    holding,
    the_board,
    the_fault,
    when_option,
    write_report,
)
from faults.cli.filelayout import FileLayout, layout_options
from faults.cli.options import (
    color_option,
    json_option,
    output_option,
    print_json,
    quiet_option,
    seed_option,
    write_output,
)
from faults.cli.parameters import complete_store, machine_argument
from faults.cli.reading import read_inputs, read_program, read_store_image, the_store
from faults.cli.schemas import declare_schema
from faults.cli.storejson import RUNS_SHOWN, map_json
from faults.cli.writer import notice
from faults.dump import Readout, contents_of, own_addresses, read_out, scattered
from faults.pattern import PatternReport, analyse
from faults.picture import affected_stores, memory_map
from faults.report import MemoryMap
from faults.telling import joined

TEXT_ENDING: Final = ".txt"
MOST_STEPS: Final = 30_000_000
SCHEMA = declare_schema(
    "dump/1",
    "`corewright dump MACHINE STORE --json`: what a reader of a store would read.",
    {
        "machine": "text: name of the machine",
        "store": "text: name of the store",
        "fault": "text: the fault in notation, or empty",
        "contents": "text: what the store was taken to hold",
        "seed": "int: what chance was drawn from",
        "words": ["int: stored words as read first, check bits above the data"],
        "words_again?": ["int: the same, read a second time"],
        "wrong": "int: words that read wrong the first time",
        "failing_check": "int: words that fail the check of the store",
        "silent": "int: wrong words that pass the check",
        "destroyed": "int: words that the first reading changes in the store",
        "numbering": ["text: words and bit numbers in a sentence"],
        "findings": ["text: the structure of the difference in sentences"],
        "limits": ["text: what this dump cannot tell"],
        "regions": [
            {
                "first": "int: first word",
                "first_text": "text: the same in the machine's base",
                "count": "int: how many",
                "class": "text: same, bits, copy, zero or merged",
                "source": "int?: of a copy, the word shown instead of the first",
                "bits": "text: wrong bits",
            }
        ],
        "regions_total": "int: regions; the first ones are listed",
    },
)


@click.command(epilog="Example: corewright dump fulmar rope --fault rope/address/10:stuck-0")
@machine_argument
@click.argument("store", required=False, shell_complete=complete_store)
@fault_option(required=False)
@board_option
@when_option
@click.option("--program", metavar="PROGRAM", help="What the store holds: a program, by name or path.")
@click.option("--ran", is_flag=True, help="The program ran before the reading, with the fault there.")
@click.option("--image", metavar="PATH", help="What the store holds: an image file of it.")
@click.option(
    "--fill", type=click.Choice(["different", "addresses"]), default="different", show_default=True,
    help="What it holds where neither is given: words that all differ, or own addresses.",
)  # fmt: skip
@click.option("--twice", is_flag=True, help="Read a second time, to see what reading destroys.")
@seed_option
@output_option
@layout_options
@json_option
@quiet_option
@color_option
def command(
    machine: str,
    store: str | None,
    faults: tuple[str, ...],
    board: str | None,
    conditions: tuple[str, ...],
    program: str | None,
    ran: bool,
    image: str | None,
    fill: str,
    twice: bool,
    seed: int,
    output: str,
    force: bool,
    layout: FileLayout,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """Show what a reader of a store would read.

    Reads the whole store through the fault and tells the structure of what is wrong. STORE need not be named
    where there is only one. Without --program or --image all words are taken to differ. With --ran the
    program runs first, on the broken machine, and what is read is held against what it leaves on a healthy
    one. With -o the words read go to a file: an image in any format (--checks stored keeps the check bits),
    or with .html or .txt the report.

    Exit code: 0 if every word reads right, 1 if not.
    """
    _refuse_both(program, image, ran=ran)
    faulted = the_fault(machine, board, faults) if faults else None
    spec = faulted.machine if faulted else the_board(machine, board).machine
    number = spec.store_index(the_store(spec, store, "STORE").name)
    plan = faulted.plan if faulted else identity_plan(shapes_of(spec.stores))
    held, said = _contents(spec, number, program, image, fill, layout)
    holds = holding(conditions, plan)
    left = None
    if ran and program is not None:
        held, left = (_left(spec, program, p, number, holds, seed, quiet=quiet) for p in (None, plan))
        said = f"what {program} leaves there"
    read = read_out(spec, number, plan, held, twice=twice, conditions=holds, seed=seed, held=left)
    pattern = analyse(read.evidence())
    settled = plan.under(holds)
    drawn = memory_map(read, settled)
    text = faulted.text if faulted else ""
    if away := _why_nothing(plan, settled, number, holds, read.spec.name):
        notice(away, quiet=quiet)
    if any(len(mode.bus_moved) for mode in plan.modes):
        notice("A fault of the address bus is not seen at the store's own connector.", quiet=quiet)
    if as_json:
        about = {"machine": spec.name, "store": read.spec.name, "fault": text, "contents": said, "seed": seed}
        print_json(SCHEMA.name, dump_json(read, pattern, drawn, about))
    elif _is_report(output):
        head = faulted.heading(said) if faulted else heading(said)
        write_report(dump_report(read, pattern, drawn, text, head, seed), output, force=force, color=color)
    else:
        write_output(output, _image(read, layout, output), force=force)
    return Exit.NEGATIVE if read.wrong else Exit.DONE


def _why_nothing(
    plan: MemoryPlan, settled: MemoryPlan, store: int, conditions: frozenset[str], name: str
) -> str:
    """Say why the fault cannot show in this reading at all, or ""."""
    if settled.healthy and not plan.healthy:
        asked = {g.name for group in plan.gates for g in group if g.kind == "condition"}
        return f"The fault is there only when {joined(sorted(asked - conditions))}: not in this reading."
    if store in affected_stores(plan) or not affected_stores(plan):
        return ""
    return f"The fault does not lie in the {name}."


def _is_report(output: str) -> bool:
    return output == "-" or output.lower().endswith((*PAGE_ENDINGS, TEXT_ENDING))


def _refuse_both(program: str | None, image: str | None, *, ran: bool) -> None:
    if program is not None and image is not None:
        raise click.UsageError("--program or --image, not both")
    if ran and program is None:
        raise click.UsageError("--ran goes with --program")


def _contents(
    spec: MachineSpec, store: int, program: str | None, image: str | None, fill: str, layout: FileLayout
) -> tuple[Words, str]:
    """Return what the store holds, and how to say so."""
    if image is not None:
        result = read_store_image(image, spec, spec.stores[store], layout)
        return contents_of(spec, store, ProgramImage({spec.stores[store].name: result.image})), image
    if program is not None:
        return contents_of(spec, store, read_program(spec, program)), program
    if fill == "addresses":
        return own_addresses(spec, store), "each word its own address"
    return scattered(spec, store), "words that all differ"


def _left(
    spec: MachineSpec, program: str, plan: MemoryPlan | None, store: int, holds: frozenset[str], seed: int,
    *, quiet: bool,
) -> Words:  # fmt: skip
    """Return what the program leaves in the cells of a store."""
    request = RunRequest(
        spec, read_program(spec, program), plan, read_inputs(spec, program, None, ()),
        conditions=holds, seed=seed, max_steps=MOST_STEPS,
    )  # fmt: skip
    result, _ = run_request(request, quiet=True)
    if result.stop.kind not in ("halt", "alarm-halt"):
        where = "with the fault" if plan else "on a healthy machine"
        notice(f"{program} does not stop {where}; read after {result.steps:,} instructions", quiet=quiet)
    return result.memory[store]


def _image(read: Readout, layout: FileLayout, output: str) -> str | bytes:
    word = layout.word_of(read.machine, read.spec)
    form = layout.form or _form_of(output)
    return write_image(read.image(), form, word, output)


def _form_of(output: str) -> FormatName:
    return next((form for ending, form in ENDINGS.items() if output.lower().endswith(ending)), "listing")


def dump_json(
    read: Readout, pattern: PatternReport, drawn: MemoryMap, about: Mapping[str, object]
) -> Mapping[str, object]:
    """Return what schema ``dump/1`` holds."""
    found = {
        **about,
        "words": read.first.tolist(),
        "wrong": read.wrong,
        "failing_check": read.failing,
        "silent": read.silent,
        "destroyed": read.destroyed,
        "numbering": list(pattern.numbering),
        "findings": [f.sentence for f in pattern.findings],
        "limits": list(pattern.limits),
        "regions": map_json(drawn)[:RUNS_SHOWN],
        "regions_total": len(drawn.runs),
    }
    if read.second is not None:
        found["words_again"] = read.second.tolist()
    return found
