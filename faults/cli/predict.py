"""``corewright predict``."""

from collections.abc import Mapping

import click
from attrs import evolve

from emu.engine.contract import RunRequest
from faults.account import RUNS, Account, Trials, predict
from faults.accountreport import account_report
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
from faults.cli.options import color_option, json_option, output_option, print_json, quiet_option, seed_option
from faults.cli.parameters import machine_argument, program_argument
from faults.cli.reading import read_inputs, read_program
from faults.cli.schemas import declare_schema
from faults.cli.storejson import RUNS_SHOWN, map_json
from faults.picture import Picture
from faults.telling import Teller
from faults.watch import WrongRead

SCHEMA = declare_schema(
    "predict/1",
    "`corewright predict MACHINE PROGRAM --fault FAULT --json`: what a fault looks like.",
    {
        "machine": "text: name of the machine",
        "numbering": "text: word size, arithmetic, base and bit numbers in a sentence",
        "program": "text: as it was named",
        "fault": "text: the fault in notation",
        "told": ["text: what is broken, with its labels, one sentence a part"],
        "seed": "int: what chance was drawn from",
        "differs": "bool: whether anybody at the machine could see anything of it",
        "sentences": ["text: what is seen, what a reader of the store would find, what limits this"],
        "seen": [
            {
                "name": "text: what to look at",
                "seen": "text: with the fault",
                "healthy": "text: on the healthy machine",
                "differs": "bool: whether they differ",
            }
        ],
        "reasons": [
            {
                "why": "text: harmless, condition, never-accessed, masked, latent, blind, unchecked, "
                "corrected, quiet, away or short",
                "sentence": "text: the same in words; there are reasons only where nothing is seen",
            }
        ],
        "first_wrong?": {
            "access": "int: its number, from 0",
            "time_ns": "int: when",
            "pc": "int: address of the instruction",
            "pc_text": "text: the same in the machine's base",
            "store": "text: store of the word meant",
            "address": "int: word of that store",
            "address_text": "text: the same in the machine's base",
            "expected": "int: stored word it should be, check bits above the data",
            "got": "int: stored word that came",
            "check": "text: what the check made of it: ok, corrected or error",
        },
        "counts": {
            "accesses": "int: readings and writings that were followed",
            "touched": "int: of them, of words that the fault can alter",
            "wrong": {"*": "int: wrong readings by what the check made of them"},
            "followed_to_end": "bool: false where the detailed watch was cut short",
        },
        "trials?": {
            "runs": "int: runs with one seed after the other",
            "showing": "int: of them, those in which anything was seen",
            "alarms": {"*": "int: runs in which the alarm was raised"},
        },
        "stores": [
            {
                "store": "text: name",
                "words": "int: its words",
                "wrong": "int: words that read wrong when all words differ",
                "shown": "int?: words that read wrong with this program's contents",
                "silent": "int?: of them, those that pass the check",
                "destroyed": "int: words that one reading changes",
                "second": "int: words that read differently the second time",
                "findings": ["text: the structure in sentences"],
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
            }
        ],
        "limits": ["text: what this cannot know"],
    },
)  # fmt: skip


@click.command(epilog="Example: corewright predict fulmar gates --fault rope/address/10:stuck-0")
@machine_argument
@program_argument
@fault_option(required=True)
@board_option
@when_option
@load_options
@click.option("--runs", type=click.IntRange(1, 10_000), default=RUNS, show_default=True,
              help="Runs tried, with one seed after the other, where the fault comes and goes.")  # fmt: skip
@seed_option
@output_option
@json_option
@quiet_option
@color_option
def command(
    machine: str,
    program: str,
    faults: tuple[str, ...],
    board: str | None,
    conditions: tuple[str, ...],
    given: tuple[str, ...],
    inputs: str | None,
    max_steps: int,
    runs: int,
    seed: int,
    output: str,
    force: bool,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """Tell what a fault would look like.

    Runs PROGRAM with the fault and without, and tells what a person at the machine would see, what a reader
    of the store would find, or why nothing shows. With -o NAME.html the result is a page.

    Exit code: 0 if nothing can be seen of the fault, 1 if something can.
    """
    faulted = the_fault(machine, board, faults)
    spec = faulted.machine
    request = RunRequest(
        spec, read_program(spec, program), faulted.plan, read_inputs(spec, program, inputs, given),
        holding(conditions, faulted.plan), seed, max_steps=max_steps,
    )  # fmt: skip
    engine = choose_engine(evolve(request, plan=None), quiet=quiet)
    told = faulted.described.sentences
    account = predict(request, fault=faulted.text, told=told, engine=engine, runs=runs)
    if as_json:
        print_json(SCHEMA.name, account_json(account, program))
    else:
        write_report(account_report(account, faulted.heading(program)), output, force=force, color=color)
    return Exit.NEGATIVE if account.differs else Exit.DONE


def account_json(account: Account, program: str) -> Mapping[str, object]:
    """Return what schema ``predict/1`` holds."""
    found: dict[str, object] = {
        "machine": account.machine.name,
        "numbering": account.machine.word.numbering_sentence(),
        "program": program,
        "fault": account.fault,
        "told": list(account.told),
        "seed": account.seed,
        "differs": account.differs,
        "sentences": list(account.sentences()),
        "seen": [
            {"name": r.name, "seen": r.seen, "healthy": r.healthy, "differs": r.differs}
            for r in account.comparison.rows
        ],
        "reasons": [{"why": r.why, "sentence": r.sentence} for r in account.reasons],
        "counts": {
            "accesses": account.watched.accesses,
            "touched": account.watched.touched,
            "wrong": dict(account.watched.wrong),
            "followed_to_end": account.watched.finished,
        },
        "stores": [_store_json(p) for p in account.pictures],
        "limits": list(account.limits),
    }
    if account.watched.first:
        found["first_wrong"] = _wrong_json(account, account.watched.first[0])
    if account.trials is not None:
        found["trials"] = _trials_json(account.trials)
    return found


def _wrong_json(account: Account, wrong: WrongRead) -> dict[str, object]:
    teller = Teller(account.machine)
    return {
        "access": wrong.access,
        "time_ns": wrong.time_ns,
        "pc": wrong.pc,
        "pc_text": teller.counter(wrong.pc),
        "store": account.machine.stores[wrong.store].name,
        "address": wrong.address,
        "address_text": teller.index(wrong.store, wrong.address),
        "expected": wrong.expected,
        "got": wrong.got,
        "check": wrong.noticed,
    }


def _trials_json(trials: Trials) -> dict[str, object]:
    return {"runs": trials.runs, "showing": trials.showing, "alarms": dict(trials.alarms)}


def _store_json(picture: Picture) -> dict[str, object]:
    return {
        "store": picture.store,
        "words": picture.memory.words,
        "wrong": picture.wrong,
        "shown": picture.shown,
        "silent": picture.silent,
        "destroyed": picture.destroyed,
        "second": picture.second,
        "findings": list(picture.findings),
        "regions": map_json(picture.memory)[:RUNS_SHOWN],
        "regions_total": len(picture.memory.runs),
    }
