"""``corewright separate``."""

from collections.abc import Iterator, Mapping
from typing import Any

import click
from attrs import frozen

from emu.engine.contract import RunRequest
from emu.engine.powerup import power_up
from emu.image import ProgramImage
from emu.memory import MemoryPlan, Words
from emu.shipped import find_program, program_names
from emu.spec import MachineSpec
from emu.words import WordFormat
from faults.boards import Board
from faults.cli.diagnosing import Progress
from faults.cli.exits import Exit
from faults.cli.faulted import board_option, the_board
from faults.cli.options import color_option, json_option, print_json, quiet_option, use_colour
from faults.cli.parameters import complete_fault, machine_option
from faults.cli.reading import read_program
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer
from faults.costs import load_costs
from faults.dump import scattered
from faults.fault import Fault
from faults.lower import plan_of
from faults.notation import fault_text, parse_fault
from faults.panelpatterns import Deed, Panel, Pattern, patterns
from faults.predictions.plans import Plans
from faults.predictions.programs import outcome_words, passes
from faults.predictions.runs import ProgramRuns
from faults.predictions.scene import Program, program_of
from faults.separate import Separation, Trial, shortest_telling
from faults.symptoms import signature
from faults.telling import Teller

SCHEMA = declare_schema(
    "separate/1",
    "`corewright separate A B --for MACHINE --json`: how to tell two faults apart.",
    {
        "machine": "text: name of the machine",
        "a": "text: the one fault, in notation",
        "b": "text: the other",
        "found": "bool: whether something tried tells them apart",
        "sentence": "text: what was found, and of what it is a proof",
        "tried": "int: how many patterns and programs were tried",
        "words": "int: words to key in, 0 where nothing was found",
        "steps": ["text: what to do, in order"],
        "if_a": "text: what is seen if it is the one fault",
        "if_b": "text: what is seen if it is the other",
    },
)


@frozen(eq=False)
class Told:
    """What a trial is made of, for the reader: steps, and what either fault shows."""

    trial: Trial
    steps: tuple[str, ...]
    if_a: str
    if_b: str


@click.command(epilog="Example: corewright separate core/x/13:open core/x-driver-a/1:dead --for fulmar")
@click.argument("a", shell_complete=complete_fault)
@click.argument("b", shell_complete=complete_fault)
@machine_option
@board_option
@click.option("--image", metavar="PROGRAM", help="What read-only stores hold: a program of the machine.")
@click.option("--max-words", type=click.IntRange(0, 100_000), default=20, show_default=True,
              help="Most words to be keyed in.")  # fmt: skip
@json_option
@quiet_option
@color_option
def command(
    a: str, b: str, machine: str | None, board: str | None, image: str | None, max_words: int,
    as_json: bool, quiet: bool, color: str,
) -> int:  # fmt: skip
    """Find a short program that tells two faults apart.

    Tried are patterns for the panel (examine a word; deposit one or two and examine) and the machine's own
    self-tests. Each is simulated on both faults; the shortest that shows a difference is given.

    Exit code: 0 if one is found, 1 if none of those tried can tell them apart, 4 if one of the faults comes
    and goes, so that no single trial tells.
    """
    if machine is None:
        raise click.UsageError("--for names the machine")
    found = the_board(machine, board)
    faults = [parse_fault(text, found) for text in (a, b)]
    plans = [plan_of(found, fault) for fault in faults]
    names = [fault_text(fault, found) for fault in faults]
    spec = found.machine
    writer = Writer(use_colour(color))
    if plans[0].digest == plans[1].digest:
        return _cannot(_ALIKE, Exit.NEGATIVE, spec, names, as_json=as_json, writer=writer)
    fickle = [name for name, plan in zip(names, plans, strict=True) if _comes_and_goes(plan)]
    if fickle:
        said = f"{' and '.join(fickle)} {'come and go' if len(fickle) > 1 else 'comes and goes'}: {_FICKLE}"
        return _cannot(said, Exit.INCONCLUSIVE, spec, names, as_json=as_json, writer=writer)
    tried = list(_all(found, faults, image, max_words, Progress(quiet)))
    best = shortest_telling([t.trial for t in tried])
    told = next((t for t in tried if t.trial is best.best), None)
    if as_json:
        print_json(SCHEMA.name, _json(spec, names, best, told))
    else:
        _write(names, best, told, writer)
    return Exit.DONE if told else Exit.NEGATIVE


_ALIKE = (
    "both faults alter the memory in exactly the same way: no program and no pattern whatever tells them "
    "apart; a measurement at the places themselves may"
)


_FICKLE = (
    "one trial, whatever it shows, tells it from nothing for certain; write down how often it fails of how "
    "many runs, and compare by `corewright match`"
)
_CHANCES = ("chance", "contact")


def _comes_and_goes(plan: MemoryPlan) -> bool:
    return any(gate.kind in _CHANCES for group in plan.gates for gate in group)


def _cannot(
    said: str, code: Exit, machine: MachineSpec, names: list[str], *, as_json: bool, writer: Writer
) -> int:
    if as_json:
        none = _json(machine, names, Separation(None, 0, 0), None)
        print_json(SCHEMA.name, {**none, "sentence": said})
    else:
        writer.paragraph(f"{said[0].upper() if code == Exit.NEGATIVE else said[0]}{said[1:]}.")
    return code


def _all(
    board: Board, faults: list[Fault], image: str | None, most: int, progress: Progress
) -> Iterator[Told]:
    machine, plans = board.machine, [plan_of(board, fault) for fault in faults]
    program = read_program(machine, image) if image else ProgramImage({})
    contents = _contents(machine, program)
    panels = [[Panel.of(machine, plan, held) for held in contents] for plan in plans]
    minutes = {kind: load_costs().of(kind).minutes for kind in ("key-in", "examine", "run-program")}
    hidden = set() if image else {n for n, s in enumerate(machine.stores) if not s.writable}
    for pattern in patterns(machine, plans):
        if pattern.words > most or any(deed.store in hidden for deed in pattern.deeds):
            continue
        told = _panel(machine, panels, pattern, minutes)
        yield told
        if told.trial.signature_a != told.trial.signature_b:
            return
    for name in program_names(machine.name):
        if name.startswith("selftest"):
            yield from _selftest(board, faults, name, most, minutes, progress)


def _contents(machine: MachineSpec, program: ProgramImage) -> list[list[Words]]:
    """Return what the stores may hold before: what can be written holds zeros, or words that all differ."""
    known = power_up(RunRequest(machine, program))
    zeros = [words[: s.words] for words, s in zip(known, machine.stores, strict=True)]
    mixed = [scattered(machine, n) if s.writable else zeros[n] for n, s in enumerate(machine.stores)]
    return [zeros, mixed]


def _panel(
    machine: MachineSpec, panels: list[list[Panel]], pattern: Pattern, minutes: Mapping[str, float]
) -> Told:  # fmt: skip
    a, b = ([_seen(machine, pattern, panel.shows(pattern)) for panel in row] for row in panels)
    time = minutes["key-in"] * pattern.words + minutes["examine"] * len(pattern.looks)
    # whatever the store held before: no outcome of the one fault may be one of the other
    marks = (repr(a), repr(b)) if not set(a) & set(b) else ("", "")
    name = f"a pattern of {len(pattern.deeds)} steps"
    trial = Trial(name, pattern.words, *marks, time)
    return Told(
        trial, tuple(_deed(machine, deed) for deed in pattern.deeds), _shown(machine, pattern, a[0]),
        _shown(machine, pattern, b[0]),
    )  # fmt: skip


def _deed(machine: MachineSpec, deed: Deed) -> str:
    spec = machine.stores[deed.store]
    where = f"{_address(machine, deed)} of the {spec.name}"
    return f"examine {where}" if deed.word is None else f"deposit {machine.word.tagged(deed.word)} at {where}"


def _address(machine: MachineSpec, deed: Deed) -> str:
    bits = max(1, (machine.stores[deed.store].words - 1).bit_length())
    return WordFormat(bits, base=machine.word.base).tagged(deed.address)


def _seen(machine: MachineSpec, pattern: Pattern, words: tuple[int, ...]) -> tuple[str, ...]:
    """Return what a person sees of the words examined."""
    teller = Teller(machine)
    return tuple(teller.examined(d.store, w) for d, w in zip(pattern.looks, words, strict=True))


def _shown(machine: MachineSpec, pattern: Pattern, seen: tuple[str, ...]) -> str:
    said = [f"{_address(machine, d)} reads {text}" for d, text in zip(pattern.looks, seen, strict=True)]
    return ", then ".join(said)


def _selftest(
    board: Board, faults: list[Fault], name: str, most: int, minutes: Mapping[str, float], progress: Progress
) -> Iterator[Told]:
    machine = board.machine
    program: Program = program_of(machine, find_program(machine.name, name), name)
    writable = {s.name for s in machine.stores if s.writable}
    words = sum(len(i.cells) for n, i in program.image.segments.items() if n in writable)
    if words > most:
        return
    runs = ProgramRuns(machine, program, Plans(board), progress)
    a, b = runs.symptoms(faults)
    said = ["it passes" if passes(s, runs.healthy) else f"it {outcome_words(s)}" for s in (a, b)]
    trial = Trial(name, words, signature(a), signature(b), minutes["run-program"] + words * minutes["key-in"])
    yield Told(trial, (f"run {name}",), said[0], said[1])


def _json(machine: MachineSpec, names: list[str], best: Separation, told: Told | None) -> Mapping[str, Any]:
    return {
        "machine": machine.name,
        "a": names[0],
        "b": names[1],
        "found": told is not None,
        "sentence": best.sentence,
        "tried": best.tried,
        "words": told.trial.words if told else 0,
        "steps": list(told.steps) if told else [],
        "if_a": told.if_a if told else "",
        "if_b": told.if_b if told else "",
    }


def _write(names: list[str], best: Separation, told: Told | None, writer: Writer) -> None:
    writer.paragraph(f"{best.sentence[0].upper()}{best.sentence[1:]}.")
    if told is None:
        writer.paragraph("Of what was not tried nothing is known. Measure at the lines themselves instead.")
        return
    writer.heading("Do")
    for step in told.steps:
        writer.bullet(step)
    writer.heading("See")
    writer.labelled("if A", f"{told.if_a}  ({names[0]})", 6)
    writer.labelled("if B", f"{told.if_b}  ({names[1]})", 6)
    writer.line()
    writer.warning("CAUTION: copy out what the store holds before anything is deposited in it.")
