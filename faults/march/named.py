"""The published tests by name: definition, reference, and how far the reference was checked.

Lengths are counted from the definitions, never typed: printed length tables are known to be wrong.
"""

import re
from collections.abc import Iterator

from attrs import frozen

from emu.errors import declare, fail, nearest
from emu.where import Place
from faults.march.notation import FILE, looks_like_notation, parse
from faults.march.operations import Operation, OperationTest, Test

UNKNOWN = declare(
    "march-unknown-name",
    "The name of a test is one of the listed ones; anything else must be march notation.",
    "Take a name from the list, or write the test out, for instance ~(w0); ^(r0,w1); v(r1,w0).",
    "March Q",
    "march",
)

SEEN = "definition or length seen in print and recomputed"
MEMORY = "reference cited from memory, figures recomputed"
GIVEN = "notation given by the user"


@frozen
class KnownTest:
    """A test with where it comes from. ``reference`` is literature, ``note`` how far it was checked."""

    name: str
    test: Test
    reference: str
    note: str


_GOOR = "van de Goor, Testing Semiconductor Memories, 1991"
_SUK = "Suk & Reddy, IEEE Trans. Computers C-30(12), 1981"
_RAW = "Hamdioui, Al-Ars, van de Goor, VTS 2002"
_SL = "(r0,r0,w1,w1,r1,r1,w0,w0,r0,w1)", "(r1,r1,w0,w0,r0,r0,w1,w1,r1,w0)"

_MARCHES: tuple[tuple[str, str, str, str], ...] = (
    ("Zero-One", "~(w0) ~(r0) ~(w1) ~(r1)", _GOOR, MEMORY),
    ("MATS", "~(w0) ~(r0,w1) ~(r1)", "Nair 1979; " + _GOOR, MEMORY),
    ("MATS AND", "~(w1) ~(r1,w0) ~(r0)", "Nair 1979; " + _GOOR, MEMORY),
    ("MATS+", "~(w0) ^(r0,w1) v(r1,w0)", "Abadir & Reghbati, 1983", SEEN),
    ("MATS++", "~(w0) ^(r0,w1) v(r1,w0,r0)", _GOOR, SEEN),
    ("March X", "~(w0) ^(r0,w1) v(r1,w0) ~(r0)", _GOOR, MEMORY),
    ("March Y", "~(w0) ^(r0,w1,r1) v(r1,w0,r0) ~(r0)", _GOOR, MEMORY),
    ("March C", "~(w0) ^(r0,w1) ^(r1,w0) ~(r0) v(r0,w1) v(r1,w0) ~(r0)", "Marinescu, 1982", SEEN),
    ("March C-", "~(w0) ^(r0,w1) ^(r1,w0) v(r0,w1) v(r1,w0) ~(r0)", _GOOR, SEEN),
    ("Ext. March C-", "~(w0) ^(r0,w1,r1) ^(r1,w0) v(r0,w1) v(r1,w0) ~(r0)", "van de Goor, 1993", MEMORY),
    (
        "March C+",
        "~(w0) ^(r0,w1,r1) ^(r1,w0,r0) v(r0,w1,r1) v(r1,w0,r0) ~(r0)",
        "van de Goor, from memory",
        MEMORY,
    ),
    (
        "PMOVI",
        "v(w0) ^(r0,w1,r1) ^(r1,w0,r0) v(r0,w1,r1) v(r1,w0,r0)",
        "de Jonge & Smeulders, 1976",
        SEEN,
    ),
    ("March A", "~(w0) ^(r0,w1,w0,w1) ^(r1,w0,w1) v(r1,w0,w1,w0) v(r0,w1,w0)", _SUK, SEEN),
    ("March B", "~(w0) ^(r0,w1,r1,w0,r0,w1) ^(r1,w0,w1) v(r1,w0,w1,w0) v(r0,w1,w0)", _SUK, SEEN),
    (
        "March U",
        "~(w0) ^(r0,w1,r1,w0) ^(r0,w1) v(r1,w0,r0,w1) v(r1,w0)",
        "van de Goor & Gaydadjiev, IEE Proc. CDS 144(3), 1997",
        SEEN,
    ),
    (
        "March LR",
        "~(w0) v(r0,w1) ^(r1,w0,r0,w1) ^(r1,w0) ^(r0,w1,r1,w0) ^(r0)",
        "van de Goor & Gaydadjiev, VTS 1996",
        SEEN,
    ),
    (
        "March SR",
        "v(w0) ^(r0,w1,r1,w0) ^(r0,r0) ^(w1) v(r1,w0,r0,w1) v(r1,r1)",
        "Hamdioui & van de Goor, ATS 2000",
        SEEN,
    ),
    (
        "March LA",
        "~(w0) ^(r0,w1,w0,w1,r1) ^(r1,w0,w1,w0,r0) v(r0,w1,w0,w1,r1) v(r1,w0,w1,w0,r0) v(r0)",
        "van de Goor et al., 1998/99",
        SEEN,
    ),
    (
        "March MSS",
        "~(w0) ^(r0,r0,w1,w1) ^(r1,r1,w0,w0) v(r0,r0,w1,w1) v(r1,r1,w0,w0) ~(r0)",
        "Harutunyan et al., VTS 2005",
        MEMORY,
    ),
    (
        "March SS",
        "~(w0) ^(r0,r0,w0,r0,w1) ^(r1,r1,w1,r1,w0) v(r0,r0,w0,r0,w1) v(r1,r1,w1,r1,w0) ~(r0)",
        "Hamdioui, van de Goor, Rodgers, MTDT 2002",
        SEEN,
    ),
    (
        "March RAW",
        "~(w0) ^(r0,w0,r0,r0,w1,r1) ^(r1,w1,r1,r1,w0,r0) v(r0,w0,r0,r0,w1,r1) v(r1,w1,r1,r1,w0,r0) ~(r0)",
        _RAW,
        SEEN,
    ),
    ("March RAW1", "~(w0) ~(w0,r0) ~(r0) ~(w1,r1) ~(r1) ~(w1,r1) ~(r1) ~(w0,r0) ~(r0)", _RAW, SEEN),
    (
        "March SL",
        f"~(w0) ^{_SL[0]} ^{_SL[1]} v{_SL[0]} v{_SL[1]}",
        "Hamdioui et al., 2003/04",
        MEMORY,
    ),
    (
        "March G",
        "~(w0) ^(r0,w1,r1,w0,r0,w1) ^(r1,w0,w1) v(r1,w0,w1,w0) v(r0,w1,w0) Del ~(r0,w1,r1) Del ~(r1,w0,r0)",
        _GOOR,
        SEEN,
    ),
)


def _writes(cells: int, data: int) -> Iterator[Operation]:
    return (Operation(cell, True, data) for cell in range(cells))


def checkerboard(cells: int) -> Iterator[Operation]:
    """Yield 4N operations: write 0101.. in address order, read it, write 1010.., read it."""
    for first in (0, 1):
        for write in (True, False):
            yield from (Operation(cell, write, cell & 1 ^ first) for cell in range(cells))


def walking(cells: int) -> Iterator[Operation]:
    """Yield 2N² + 6N operations; per background: N writes, then per base cell the inverse walks.

    Per base cell: write the inverse, read all others, read the base, restore it.
    """
    for data in (0, 1):
        yield from _writes(cells, data)
        for base in range(cells):
            yield Operation(base, True, 1 - data)
            yield from (Operation(cell, False, data) for cell in range(cells) if cell != base)
            yield Operation(base, False, 1 - data)
            yield Operation(base, True, data)


def galpat(cells: int) -> Iterator[Operation]:
    """Yield 4N² + 2N operations; as :func:`walking`, but the base is read after each other cell."""
    for data in (0, 1):
        yield from _writes(cells, data)
        for base in range(cells):
            yield Operation(base, True, 1 - data)
            for cell in range(cells):
                if cell != base:
                    yield Operation(cell, False, data)
                    yield Operation(base, False, 1 - data)
            yield Operation(base, True, data)


NAMED: tuple[KnownTest, ...] = (
    *(KnownTest(name, parse(text, name), reference, note) for name, text, reference, note in _MARCHES),
    KnownTest("Checkerboard", OperationTest("Checkerboard", checkerboard), _GOOR, MEMORY),
    KnownTest("Walking 1/0", OperationTest("Walking 1/0", walking), _GOOR, MEMORY),
    KnownTest("GALPAT", OperationTest("GALPAT", galpat), _GOOR, MEMORY),
)


def _plain(name: str) -> str:
    return re.sub(r"[\s._/]+", "", name).lower()


_BY_NAME = {_plain(known.name): known for known in NAMED}


def find(text: str) -> KnownTest:
    """Return the test called ``text`` (case and spaces do not matter), or read ``text`` as notation.

    Raises :class:`emu.errors.InputError`, with the nearest name or the place in the notation.
    """
    if looks_like_notation(text):
        test = parse(text)
        return KnownTest(str(test), test, "", GIVEN)
    plain = _plain(text)
    if plain not in _BY_NAME:
        close = nearest(text, [known.name for known in NAMED])
        hint = close or "the names are " + ", ".join(known.name for known in NAMED)
        fail(
            UNKNOWN,
            f"no test is called {text!r}",
            Place(FILE, 1, 1, max(len(text), 1)),
            hint=hint,
            source_line=text,
        )
    return _BY_NAME[plain]
