"""The memory plans of faults, made when they are wanted, their digests kept on disk.

Most of a second match needs only to know that a plan is one it has met; composing thousands of plans anew
would be most of its time.
"""

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import Final

from attrs import define, field

from emu.engine.compiled import cache_folder
from emu.errors import InputError
from emu.memory import MemoryPlan
from faults.boards.board import Board
from faults.fault import Fault
from faults.lower import plan_of
from faults.notation import fault_text
from faults.predictions.keeping import keep_text, kept_text

HEALTHY: Final = "healthy"
BEYOND: Final = "beyond"
"""Digest of faults at once that the model cannot tell together."""

_PACKAGE: Final = Path(__file__).resolve().parents[1]
_SOURCES: Final = ("kinds", "effects", "boards", "lower.py", "exact.py", "fault.py", "sites.py")
_MOST_KEPT: Final = 60_000
_MOST_OF_SEVERAL: Final = (
    256  # entries of the plan of several faults at once, tried by the thousand, that is kept
)


@define(eq=False)
class Plans:
    """The plans of one board. ``cached``: whether digests are kept on disk."""

    board: Board
    cached: bool = True
    _made: dict[Fault, MemoryPlan | None] = field(factory=dict, init=False)
    _digests: dict[str, str] = field(factory=dict, init=False)
    _texts: dict[Fault, str] = field(factory=dict, init=False)
    _fresh: int = field(default=0, init=False)
    key: str = field(init=False)

    def __attrs_post_init__(self) -> None:
        sites = "\n".join(f"{site.path} {site.role!r} {site.stage}" for site in self.board.sites())
        told = (repr(self.board.machine), repr(self.board.shapes), sites, _code())
        self.key = hashlib.blake2b("\n".join(told).encode(), digest_size=16).hexdigest()
        if self.cached:
            try:
                self._digests = dict(json.loads(kept_text(self._file)))
            except (ValueError, TypeError):
                self._digests = {}

    @property
    def _file(self) -> Path:
        return cache_folder() / "plans" / f"{self.key}.json"

    def plan(self, fault: Fault | None) -> MemoryPlan | None:
        """Return the plan of a fault; None for none, and for faults that cannot be told together."""
        if fault is None:
            return None
        if fault in self._made:
            return self._made[fault]
        try:
            plan = plan_of(self.board, fault)
        except InputError:
            plan = None
        if len(fault.parts) == 1 or plan is None or _entries(plan) <= _MOST_OF_SEVERAL:
            self._made[fault] = plan
        return plan

    def digest(self, fault: Fault | None) -> str:
        """Return the digest of a fault's plan: equal for faults that behave alike."""
        if fault is None:
            return HEALTHY
        text = self._texts.get(fault) or self._texts.setdefault(fault, fault_text(fault, self.board))
        found = self._digests.get(text)
        if found is None:
            plan = self.plan(fault)
            found = self._digests[text] = BEYOND if plan is None else plan.digest
            self._fresh += 1
        return found

    def save(self) -> None:
        """Keep the digests; a folder that cannot be written is no misfortune."""
        if self.cached and self._fresh and len(self._digests) <= _MOST_KEPT:
            keep_text(self._file, json.dumps(self._digests))
            self._fresh = 0


def _entries(plan: MemoryPlan) -> int:
    return sum(len(t.moved) + len(t.masked) for mode in plan.modes for t in mode.tables)


@cache
def _code() -> str:
    """Return a hash of all code that makes plans, so that what is kept belongs to it."""
    digest = hashlib.blake2b(digest_size=16)
    emu = _PACKAGE.parent / "emu"
    files = [emu / name for name in ("compose.py", "memory.py", "rules.py", "gates.py")]
    for name in _SOURCES:
        path = _PACKAGE / name
        files += sorted(path.glob("*.py")) if path.is_dir() else [path]
    for file in files:
        digest.update(file.read_bytes() if file.is_file() else b"")
    return digest.hexdigest()
