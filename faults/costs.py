"""What each sort of step costs at the bench, from a table that the user may change. Minutes are guesses."""

from collections.abc import Collection
from pathlib import Path
from typing import Final, Literal

from attrs import frozen

from emu.errors import Problems, declare
from emu.fromtoml import build
from emu.schema import key, own_path
from emu.tomlfile import TomlDocument, TomlPath, read

SHIPPED: Final = Path(__file__).with_name("costs.toml")

STEP_KINDS: Final = ("look", "ring-out", "run-program", "key-in", "dump", "examine", "probe", "swap")
"""Sorts of steps that are proposed."""

MISSING_STEP: Final = declare(
    "costs-without-step",
    "A file of bench costs must say what every sort of step costs.",
    "Add the table; the shipped file can be copied and changed.",
)


@frozen
class StepCost:
    """What one sort of step costs, what it risks (0 none, 1 replaceable, 2 irreplaceable, 3 people)."""

    kind: str = key(doc="Sort of step.", choices=STEP_KINDS)
    minutes: float = key(doc="Bench minutes; for key-in, of each word.", low=0.01, high=10_000.0, unit="min")
    powered: bool = key(doc="Whether the power is on.")
    risk: int = key(
        doc="0 none, 1 to replaceable parts, 2 to irreplaceable parts, 3 to people.", low=0, high=3
    )
    needs: str = key(default="", doc="The tool it needs.")
    caution: str = key(doc="What is printed with the step.")


@frozen
class Costs:
    """A table of bench costs, one entry for each of :data:`STEP_KINDS`."""

    format_: Literal["costs/1"] = key(doc="What this file is.")
    steps: tuple[StepCost, ...] = key(name="step", doc="The sorts of steps.", unique="kind")
    path: TomlPath = own_path()

    def of(self, kind: str) -> StepCost:
        """Return what a sort of step costs (KeyError if there is no such sort)."""
        return {step.kind: step for step in self.steps}[kind]

    def possible(self, kind: str, tools: Collection[str]) -> bool:
        """Whether the tool that the step needs is at the bench; no list of tools means that all are."""
        needed = self.of(kind).needs
        return not needed or not tools or needed in tools


def load_costs(path: Path | str = SHIPPED) -> Costs:
    """Read a file of bench costs. Raises InputError with every problem."""
    return _costs(read(path))


def _costs(document: TomlDocument) -> Costs:
    problems = Problems(document.source)
    made = build(Costs, document, problems)
    given = {step.kind for step in made.steps} if made else set(STEP_KINDS)
    for kind in STEP_KINDS:
        if kind not in given:
            message = f"there is a [[step]] for every sort of step; none has kind = {kind!r}"
            problems.add(MISSING_STEP, message, document.place(("step",)))
    problems.raise_if_errors()
    assert made is not None
    return made
