"""From a case file to a :class:`Case`: every problem at once, each at its place."""

from pathlib import Path
from typing import Final

from attrs import field, frozen

from emu.errors import Code, Problems, declare
from emu.fromtoml import build, key_path
from emu.tomlfile import TomlDocument, parse, read
from emu.where import Place, Source
from faults.case.model import Addresses, CaseTable, Entry, Failed, Measured, Mended

_HEAD: Final = 'format = "case/1"\nmachine = "fulmar"\n\n'

ONE_OF_TWO: Final = declare(
    "case-one-of-two",
    "Some entries need one of two keys, and not both: a reading or ohms, failing addresses or their file.",
    "Keep the one that was written down.",
    f'{_HEAD}[[entry]]\nkind = "measured"\nsite = "rope/address/10"\n',
    "case",
)
MORE_FAILURES: Final = declare(
    "case-more-failures-than-runs",
    "A program cannot fail more often than it ran.",
    "Correct `runs` or `failures`.",
    f'{_HEAD}[[entry]]\nkind = "failed"\nprogram = "selftest-sum"\nruns = 3\nfailures = 4\n',
    "case",
)
MEND_WHAT: Final = declare(
    "case-mend-without-place",
    "A mend says what was mended: a site, a card or both.",
    'Add `site = ".."` or `card = ".."`.',
    f'{_HEAD}[[entry]]\nkind = "mended"\nwhat = "pushed it in"\n',
    "case",
)


@frozen(eq=False)
class Case:
    """A case that was read. ``file`` is its path; paths in it are relative to :attr:`folder`."""

    file: Path
    table: CaseTable
    document: TomlDocument = field(repr=False)

    @property
    def folder(self) -> Path:
        """The folder that the paths of the case start from."""
        return self.file.parent

    @property
    def entries(self) -> tuple[Entry, ...]:
        """The entries in order of time."""
        return self.table.entries

    @property
    def mends(self) -> tuple[Mended, ...]:
        """The mends, in order; each begins a new epoch."""
        return tuple(e for e in self.entries if isinstance(e, Mended))

    @property
    def epochs(self) -> tuple[int, ...]:
        """For each entry, how many mends came before it."""
        counts, so_far = [], 0
        for entry in self.entries:
            counts.append(so_far)
            so_far += isinstance(entry, Mended)
        return tuple(counts)

    def path_of(self, relative: str) -> Path:
        """Return the place of a file of the case."""
        return self.folder / relative

    def place(self, entry: Entry, attribute: str = "") -> Place:
        """Return where an entry, or the value of one of its attributes, is written."""
        path = key_path(entry, attribute) if attribute else entry.path
        return self.document.place(path)

    @property
    def default_certainty_used(self) -> bool:
        """Whether some entry does not say how certain it is."""
        return any(entry.certainty is None for entry in self.entries)


def load_case(path: Path | str) -> Case:
    """Read a case file. Raises InputError with every problem; files it names are not opened."""
    return _case(Path(path), read(path))


def parse_case(source: Source) -> Case:
    """Read a case from text; ``source.file`` is taken as its path. Raises as :func:`load_case`."""
    return _case(Path(source.file), parse(source))


def _case(file: Path, document: TomlDocument) -> Case:
    problems = Problems(document.source)
    table = build(CaseTable, document, problems)
    for entry in table.entries if table else ():
        _check(entry, document, problems)
    problems.raise_if_errors()
    assert table is not None
    return Case(file, table, document)


def _check(entry: Entry, document: TomlDocument, problems: Problems) -> None:
    def add(code: Code, message: str) -> None:
        problems.add(code, message, document.place(entry.path))

    # What is written counts, not what could be used: a slip in one key is not reported twice.
    written = document.value(entry.path)
    match entry:
        case Measured() if ("reading" in written) == ("ohms" in written):
            given = "both" if "ohms" in written else "neither"
            add(ONE_OF_TWO, f"a measurement has either 'reading' or 'ohms'; given {given}")
        case Addresses() if ("failing" in written) == ("file" in written):
            given = "both" if "file" in written else "neither"
            add(ONE_OF_TWO, f"an entry of addresses has either 'failing' or 'file'; given {given}")
        case Failed() if entry.failures is not None and entry.failures > entry.runs:
            add(MORE_FAILURES, f"at most {entry.runs} of {entry.runs} runs can fail; given {entry.failures}")
        case Mended() if not written.get("site") and not written.get("card"):
            add(MEND_WHAT, "a mend names a 'site' or a 'card'; given neither")
        case _:
            pass
