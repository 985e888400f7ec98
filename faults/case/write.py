"""New case files, and entries added to one without touching what is there."""

import contextlib
import datetime as dt
import json
import os
import tempfile
from collections.abc import Callable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Final, NoReturn

from emu.errors import declare, fail
from emu.where import Place, Source
from faults.case.load import Case, load_case, parse_case

EXISTS: Final = declare(
    "case-exists",
    "A case file is never overwritten: it may hold the only record of what was seen.",
    "Choose another name, or add to the case that is there.",
)
CHANGED: Final = declare(
    "case-changed-meanwhile",
    "An entry is added only to the file that was read.",
    "Somebody else wrote to the case at the same moment; add the entry again.",
)
CANNOT_WRITE: Final = declare(
    "case-cannot-write",
    "The folder of a case must be writable.",
    "Check the folder and its permissions; nothing was changed.",
)

_HASHED: Final = {"file": "sha256", "expected": "expected-sha256"}

EntryValue = str | int | float | bool | dt.date | dt.datetime


def create(path: Path | str, text: str) -> Case:
    """Write a new case file and return the case. InputError if the file exists or the text is no case."""
    path = Path(path)
    case = parse_case(Source(str(path), text))
    try:
        with path.open("x", encoding="utf-8", newline="") as stream:
            stream.write(text)
    except FileExistsError:
        fail(EXISTS, "a new case needs a name that is free; there is a file of this name", Place(str(path)))
    except OSError as error:
        _cannot_write(path, error)
    return case


def add(
    path: Path | str,
    kind: str,
    values: Mapping[str, EntryValue],
    *,
    accept: Callable[[Case], None] = lambda _: None,
) -> Case:
    """Append one entry to a case file and return the case as it then is.

    What was in the file stays byte for byte; the SHA-256 of files named is filled in. The new file takes the
    place of the old in one step, so that a crash leaves one or the other. InputError, and nothing changed,
    if the entry would not be accepted or the case cannot be read. ``accept``: looks at the case as it would
    be, and raises InputError if it may not be so.
    """
    path = Path(path)
    load_case(path)
    target = path.resolve()
    before = target.read_bytes()
    after = appended(before, entry_text(kind, _with_hashes(path.parent, values)))
    case = parse_case(Source(str(path), after.decode("utf-8").removeprefix("\ufeff")))
    accept(case)
    if target.read_bytes() != before:
        fail(CHANGED, "the case must stay as it is while an entry is added; it changed", Place(str(path)))
    try:
        _replace(target, after)
    except OSError as error:
        _cannot_write(path, error)
    return case


def appended(before: bytes, entry: str) -> bytes:
    """Return the bytes of a file with the text of an entry at its end, in the file's own line ends."""
    windows = b"\r\n" in before
    gap = "" if not before else "\n" if before.endswith(b"\n") else "\n\n"
    text = gap + entry
    return before + (text.replace("\n", "\r\n") if windows else text).encode("utf-8")


def entry_text(kind: str, values: Mapping[str, EntryValue]) -> str:
    """Return an entry as it is written in the file; keys in the order given."""
    lines = ["[[entry]]", f"kind = {_toml(kind)}"]
    lines += [f"{_key(name)} = {_toml(value)}" for name, value in values.items()]
    return "\n".join(lines) + "\n"


def hash_of(path: Path) -> str:
    """Return the SHA-256 of a file in hexadecimal. OSError if it cannot be read."""
    with path.open("rb") as stream:
        digest = sha256()
        while chunk := stream.read(1 << 20):
            digest.update(chunk)
    return digest.hexdigest()


def _with_hashes(folder: Path, values: Mapping[str, EntryValue]) -> dict[str, EntryValue]:
    """Return the values with the SHA-256 of each file that is there; the check speaks of missing ones."""
    filled: dict[str, EntryValue] = {}
    for name, value in values.items():
        filled[name] = value
        wanted = _HASHED.get(name)
        if wanted and wanted not in values and isinstance(value, str) and value:
            with contextlib.suppress(OSError, ValueError):
                filled[wanted] = hash_of(folder / value)
    return filled


def _key(name: str) -> str:
    bare = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if bare else _toml(name)


def _toml(value: EntryValue) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        # JSON escapes all that TOML wants escaped but this one.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, dt.date):
        return value.isoformat()
    return repr(value)


def _replace(target: Path, data: bytes) -> None:
    """Put new bytes in the place of a file in one step, keeping its permissions."""
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.chmod(target.stat().st_mode & 0o7777)
        temporary.replace(target)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise


def _cannot_write(path: Path, error: OSError) -> NoReturn:
    reason = error.strerror or str(error)
    fail(CANNOT_WRITE, f"the case must be writable; the system says: {reason}", Place(str(path)))
