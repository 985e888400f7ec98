"""Picks the engine for a run, and says which and why in one line.

Compiling takes seconds the first time and tenths of a second afterwards, so a short run is sooner done by the
readable engine.
"""

from typing import Final, Literal

from attrs import frozen

from emu.engine.contract import Engine, RunRequest
from emu.engine.walker import Walker

Wish = Literal["auto", "walker", "compiled"]
WALKER_STEPS: Final = 100_000  # a run of at most so many instructions is done by the walker in about a second
MISSING: Final = (
    "numba is not installed: long runs go by the generated functions as plain Python, many times slower; "
    "pip install 'corewright[fast]' brings it"
)


@frozen
class Choice:
    """An engine, why it was taken (a clause), and a notice for people, or ""."""

    engine: Engine
    why: str
    notice: str = ""


def choose_engine(request: RunRequest, wish: Wish = "auto") -> Choice:
    """Return the engine for a run by its budget of instructions, or the one wished for."""
    from emu.engine.compiled import CompiledEngine, have_numba  # noqa: PLC0415 - the walker needs none of it

    if wish == "walker":
        return Choice(Walker(), "as asked for")
    if wish == "auto" and request.max_steps <= WALKER_STEPS:
        return Choice(Walker(), f"at most {request.max_steps:,} instructions")
    jit = have_numba()
    why = "as asked for" if wish == "compiled" else f"up to {request.max_steps:,} instructions"
    return Choice(CompiledEngine(jit), why, "" if jit else MISSING)
