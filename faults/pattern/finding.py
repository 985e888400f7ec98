"""What every finding has in common."""

from abc import ABC, abstractmethod
from typing import ClassVar

from attrs import field, frozen

from faults.pattern.evidence import Evidence


@frozen
class Finding(ABC):
    """One true statement about the evidence.

    ``sentence`` says it to a volunteer; ``failing`` counts the failing words it speaks of; ``exact`` is
    true when it has no exception. The other fields of a kind hold the statement as data.
    """

    kind: ClassVar[str] = ""
    failing: int
    exact: bool
    sentence: str = field(eq=False)

    @abstractmethod
    def holds(self, evidence: Evidence) -> bool:
        """Check the statement anew against the evidence."""
