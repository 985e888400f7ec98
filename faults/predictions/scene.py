"""Everything that a case speaks of, read and ready: the machine, its board, programs, images, tables."""

from collections.abc import Mapping
from pathlib import Path, PurePath

from attrs import define, evolve, field, frozen

from emu.assemble import assemble
from emu.errors import InputError, Problem, Problems, declare, fail, nearest
from emu.files import ENDINGS, TITLES, read_image
from emu.files.layout import FORMATS, FileWord, ReadResult
from emu.image import MemoryImage, ProgramImage
from emu.inputs import parse_inputs
from emu.load import UNKNOWN_MACHINE, load_machine
from emu.shipped import find_program, inputs_beside, machine_names, program_names
from emu.spec import MachineSpec, StoreSpec
from emu.tomlfile import CANNOT_READ
from emu.where import Place, Source
from faults.boards import load_board
from faults.boards.board import Board
from faults.case.check import check_case
from faults.case.load import Case
from faults.case.model import Measured, Mended
from faults.costs import SHIPPED as SHIPPED_COSTS
from faults.costs import Costs, load_costs
from faults.priors import SHIPPED as SHIPPED_PRIORS
from faults.priors import Priors, load_priors

BAD_LAYOUT = declare(
    "case-bad-layout",
    "The `layout` of a dump names a format of files and how words lie in it.",
    'Write a format (listing, raw, intel-hex, s-record, csv) and if needed "checks", "high", "little", '
    '"words": layout = "raw checks little".',
)


NOT_AS_NAMED = declare(
    "case-file-not-as-named",
    "A dump whose name ends like that of a text file is text, unless its entry says otherwise.",
    'See whether the file was spoilt on its way; if it is raw bytes, say layout = "raw".',
)


@frozen(eq=False)
class Program:
    """A program as it ran: its name in the case, its image, and what the ports offered."""

    name: str
    image: ProgramImage
    inputs: Mapping[int, tuple[int, ...]] = field(factory=dict)


@define(eq=False)
class Scene:
    """A case with all it needs. Programs and images are read when they are first asked for."""

    case: Case
    machine: MachineSpec
    board: Board
    priors: Priors
    costs: Costs
    _programs: dict[str, Program] = field(factory=dict, init=False)

    def program(self, name: str) -> Program:
        """Return a program by its name in the case: shipped, or a path beside the case. Raises InputError."""
        if name not in self._programs:
            self._programs[name] = self._read(name)
        return self._programs[name]

    def _read(self, name: str) -> Program:
        beside = self.case.path_of(name)
        shipped = name in program_names(self.machine.name)
        path = beside if beside.is_file() and not shipped else find_program(self.machine.name, name)
        if path.suffix.lower() in ENDINGS:
            store = self.machine.store(_start_store(self.machine))
            read = read_image(path.name, path.read_bytes(), file_word(self.machine, store))
            return Program(name, ProgramImage({store.name: read.image}, read.entry))
        return program_of(self.machine, path, name)

    def dump(self, file: str, store: StoreSpec, layout: str = "", place: Place | None = None) -> ReadResult:
        """Return an image file of the case as words of a store. Raises InputError."""
        word = file_word(self.machine, store)
        form = ""
        for piece in layout.replace(",", " ").split():
            form, word = _layout(piece, form, word, place)
        path = self.case.path_of(file)
        try:
            data = path.read_bytes()
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            fail(CANNOT_READ, f"the file must be readable; the system says: {reason}", Place(file))
        read = read_image(file, data, word, form or None)
        if not form and read.how.startswith(f"read as {TITLES['raw']}") and _named_as_text(file):
            fail(
                NOT_AS_NAMED,
                f"a file of this name is text; {PurePath(file).name!r} looks like {TITLES['raw']}",
                Place(file),
                hint='if it is right, say layout = "raw"',
            )
        return read

    def stored(self, image: MemoryImage, store: StoreSpec) -> MemoryImage:
        """Return an image with words of the store's stored bits; check bits that it lacks are unknown."""
        if image.bits == store.bits:
            return image
        return MemoryImage(store.bits, dict(image.cells), image.runs)


def _named_as_text(file: str) -> bool:
    ending = PurePath(file).suffix.lower()
    return ending in {".txt", ".csv"} or ENDINGS.get(ending, "raw") != "raw"


def scene_of(case: Case) -> Scene:
    """Return the scene of a case: reads machine, board and tables. Raises InputError."""
    table = case.table
    name = table.machine
    own = name not in machine_names()
    given: str | Path = case.path_of(name) if own else name
    if own and not case.path_of(name).is_file():
        _refuse_no_machine(case, name)
    machine = load_machine(given)
    board = load_board(machine, case.path_of(table.board) if table.board else given if own else None)
    priors = load_priors(case.path_of(table.priors) if table.priors else SHIPPED_PRIORS)
    costs = load_costs(case.path_of(table.costs) if table.costs else SHIPPED_COSTS)
    return Scene(case, machine, board, priors, costs)


def _refuse_no_machine(case: Case, name: str) -> None:
    shipped = machine_names()
    message = f"a machine is a shipped name or the path of a file from the case on; {name[:80]!r} is neither"
    here = f"{name}.toml" if case.path_of(f"{name}.toml").is_file() else ""
    said = f"the file {here} is beside the case: write {here}" if here else nearest(name, shipped)
    problems = Problems(case.document.source)
    hint = said or f"there are {', '.join(shipped)}"
    problems.add(UNKNOWN_MACHINE, message, case.document.place(("machine",)), hint=hint)
    problems.raise_if_errors()


def problems_of(scene: Scene) -> tuple[Problem, ...]:
    """Return everything wrong with the case of a scene: names, digits, files; warnings have that severity."""
    case, board = scene.case, scene.board
    sites = {site.path for site in board.sites()}
    named = {e.site for e in case.entries if isinstance(e, Measured | Mended) and e.site}
    sites |= {path for path in named if board.tree.find(path) is not None}  # single cells are not spelled out
    labels = [site.labels for site in board.sites()]
    cards = dict.fromkeys(name for part in labels for name in (part.card, part.slot, part.chip) if name)
    programs = program_names(scene.machine.name) or ("",)
    return check_case(case, scene.machine, programs=programs, sites=sites, cards=cards)


def refuse_bad(scene: Scene) -> None:
    """Raise InputError with all problems if the case of a scene has an error."""
    problems = problems_of(scene)
    if any(p.severity == "error" for p in problems):
        raise InputError(problems)


def program_of(machine: MachineSpec, path: Path, name: str) -> Program:
    """Assemble a program with the inputs that lie beside it. Raises InputError."""

    def include(other: str) -> Source:
        beside = path.parent / other
        return Source(beside.name, beside.read_text(encoding="utf-8-sig"))

    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not UTF-8 text"
        fail(CANNOT_READ, f"the program must be readable; the system says: {reason}", Place(path.name))
    image = assemble(Source(path.name, text), machine, include).image
    beside = inputs_beside(path)
    if beside is None:
        return Program(name, image)
    source = Source(beside.name, beside.read_text(encoding="utf-8-sig"))
    return Program(name, image, dict(parse_inputs(source, machine)))


def file_word(machine: MachineSpec, store: StoreSpec) -> FileWord:
    """Return how words of a store lie in a file that says nothing of it: data bits only."""
    return FileWord(store.data_bits, store.protection, "absent", machine.word.base, words=store.words)


def _start_store(machine: MachineSpec) -> str:
    seen = (w.store for w in machine.windows if w.first <= machine.start <= w.last)
    return next(seen, machine.stores[0].name)


def _layout(piece: str, form: str, word: FileWord, place: Place | None) -> tuple[str, FileWord]:
    if piece in FORMATS:
        return piece, word
    match piece:
        case "checks":
            return form, evolve(word, checks="stored")
        case "high":
            return form, evolve(word, align="high")
        case "little":
            return form, evolve(word, byte_order="little")
    if piece != "words":
        fail(BAD_LAYOUT, f"a layout has no word {piece[:40]!r}", place or Place("<case>"))
    return form, evolve(word, addresses="words")
