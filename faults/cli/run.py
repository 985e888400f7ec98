"""``corewright run``."""

import re
from collections.abc import Mapping
from typing import Final, Literal

import click

from emu.engine.choose import Wish
from emu.engine.contract import RunRequest, RunResult
from emu.image import ProgramImage
from emu.inputs import Inputs
from emu.load import load_machine
from emu.spec import MachineSpec
from faults.cli.engines import engine_option, run_request
from faults.cli.exits import Exit
from faults.cli.options import (
    color_option,
    json_option,
    print_json,
    quiet_option,
    seed_option,
    use_colour,
)
from faults.cli.parameters import machine_argument, program_argument, store_option
from faults.cli.reading import read_inputs, read_program
from faults.cli.runtext import RUN, run_json, write_result
from faults.cli.writer import Writer

LIMITS: Final = frozenset({"steps", "time", "outputs", "restarts"})
FOR_EVER_NS: Final = 1 << 62
_UNITS: Final = {"ns": 1, "us": 10**3, "µs": 10**3, "ms": 10**6, "s": 10**9, "min": 60 * 10**9}


def simulated_time(ctx: click.Context, param: click.Parameter, value: str | None) -> int | None:
    """Return the nanoseconds of a time such as ``2s`` or ``500ms``; a bare number is seconds."""
    if value is None:
        return None
    found = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)\s*(ns|us|µs|ms|s|min)?", value.strip())
    if not found:
        message = f"a time is a number with ns, us, ms, s or min, got {value!r}"
        raise click.BadParameter(message, ctx, param)
    return min(round(float(found[1]) * _UNITS[found[2] or "s"]), FOR_EVER_NS)


@click.command(epilog="Example: corewright run fulmar gates")
@machine_argument
@program_argument
@click.option("--input", "given", multiple=True, metavar="PORT=W,W", help="What a port offers, word by word.")
@click.option("--inputs", metavar="PATH", help="Inputs file; else NAME.inputs beside the program, if any.")
@click.option("--max-steps", type=click.IntRange(1, 1 << 62), default=1_000_000, show_default=True,
              help="Stop before more instructions than this.")  # fmt: skip
@click.option(
    "--max-time", callback=simulated_time, metavar="TIME", help="Stop at this simulated time, e.g. 2s."
)
@click.option("--trace", type=click.IntRange(0), default=0, metavar="N", help="Show the first N events.")
@click.option("--power-up", type=click.Choice(["zeros", "seeded"]), default="zeros", show_default=True,
              help="What writable stores hold at power-up.")  # fmt: skip
@store_option
@engine_option
@seed_option
@json_option
@quiet_option
@color_option
def command(
    machine: str,
    program: str,
    given: tuple[str, ...],
    inputs: str | None,
    max_steps: int,
    max_time: int | None,
    trace: int,
    power_up: Literal["zeros", "seeded"],
    store: str | None,
    wish: Wish,
    seed: int,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """Run a program on a healthy machine.

    PROGRAM is the name of a shipped program, the path of a source file or an image, or - for standard input.

    Exit code: 0 if it halted, or goes round without an alarm; 1 if an alarm halted or restarted it; 4 if a
    limit was hit.
    """
    spec = load_machine(machine)
    image = read_program(spec, program, store)
    offered = read_inputs(spec, program, inputs, given)
    request = _request(spec, image, offered, seed, max_steps, max_time, trace, power_up)
    result, engine = run_request(request, quiet=quiet, wish=wish)
    if as_json:
        print_json(RUN.name, run_json(spec, result, engine, seed))
    else:
        write_result(spec, result, Writer(use_colour(color)))
    return exit_of(spec, result)


def _request(
    spec: MachineSpec,
    image: ProgramImage,
    offered: Inputs,
    seed: int,
    max_steps: int,
    max_time: int | None,
    trace: int,
    power_up: Literal["zeros", "seeded"],
) -> RunRequest:
    return RunRequest(
        machine=spec,
        image=image,
        inputs=offered,
        seed=seed,
        max_steps=max_steps,
        max_time_ns=FOR_EVER_NS if max_time is None else max_time,
        trace=trace > 0,
        max_events=max(trace, 1),
        power_up=power_up,
    )


def exit_of(spec: MachineSpec, result: RunResult) -> Exit:
    """Return the exit code of a run."""
    if result.stop.kind in LIMITS:
        return Exit.INCONCLUSIVE
    actions: Mapping[str, str] = {alarm.name: alarm.action for alarm in spec.alarms}
    serious = any(actions[tally.name] != "lamp" for tally in result.alarms)
    return Exit.NEGATIVE if serious else Exit.DONE
