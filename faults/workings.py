"""A digest of the code that decides what is seen of a faulty run: kept results carry it.

So results that another version has kept, whose engine or screen may have been wrong, are never taken for
those of this one, and nobody has to remember to raise a number.
"""

import hashlib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Final

import emu

# all of emu, and of faults what begins, ends and screens runs; what a fault does stands in its plan's digest
_HERE: Final = Path(__file__).parent
MODULES: Final = ("screen.py", "worker.py", "workload.py")


def sources() -> Iterator[tuple[str, Path]]:
    """Yield name and file of every module that counts, in order."""
    package = Path(emu.__file__).parent
    for path in sorted(package.rglob("*.py")):
        yield f"emu/{path.relative_to(package).as_posix()}", path
    for name in MODULES:
        yield f"faults/{name}", _HERE / name


@cache
def workings_digest() -> str:
    """Return the SHA-256 (hexadecimal) of these sources; a difference in line ends is none."""
    found = hashlib.sha256()
    for name, path in sources():
        text = path.read_bytes().replace(b"\r\n", b"\n")
        found.update(f"|{name} {len(text)}|".encode() + text)
    return found.hexdigest()
