"""The fault dictionary: what every fault looks like on every program, as columns in a folder.

The form is described in ``docs/reference/dictionary.md``. Columns are memory-mapped, so that opening a
dictionary costs nothing and a look-up touches a few pages. A dictionary is written whole or not at all.
"""

import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from attrs import define, field

from emu.engine.seen import RECORD_FORMAT
from emu.errors import declare, fail
from emu.spec import MachineSpec
from emu.where import Place
from faults.campaign import Campaign
from faults.grade import labels_of
from faults.records import symptoms_of_record
from faults.symptoms import Symptoms
from faults.universe import Universe, universe_digest
from faults.workings import workings_digest

FORMAT: Final = "dictionary/1"
META: Final = "meta.json"
COLUMNS: Final = (
    "kind", "site", "group", "first", "seen", "reason", "order", "starts", "record", "record_end", "digest",
    "digest_record",
)  # fmt: skip
Ints = npt.NDArray[np.int64]

NOT_DICTIONARY = declare(
    "not-a-dictionary",
    "A fault dictionary is a folder with meta.json and its columns, of a form that this version knows.",
    "Make it again with `corewright grade MACHINE PROGRAM... --save FOLDER`.",
)
OTHER_MACHINE = declare(
    "dictionary-machine",
    "A fault dictionary speaks of the machine and the faults that it was made for, to the last bit.",
    "Make it again for the machine and its board as they are now.",
)


def digest_of(record: bytes) -> int:
    """Return the key by which a record is found: the first 8 bytes of its BLAKE2b-64 hash, as a number."""
    return int.from_bytes(hashlib.blake2b(record, digest_size=8).digest(), "little")


def save(campaign: Campaign, folder: Path, *, force: bool = False) -> None:
    """Write the dictionary of a campaign, whole or not at all.

    Raises ``FileExistsError`` where something is already, unless ``force``; InputError where that is no
    dictionary, which nothing overwrites.
    """
    if folder.exists() and not force:
        raise FileExistsError(folder)
    refuse_other_content(folder)
    folder.parent.mkdir(parents=True, exist_ok=True)
    temporary = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}."))
    try:
        for name, column in _columns(campaign).items():
            np.save(temporary / f"{name}.npy", column, allow_pickle=False)
        text = json.dumps(_meta(campaign), indent=2, sort_keys=True) + "\n"
        (temporary / META).write_text(text, encoding="utf-8")
        temporary.chmod(0o777 & ~_umask())
        if folder.exists():
            _retire(folder)
        temporary.replace(folder)
    except BaseException:
        shutil.rmtree(temporary, ignore_errors=True)
        raise


def refuse_other_content(folder: Path) -> None:
    """Raise InputError if something lies there that is neither a dictionary nor an empty folder."""
    if not folder.exists():
        return
    ours = {META, *(f"{name}.npy" for name in COLUMNS)}
    if not folder.is_dir() or {path.name for path in folder.iterdir()} - ours:
        text = "only a dictionary or an empty folder is overwritten; this holds something else"
        fail(NOT_DICTIONARY, text, Place(str(folder)), hint="name another folder")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _retire(folder: Path) -> None:
    old = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}.old."))
    folder.replace(old)  # a folder replaces an empty one; from here on the new one is written
    shutil.rmtree(old, ignore_errors=True)


def _columns(campaign: Campaign) -> dict[str, npt.NDArray[Any]]:
    kinds, sites = labels_of(campaign.universe)
    of_fault, seen = campaign.grouping.of_fault, campaign.seen
    members = np.argsort(of_fault, kind="stable").astype(np.int32)
    starts = np.searchsorted(of_fault[members], np.arange(len(campaign.grouping) + 1))
    order = np.stack([np.argsort(row, kind="stable") for row in seen]).astype(np.int32)
    digests = np.array([digest_of(r) for r in campaign.records], np.uint64)
    by_digest = np.argsort(digests, kind="stable")
    return {
        "kind": kinds.numbers,
        "site": sites.numbers,
        "group": of_fault,
        "first": members,
        "seen": seen,
        "reason": campaign.reasons,
        "order": order,
        "starts": starts.astype(np.int64),
        "record": np.frombuffer(b"".join(campaign.records), np.uint8),
        "record_end": np.cumsum([len(r) for r in campaign.records], dtype=np.int64),
        "digest": digests[by_digest],
        "digest_record": by_digest.astype(np.int32),
    }


def _meta(campaign: Campaign) -> Mapping[str, object]:
    kinds, sites = labels_of(campaign.universe)
    machine = campaign.jobs[0].machine
    return {
        "format": FORMAT,
        "record_format": RECORD_FORMAT,
        "machine": machine.name,
        "machine_digest": machine.digest,
        "workings": workings_digest(),
        "universe": universe_digest(campaign.universe),
        "faults": len(campaign.universe),
        "groups": len(campaign.grouping),
        "kinds": kinds.names,
        "sites": sites.names,
        "programs": [
            {
                "name": job.program.name,
                "digest": job.digest,
                "seed": job.conditions.seed,
                "power_up": job.conditions.power_up,
                "conditions": sorted(job.conditions.names),
                "healthy": healthy,
            }
            for job, healthy in zip(campaign.jobs, campaign.healthy, strict=True)
        ],
    }


@define(slots=False, eq=False)
class Dictionary:
    """An open dictionary. Faults are named by their number in the universe that it was made for."""

    folder: Path
    meta: Mapping[str, Any]
    _open: dict[str, npt.NDArray[Any]] = field(factory=dict)

    def column(self, name: str) -> npt.NDArray[Any]:
        """Return a column, mapped from its file."""
        if name not in self._open:
            self._open[name] = np.load(self.folder / f"{name}.npy", mmap_mode="r", allow_pickle=False)
        return self._open[name]

    @cached_property
    def programs(self) -> tuple[str, ...]:
        """The names of the programs, in order."""
        return tuple(p["name"] for p in self.meta["programs"])

    def record(self, number: int) -> bytes:
        """Return a record by its number."""
        ends = self.column("record_end")
        start = int(ends[number - 1]) if number else 0
        return self.column("record")[start : int(ends[number])].tobytes()

    def record_of(self, fault: int, program: int) -> bytes:
        """Return what a fault looks like on a program."""
        return self.record(int(self.column("seen")[program, self.column("group")[fault]]))

    def symptoms(self, machine: MachineSpec, fault: int, program: int) -> Symptoms:
        """Return the symptoms of a fault on a program."""
        return symptoms_of_record(machine, self.record_of(fault, program))

    def number_of(self, record: bytes) -> int:
        """Return the number of a record, or -1 if no fault and no healthy machine looks like that."""
        digests, wanted = self.column("digest"), np.uint64(digest_of(record))
        at = int(np.searchsorted(digests, wanted))
        while at < len(digests) and digests[at] == wanted:
            number = int(self.column("digest_record")[at])
            if self.record(number) == record:
                return number
            at += 1
        return -1

    def groups_showing(self, record: bytes, program: int) -> npt.NDArray[np.int32]:
        """Return the groups that look like that on a program, ascending (int32[n])."""
        number = self.number_of(record)
        if number < 0:
            return np.zeros(0, np.int32)
        order, seen = self.column("order")[program], self.column("seen")[program]
        low = _first_at_least(order, seen, number)
        high = _first_at_least(order, seen, number + 1)
        return np.array(order[low:high], np.int32)

    def members(self, group: int) -> npt.NDArray[np.int32]:
        """Return the faults of a group, ascending (int32[n])."""
        starts = self.column("starts")
        return np.array(self.column("first")[int(starts[group]) : int(starts[group + 1])], np.int32)


def _first_at_least(order: npt.NDArray[Any], seen: npt.NDArray[Any], number: int) -> int:
    low, high = 0, len(order)
    while low < high:
        middle = (low + high) // 2
        if seen[order[middle]] < number:
            low = middle + 1
        else:
            high = middle
    return low


def open_dictionary(
    folder: Path, machine: MachineSpec | None = None, universe: Universe | None = None
) -> Dictionary:
    """Return the dictionary in a folder, for ``machine`` and the faults of ``universe`` if they are given.

    Raises InputError if it is none, is of another form, lacks a column, was made by other code, or is that of
    another machine or of other faults.
    """
    place = Place(str(folder))
    try:
        meta = json.loads((folder / META).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        fail(NOT_DICTIONARY, f"a dictionary has a readable {META}; {error}", place)
    form = meta.get("format") if isinstance(meta, dict) else None
    if form != FORMAT or meta.get("record_format") != RECORD_FORMAT:
        fail(NOT_DICTIONARY, f"this version reads {FORMAT}, given {str(form)[:40]!r}", place)
    missing = [name for name in COLUMNS if not (folder / f"{name}.npy").is_file()]
    if missing:
        fail(NOT_DICTIONARY, f"a dictionary has all its columns, {missing[0]}.npy is missing", place)
    if machine is not None and meta.get("machine_digest") != machine.digest:
        fail(OTHER_MACHINE, f"this dictionary is for another machine than {machine.name}", place)
    if meta.get("workings") != workings_digest():
        fail(NOT_DICTIONARY, "other code has made this dictionary, and might have seen other things", place)
    if universe is not None and meta.get("universe") != universe_digest(universe):
        fail(OTHER_MACHINE, "this dictionary is for other faults, or they have other numbers", place)
    return Dictionary(folder, meta)


def fault_numbers(dictionary: Dictionary, groups: Sequence[int]) -> Ints:
    """Return the numbers of all faults of some groups, ascending (int64[n])."""
    found = [dictionary.members(group).astype(np.int64) for group in groups]
    return np.sort(np.concatenate([np.zeros(0, np.int64), *found]))
