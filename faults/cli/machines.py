"""``corewright machines``."""

from collections.abc import Mapping

import click

from emu.load import load_machine
from emu.machinepage import addresses, duration, machine_page, store_manners, window_row
from emu.shipped import machine_names, program_names
from emu.spec import MachineSpec, RegisterSpec
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
from faults.cli.parameters import complete_machine
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer

LIST = declare_schema(
    "machines/1",
    "`corewright machines --json`: the machines that come with Corewright.",
    {
        "machines": [
            {
                "name": "text: what to call it on the command line",
                "summary": "text: the first sentence of its description",
                "word_bits": "int: data bits of a word",
                "stores": ["text: names of its stores"],
                "programs": ["text: names of the programs that come with it"],
            }
        ]
    },
)
ONE = declare_schema(
    "machine/1",
    "`corewright machines MACHINE --json`: one machine.",
    {
        "name": "text: its name",
        "doc": "text: its description",
        "digest": "text: strong hash of everything that can change its behaviour",
        "numbering": "text: word size, arithmetic, base and bit numbers in a sentence",
        "word": {
            "bits": "int: data bits",
            "arithmetic": "text: twos, ones or sign-magnitude",
            "base": "int: of everything printed",
            "numbering": "text: lsb0, lsb1, msb0 or msb1",
        },
        "address_bits": "int: bits of an address",
        "start": "int: where it begins",
        "start_text": "text: the same in the machine's base",
        "registers": [
            {
                "name": "text: name",
                "bits": "int: bits",
                "count": "int: registers of a file, 0 for a single one",
            }
        ],
        "stores": [
            {
                "name": "text: name",
                "words": "int: words",
                "data_bits": "int: bits of a word without check bits",
                "bits": "int: bits of a word with check bits",
                "protection": "text: none, odd, even or sec-ded",
                "writable": "bool: whether programs can write it",
                "destructive": "bool: whether reading clears and writes back",
                "cycle_ns": "int: time of an access",
            }
        ],
        "windows": [
            {
                "first": "int: first address",
                "first_text": "text: the same in the machine's base",
                "last": "int: last address",
                "last_text": "text: the same in the machine's base",
                "store": "text: what it shows",
                "offset": "int: word of the store that the first address shows",
                "bank": "text?: bank register",
            }
        ],
        "alarms": [{"name": "text: name", "action": "text: lamp, halt or restart"}],
        "ports": [
            {
                "number": "int: number",
                "name": "text: name",
                "direction": "text: in or out",
                "bits": "int: bits",
                "shows": "text: number, signed or character",
            }
        ],
        "lamps": [{"name": "text: name", "shows": "text: a register, restarts or alarm:NAME"}],
        "instructions": [
            {
                "name": "text: name",
                "bits": "text: encoding",
                "does": ["text: a line of what it does"],
                "example": "text: an example in assembly",
                "example_word": "int: the word of the example",
                "example_word_text": "text: the same in the machine's base",
                "doc": "text: a sentence",
            }
        ],
        "programs": ["text: names of the programs that come with it"],
    },
)


@click.command(epilog="Example: corewright machines fulmar")
@click.argument("machine", shell_complete=complete_machine, required=False)
@click.option("--page", is_flag=True, help="Write the machine's whole reference page (Markdown).")
@output_option
@json_option
@quiet_option
@color_option
def command(
    machine: str | None, page: bool, output: str, force: bool, as_json: bool, quiet: bool, color: str
) -> int:
    """List the machines, or describe one.

    MACHINE is the name of a shipped machine or the path of a machine file.
    """
    del quiet
    if page and (machine is None or as_json):
        raise click.UsageError(
            "--page needs a MACHINE" if machine is None else "--page and --json are two forms"
        )
    if output != "-" and not (page or as_json):
        raise click.UsageError("-o goes with --page or --json")
    if machine is None:
        if as_json:
            print_json(LIST.name, list_json(), output, force=force)
        else:
            _print_list(Writer(use_colour(color)))
        return Exit.DONE
    spec = load_machine(machine)
    if page:
        write_output(output, machine_page(spec), force=force)
    elif as_json:
        print_json(ONE.name, machine_json(spec), output, force=force)
    else:
        _describe(spec, machine, Writer(use_colour(color)))
    return Exit.DONE


def summary(spec: MachineSpec) -> str:
    """Return the first sentence of a machine's description."""
    text = " ".join(spec.doc.split())
    return text.partition(". ")[0].removesuffix(".") + "."


def list_json() -> Mapping[str, object]:
    """Return what schema ``machines/1`` holds."""
    return {"machines": [_entry(load_machine(name)) for name in machine_names()]}


def _print_list(writer: Writer) -> None:
    machines = [load_machine(name) for name in machine_names()]
    rows = [
        (m.name, f"{m.word.bits} bits", ", ".join(s.name for s in m.stores), summary(m)) for m in machines
    ]
    writer.table(("machine", "words", "stores", "what it is"), rows)
    writer.line()
    writer.paragraph("corewright machines MACHINE describes one; a machine of your own is a file.")


def _entry(spec: MachineSpec) -> Mapping[str, object]:
    return {
        "name": spec.name,
        "summary": summary(spec),
        "word_bits": spec.word.bits,
        "stores": [s.name for s in spec.stores],
        "programs": list(program_names(spec.name)),
    }


def machine_json(spec: MachineSpec) -> Mapping[str, object]:
    """Return what schema ``machine/1`` holds."""
    address, word = addresses(spec), spec.word
    return {
        "name": spec.name,
        "doc": spec.doc.strip(),
        "digest": spec.digest,
        "numbering": word.numbering_sentence(),
        "word": {
            "bits": word.bits,
            "arithmetic": word.arithmetic,
            "base": word.base,
            "numbering": word.numbering,
        },
        "address_bits": spec.address_bits,
        "start": spec.start,
        "start_text": address.tagged(spec.start),
        "registers": [{"name": r.name, "bits": r.bits, "count": r.count} for r in spec.registers],
        "stores": [
            {
                "name": s.name, "words": s.words, "data_bits": s.data_bits, "bits": s.bits,
                "protection": s.protection, "writable": s.writable, "destructive": s.destructive,
                "cycle_ns": s.cycle_ns,
            }
            for s in spec.stores
        ],
        "windows": [
            {
                "first": w.first, "first_text": address.tagged(w.first), "last": w.last,
                "last_text": address.tagged(w.last), "store": w.store, "offset": w.offset,
                "bank": w.bank or None,
            }
            for w in spec.windows
        ],
        "alarms": [{"name": a.name, "action": a.action} for a in spec.alarms],
        "ports": [
            {"number": p.number, "name": p.name, "direction": p.direction, "bits": p.bits, "shows": p.shows}
            for p in spec.ports
        ],
        "lamps": [{"name": lamp.name, "shows": lamp.shows} for lamp in spec.lamps],
        "instructions": [
            {
                "name": i.name, "bits": i.bits, "does": list(i.does_text), "example": i.example_text,
                "example_word": i.example_word, "example_word_text": word.tagged(i.example_word),
                "doc": i.doc,
            }
            for i in spec.instructions
        ],
        "programs": list(program_names(spec.name)),
    }  # fmt: skip


def _describe(spec: MachineSpec, given: str, writer: Writer) -> None:
    writer.paragraph(spec.doc.strip().partition("\n\n")[0].replace("\n", " "))
    writer.paragraph(spec.word.numbering_sentence())
    writer.heading("Memory")
    rows = [(s.name, f"{s.words:,}", f"{s.bits}", store_manners(s).replace("`", "")) for s in spec.stores]
    writer.table(("store", "words", "bits", "how it behaves"), rows)
    writer.line()
    shown = [tuple(cell.replace("`", "") for cell in window_row(spec, w)) for w in spec.windows]
    writer.table(("addresses", "show"), shown)
    writer.heading("Registers")
    names = (
        f"{r.name} ({r.count} of {r.bits} bits)" if r.count else f"{r.name} ({r.bits})"
        for r in spec.registers
    )
    writer.paragraph(", ".join(names))
    writer.heading("Alarms, ports and lamps")
    writer.paragraph("alarms: " + (", ".join(f"{a.name} ({a.action})" for a in spec.alarms) or "none"))
    if spec.watchdog:
        writer.paragraph(f"watchdog: {duration(spec.watchdog.period_ns)}")
    ports = (f"{p.number} {p.name} ({p.direction}, {p.bits} bits)" for p in spec.ports)
    writer.paragraph("ports: " + (", ".join(ports) or "none"))
    writer.paragraph("lamps: " + (", ".join(lamp.name for lamp in spec.lamps) or "none"))
    writer.heading("Instructions")
    does = [(i.example_text, i.doc or "; ".join(i.does_text)) for i in spec.instructions]
    writer.table(("instruction", "what it does"), does)
    programs = program_names(spec.name)
    if programs:
        writer.heading("Programs")
        writer.paragraph(", ".join(programs))
    writer.line()
    writer.paragraph(f"The whole page: corewright machines {given} --page")


def _register(register: RegisterSpec) -> str:
    if register.count:
        return f"{register.name} ({register.count} of {register.bits} bits)"
    return f"{register.name} ({register.bits})"
