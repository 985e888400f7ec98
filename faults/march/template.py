"""How a march test becomes a program for one machine: its march template, as declared data.

Pieces of assembly text with ``$names`` that :mod:`faults.march.program` puts together; the page
``docs/reference/march-template.md`` describes them.
"""

from pathlib import Path
from string import Template as Text
from typing import Final, Literal

from attrs import evolve, field, frozen

from emu.errors import Problems, declare, fail, nearest
from emu.fromtoml import build
from emu.schema import key, own_path
from emu.shipped import programs_folder
from emu.spec import MachineSpec
from emu.tomlfile import TomlDocument, TomlPath, read
from emu.where import Place

NAME: Final = "march.toml"
BESIDE: Final = ".march.toml"
NO_TEMPLATE = declare(
    "march-no-template",
    "A march test becomes a program by the march template of a machine.",
    "Write one, STEM.march.toml beside the machine file STEM.toml, or name one with --template; "
    "docs/reference/march-template.md shows how.",
)
FOREIGN = declare(
    "march-template-machine",
    "A march template belongs to one machine and writes to one of its stores.",
    "Write the name of the machine as its own file has it, and the name of one of its stores.",
)
NOT_PUT_IN = declare(
    "march-template-name",
    "In a piece of a march template only those names stand behind a $ that are put in there.",
    "See the table of pieces in docs/reference/march-template.md. Write ${n} where a letter, a digit or _ "
    "follows, and $$ for a dollar sign.",
)
_AT_AN_OPERATION: Final = ("n", "k", "data")
PUT_IN: Final[dict[str, tuple[str, ...]]] = {
    "begin": (), "up": ("n",), "down": ("n",), "read": _AT_AN_OPERATION, "write": _AT_AN_OPERATION,
    "up_end": ("n",), "down_end": ("n",), "pause": ("n",), "end": ("pairs", "pair_count"),
    "pair": ("number", "low", "high"),
}  # fmt: skip
"""Names that are put into each piece of the code; ``begin`` is taken as it is."""
_NAME = r"[a-z][a-z0-9-]{0,19}"


@frozen
class PlaceTable:
    """``[[place]]``: where the program stands and which addresses it tests."""

    name: str = key(doc="Its name.", pattern=_NAME, pattern_rule="small letters, digits and '-'")
    first: str = key(doc="The first address tested: a number, or a label of the program.")
    last: str = key(doc="The last address tested.")
    lets: tuple[str, ...] = key(default=(), doc="Lines that begin the program.", most=16)
    doc: str = key(doc="One sentence for the head of the program.")
    path: TomlPath = own_path()


@frozen
class CodeTable:
    """``[code]``: the pieces of a program, in the order in which they are put together."""

    begin: str = key(doc="Comes first; a line `.include` takes in a file beside the template.")
    up: str = key(doc="Begins an element that goes up: points at the first word; ends with the label `m$n`.")
    down: str = key(doc="Begins an element that goes down.")
    read: str = key(doc="Reads the word pointed at and reports it unless it is the word at `$data`.")
    write: str = key(doc="Writes the word at `$data` where the pointer points.")
    up_end: str = key(doc="Ends an element: moves the pointer up, and goes back to `m$n` unless all is done.")
    down_end: str = key(doc="The same, down.")
    pause: str = key(doc="Waits for a pause of the test.")
    end: str = key(doc="Takes the next pair of words and runs the test again, or ends it well.")
    pair: str = key(doc="One pair of words in the table of pairs; `$low` and `$high` are the words.")
    path: TomlPath = own_path()


@frozen
class Template:
    """A march template. ``folder`` is where its included files lie."""

    format: Literal["march-template/1"] = key(doc="Which form of file this is.")
    machine: str = key(doc="The name of the machine that the programs are for.")
    store: str = key(doc="The store that the programs test.")
    doc: str = key(default="", doc="What the head of every program says.")
    places: tuple[PlaceTable, ...] = key(name="place", doc="Where programs may stand.", fewest=1, most=8)
    code: CodeTable = key(doc="The pieces of a program.")
    folder: Path = field(default=Path(), kw_only=True)

    def place(self, name: str) -> PlaceTable | None:
        """Return the place of that name, the first one for "", or None."""
        return next((p for p in self.places if name in ("", p.name)), None)


def find_template(
    machine: MachineSpec, path: str | Path | None = None, machine_file: str | Path | None = None
) -> Template:
    """Return the template of a machine: the file given, the one beside its file, or the shipped one.

    ``machine_file``: where the machine was read from, if not shipped. Raises InputError for a template that
    is wrong or missing.
    """
    beside = None if machine_file is None else Path(machine_file).with_suffix(BESIDE)
    file = Path(path) if path is not None else beside or programs_folder() / machine.name / NAME
    if path is None and not file.is_file():
        message = f"there is no march template for {machine.name}"
        write = f"write {file.name} beside the machine file, or " if beside else ""
        hint = f"{write}name one with --template; docs/reference/march-template.md shows how"
        fail(NO_TEMPLATE, message, Place("--machine"), hint=hint)
    document = read(file)
    problems = Problems(document.source)
    template = build(Template, document, problems)
    if template is not None:
        _check(template, machine, problems, document)
    problems.raise_if_errors()
    assert template is not None, "a table that cannot be built has a problem"
    return evolve(template, folder=file.parent)


def _check(template: Template, machine: MachineSpec, problems: Problems, document: TomlDocument) -> None:
    """Check what the schema cannot: that machine and store are the right ones."""
    stores = [s.name for s in machine.stores]
    if template.machine != machine.name:
        message = f"this template is for {template.machine!r}, the machine is {machine.name!r}"
        problems.add(FOREIGN, message, document.place(("machine",)))
    if template.store not in stores:
        message = f"{machine.name} has the stores {', '.join(stores)}; got {template.store!r}"
        problems.add(FOREIGN, message, document.place(("store",)), hint=nearest(template.store, stores))
    for piece, names in PUT_IN.items():
        if piece != "begin":
            _check_names(piece, names, getattr(template.code, piece), problems, document)


def _check_names(
    piece: str, names: tuple[str, ...], text: str, problems: Problems, document: TomlDocument
) -> None:
    """Check that behind every $ stands a name that is put in."""
    put_in = " ".join(f"${name}" for name in names)
    place = document.place(("code", piece))
    if not Text(text).is_valid():
        problems.add(NOT_PUT_IN, f"{piece!r} has a $ without a name; put in are {put_in}", place,
                     hint="write $$ for a dollar sign")  # fmt: skip
        return
    for given in dict.fromkeys(Text(text).get_identifiers()):
        if given not in names:
            meant = next((n for n in names if given.startswith(n)), "")
            rest = given.removeprefix(meant)
            hint = f"write ${{{meant}}}{rest}" if meant else nearest(given, names)
            problems.add(NOT_PUT_IN, f"into {piece!r} are put {put_in}; got '${given}'", place, hint=hint)
