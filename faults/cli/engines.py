"""Picks the engine of a run and says on standard error which one it is."""

from emu.engine.contract import Engine, RunRequest
from emu.engine.walker import Walker
from faults.cli.writer import notice


def choose_engine(request: RunRequest, *, quiet: bool) -> Engine:
    """Return the engine for a request."""
    del request
    engine = Walker()
    notice(f"engine: {engine.name}", quiet=quiet)
    return engine
