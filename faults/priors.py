"""Prior odds by class of part, read from a table that the user may change. All of them are guesses."""

from pathlib import Path
from typing import Final, Literal

from attrs import frozen

from emu.errors import Problems
from emu.fromtoml import build
from emu.schema import key, own_path
from emu.tomlfile import TomlDocument, TomlPath, read

SHIPPED: Final = Path(__file__).with_name("priors.toml")

NONE: Final[dict[str, float]] = {}


@frozen
class Priors:
    """A table of prior odds. ``part``: class of part -> odds of each of its sites; ``way``: factors."""

    format_: Literal["priors/1"] = key(doc="What this file is.")
    healthy: float = key(default=0.01, low=0.0, high=0.5, doc='Share of "nothing is wrong (any more)".')
    nothing: float = key(default=0.02, low=0.0001, high=0.5, doc='Share of "a cause outside the model".')
    second: float = key(default=0.05, low=0.0, high=0.5, doc="Chance of a second, independent fault.")
    part: dict[str, float] = key(doc="Odds of a site by the class of its part.", low=0.0, high=1e6)
    way: dict[str, float] = key(
        default=NONE, doc="Factors by the way of failing; 1 if not listed.", low=0.0, high=1e6
    )
    path: TomlPath = own_path()

    def weight(self, part: str, way: str = "", factor: float = 1.0) -> float:
        """Return the prior weight of a fault; a class of part that is not listed counts as 1.

        ``factor``: what the kind of fault itself says of how common it is.
        """
        return self.part.get(part, 1.0) * self.way.get(way, 1.0) * factor


def load_priors(path: Path | str = SHIPPED) -> Priors:
    """Read a file of prior odds. Raises InputError with every problem."""
    return _priors(read(path))


def _priors(document: TomlDocument) -> Priors:
    problems = Problems(document.source)
    made = build(Priors, document, problems)
    problems.raise_if_errors()
    assert made is not None
    return made
