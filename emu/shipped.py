"""What comes with Corewright: machines and programs, found in a checkout and in an installed package alike.

Imports nothing heavy: shell completion asks here.
"""

from pathlib import Path
from typing import Final

from emu.errors import declare, fail, nearest
from emu.where import Place

PROGRAM_ENDING: Final = ".asm"
INPUTS_ENDING: Final = ".inputs"

UNKNOWN_PROGRAM: Final = declare(
    "unknown-program",
    "A program is the name of one that comes with Corewright for that machine, or the path of a file.",
    "See `corewright machines MACHINE` for the names; a path holds a slash or a dot.",
    "gatez",
    "program-name",
)

_HERE: Final = Path(__file__).resolve().parent


def machine_names() -> tuple[str, ...]:
    """Return the names of the machines that come with Corewright, sorted."""
    return tuple(sorted(path.stem for path in (_HERE / "machines").glob("*.toml")))


def programs_folder() -> Path:
    """Return the folder of the shipped programs: inside the package, or beside it in a checkout."""
    packed = _HERE / "_programs"
    return packed if packed.is_dir() else _HERE.parent / "programs"


def program_names(machine: str) -> tuple[str, ...]:
    """Return the names of the programs shipped for a machine, sorted; none for a machine of one's own."""
    if not machine.isidentifier():
        return ()
    return tuple(sorted(path.stem for path in (programs_folder() / machine).glob(f"*{PROGRAM_ENDING}")))


def find_program(machine: str, given: str) -> Path:
    """Return the file of a program: a path as given, or a shipped program of the machine by its name.

    A name is a path if it holds a slash or a dot, or if there is such a file. Raises InputError otherwise.
    """
    if any(mark in given for mark in "/\\.") or Path(given).is_file():
        return Path(given)
    names = program_names(machine)
    if given not in names:
        file = f"{given}{PROGRAM_ENDING}"
        here = f"the file {file} is here: write {file}" if Path(file).is_file() else nearest(given, names)
        hint = here or (f"there are {', '.join(names)}" if names else "give a path")
        message = f"a program of {machine} is a shipped name or a path; got {given[:80]!r}"
        fail(UNKNOWN_PROGRAM, message, Place("PROGRAM"), hint=hint)
    return programs_folder() / machine / f"{given}{PROGRAM_ENDING}"


def inputs_beside(program: Path) -> Path | None:
    """Return the inputs file that goes with a program (same name, ending ``.inputs``), if there is one."""
    beside = program.with_suffix(INPUTS_ENDING)
    return beside if beside.is_file() else None
