"""``corewright explain``."""

from collections.abc import Mapping

import click
from attrs import evolve

from emu.engine.contract import RunRequest
from emu.errors import declare, declared, fail, nearest
from emu.where import Place
from faults.accountreport import story_report
from faults.cli.engines import choose_engine
from faults.cli.exits import Exit
from faults.cli.faulted import (
    board_option,
    fault_option,
    holding,
    load_options,
    the_fault,
    when_option,
    write_report,
)
from faults.cli.options import (
    color_option,
    json_option,
    output_option,
    print_json,
    quiet_option,
    seed_option,
    use_colour,
)
from faults.cli.parameters import complete_machine, complete_program
from faults.cli.reading import read_inputs, read_program
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer
from faults.explain import Story, tell
from faults.telling import Teller

UNKNOWN_CODE = declare(
    "unknown-error-code",
    "`corewright explain CODE` tells of a code that stands in brackets at the end of an error.",
    "See docs/reference/errors.md for all codes; the story of a fault needs MACHINE PROGRAM --fault.",
)
STORY = declare_schema(
    "explain/1",
    "`corewright explain MACHINE PROGRAM --fault FAULT --json`: the story of a fault.",
    {
        "machine": "text: name of the machine",
        "numbering": "text: word size, arithmetic, base and bit numbers in a sentence",
        "program": "text: as it was named",
        "fault": "text: the fault in notation",
        "told": ["text: what is broken, with its labels, one sentence a part"],
        "seed": "int: what chance was drawn from",
        "silent": "bool: whether no wrong word was ever read",
        "steps": [
            {
                "access": "int?: number of the memory access, from 0; null for what is no access",
                "time_ns": "int: simulated time",
                "pc": "int?: address of the instruction",
                "pc_text": "text: the same in the machine's base",
                "sentence": "text: what happens",
            }
        ],
    },
)
CODE = declare_schema(
    "error-code/1",
    "`corewright explain CODE --json`: what an error code means.",
    {
        "code": "text: the code",
        "rule": "text: the rule that was broken",
        "cure": "text: what to do",
        "example": "text: an input that provokes it, or empty",
    },
)


@click.command(epilog="Example: corewright explain fulmar gates --fault rope/address/10:stuck-0")
@click.argument("machine", metavar="MACHINE|CODE", shell_complete=complete_machine)
@click.argument("program", shell_complete=complete_program, required=False)
@fault_option(required=False)
@board_option
@when_option
@load_options
@seed_option
@output_option
@json_option
@quiet_option
@color_option
def command(
    machine: str,
    program: str | None,
    faults: tuple[str, ...],
    board: str | None,
    conditions: tuple[str, ...],
    given: tuple[str, ...],
    inputs: str | None,
    max_steps: int,
    seed: int,
    output: str,
    force: bool,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """Tell the story of a fault, access by access; or of an error code.

    From the first word that goes wrong to what a person sees, each step with its memory access, address and
    time. With one argument: what the error code means that stands in brackets after an error.

    Exit code: 0 if no wrong word was ever read, 1 if one was.
    """
    if program is None:
        if faults:
            raise click.UsageError("the story of a fault needs MACHINE and PROGRAM")
        return _code(machine, as_json=as_json, color=color)
    if not faults:
        raise click.UsageError("the story of a fault needs --fault")
    faulted = the_fault(machine, board, faults)
    spec = faulted.machine
    request = RunRequest(
        spec, read_program(spec, program), faulted.plan, read_inputs(spec, program, inputs, given),
        holding(conditions, faulted.plan), seed, max_steps=max_steps,
    )  # fmt: skip
    healthy = evolve(request, plan=None)
    engine = choose_engine(healthy, quiet=quiet)
    story = tell(request, engine.run(request), engine.run(healthy))
    if as_json:
        about = {"program": program, "fault": faulted.text, "told": list(faulted.described.sentences)}
        print_json(STORY.name, story_json(story, Teller(spec), about, seed))
    else:
        report = story_report(
            spec, story, faulted.text, faulted.described.sentences, faulted.heading(program), seed
        )
        write_report(report, output, force=force, color=color)
    return Exit.DONE if story.silent else Exit.NEGATIVE


def story_json(story: Story, teller: Teller, about: Mapping[str, object], seed: int) -> Mapping[str, object]:
    """Return what schema ``explain/1`` holds."""
    return {
        "machine": teller.machine.name,
        "numbering": teller.machine.word.numbering_sentence(),
        **about,
        "seed": seed,
        "silent": story.silent,
        "steps": [
            {
                "access": b.access if b.access >= 0 else None,
                "time_ns": b.time_ns,
                "pc": b.pc if b.pc >= 0 else None,
                "pc_text": teller.counter(b.pc) if b.pc >= 0 else "",
                "sentence": b.sentence,
            }
            for b in story.beats
        ],
    }


def _code(given: str, *, as_json: bool, color: str) -> int:
    from faults.cli.pages import import_declaring_modules  # noqa: PLC0415 - imports nearly everything

    import_declaring_modules()
    name = given.strip("[]")
    code = declared().get(name)
    if code is None:
        message = f"an error code is one of those in docs/reference/errors.md, got {name[:60]!r}"
        fail(UNKNOWN_CODE, message, Place("CODE"), hint=nearest(name, declared()))
    if as_json:
        print_json(
            CODE.name, {"code": code.slug, "rule": code.rule, "cure": code.cure, "example": code.example}
        )
        return Exit.DONE
    writer = Writer(use_colour(color))
    writer.labelled("code", code.slug)
    writer.labelled("rule", code.rule)
    writer.labelled("what to do", code.cure)
    if code.example:
        writer.heading("An input that provokes it")
        for line in code.example.rstrip("\n").split("\n")[:40]:
            writer.line(f"  {line}")
    return Exit.DONE
