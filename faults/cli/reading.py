"""Reads what the command line names: programs, images, inputs; ``-`` is standard input."""

import sys
from pathlib import Path
from typing import Final

import click

from emu.assemble import Assembly, assemble
from emu.errors import declare, fail
from emu.files import ENDINGS, read_image
from emu.files.layout import ReadResult
from emu.image import ProgramImage
from emu.inputs import Inputs, parse_input_options, parse_inputs
from emu.shipped import PROGRAM_ENDING, find_program, inputs_beside, program_names
from emu.spec import MachineSpec, StoreSpec
from emu.tomlfile import CANNOT_READ
from emu.where import Place, Source
from faults.cli.filelayout import DEFAULT_LAYOUT, FileLayout

MAX_BYTES: Final = 64 << 20
STDIN: Final = "-"

INPUT_TOO_BIG: Final = declare(
    "input-too-big",
    f"An input has at most {MAX_BYTES >> 20} MiB.",
    "Check that the right file was named.",
)
SOURCE_NOT_UTF8: Final = declare(
    "source-not-utf8",
    "Programs and inputs are text in UTF-8.",
    "Save the file again as UTF-8; if it is not text at all, the wrong file was named.",
)


def read_bytes(path: str) -> bytes:
    """Return the bytes of a file or of standard input. Raises InputError."""
    try:
        if path == STDIN:
            data = sys.stdin.buffer.read(MAX_BYTES + 1)
        else:
            with Path(path).open("rb") as stream:
                data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        fail(CANNOT_READ, f"the file must be readable; the system says: {reason}", Place(shown(path)))
    if len(data) > MAX_BYTES:
        fail(INPUT_TOO_BIG, f"an input has at most {MAX_BYTES >> 20} MiB, got more", Place(shown(path)))
    return data


def read_source(path: str) -> Source:
    """Return the text of a file or of standard input. Raises InputError."""
    data = read_bytes(path)
    try:
        return Source(shown(path), data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        message = f"this is text in UTF-8, got the byte {data[error.start]:02x}"
        fail(SOURCE_NOT_UTF8, message, Place(shown(path), line))


def shown(path: str) -> str:
    """Return the name of a file for messages."""
    return "<stdin>" if path == STDIN else path


def program_path(machine: MachineSpec, given: str) -> str:
    """Return the path of a program given by name or path, or ``-``."""
    return given if given == STDIN else str(find_program(machine.name, given))


def read_assembly(machine: MachineSpec, given: str) -> Assembly:
    """Assemble a program given by name or path. Raises InputError with all its errors."""
    path = program_path(machine, given)
    folder = Path() if path == STDIN else Path(path).parent

    def include(name: str) -> Source:
        # a program from a stranger must not make us read, and quote in an error, any file of the reader's
        if Path(name).is_absolute() or ".." in Path(name).parts:
            raise ValueError(f"an included file lies in the program's folder or below it, got {name!r}")
        return read_source(str(folder / name))

    return assemble(read_source(path), machine, include)


def is_image(path: str) -> bool:
    """Whether the ending of a name says that the file is an image, not a program."""
    return Path(path).suffix.lower() in ENDINGS


def is_source(machine: MachineSpec, given: str) -> bool:
    """Whether a name is that of a program's source: a shipped program, or a file ending in ``.asm``."""
    return given in program_names(machine.name) or Path(given).suffix == PROGRAM_ENDING


def read_program(machine: MachineSpec, given: str, store: str | None = None) -> ProgramImage:
    """Return a program: assembled from its source, or read from an image of a store.

    An image is told by the ending of its name; it holds words of ``store`` (by default the one that the
    machine starts in), without check bits unless its listing says so. A start address in an image counts
    words of that store and is no address of the machine: the machine's own start is taken.
    """
    path = program_path(machine, given)
    if not is_image(path):
        return read_assembly(machine, given).image
    spec = the_store(machine, store or start_store(machine))
    return ProgramImage({spec.name: read_store_image(path, machine, spec).image})


def start_store(machine: MachineSpec) -> str:
    """Return the store that the machine starts in."""
    seen = (w.store for w in machine.windows if w.first <= machine.start <= w.last)
    return next(seen, machine.stores[0].name)


def the_store(machine: MachineSpec, name: str | None, said: str = "--store") -> StoreSpec:
    """Return the store meant, which need not be named where there is only one. ``said``: where it is named.

    Raises ``click.UsageError`` naming the stores there are.
    """
    names = [store.name for store in machine.stores]
    if name is None and len(names) == 1:
        return machine.stores[0]
    if name in names:
        return machine.store(str(name))
    given = "none was named" if name is None else f"got {name!r}"
    raise click.UsageError(f"{said} is one of {', '.join(names)}; {given}")


def read_store_image(
    path: str, machine: MachineSpec, store: StoreSpec, layout: FileLayout = DEFAULT_LAYOUT
) -> ReadResult:
    """Read an image of a store; what a listing says of itself goes before ``layout``."""
    return read_image(shown(path), read_bytes(path), layout.word_of(machine, store), layout.form)


def read_inputs(machine: MachineSpec, program: str, file: str | None, given: tuple[str, ...]) -> Inputs:
    """Return what the ports are offered: the program's own inputs file, then a file named, then options."""
    offered: dict[int, tuple[int, ...]] = {}
    if file is None and program != STDIN:
        beside = inputs_beside(Path(program_path(machine, program)))
        file = str(beside) if beside else None
    if file is not None:
        offered.update(parse_inputs(read_source(file), machine))
    offered.update(parse_input_options(given, machine))
    return offered
