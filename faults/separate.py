"""Tell two candidates apart: the shortest program or pattern under which they look different."""

from collections.abc import Sequence

from attrs import frozen


@frozen
class Trial:
    """Something that could be keyed in, and what it would show under either candidate (by simulation).

    ``words``: how many words have to be keyed in. ``signature_a``, ``signature_b``: equal if nobody could
    tell the two runs apart. ``minutes``: how long it takes to key in and run.
    """

    name: str
    words: int
    signature_a: str
    signature_b: str
    minutes: float = 0.0


@frozen
class Separation:
    """The trial that tells two candidates apart with the fewest words, or None, and what was tried."""

    best: Trial | None
    tried: int
    longest: int

    @property
    def sentence(self) -> str:
        """Say what was found, and of what it is a proof."""
        if self.best is not None:
            named = f"{self.best.name} ({_words(self.best.words)})"
            if self.tried == 1:
                return f"{named} tells them apart; it was the first tried"
            return f"{named} is the shortest of {self.tried:,} tried that tells them apart"
        if not self.tried:
            return "nothing was tried"
        which = f"none of the {self.tried:,} tried" if self.tried > 1 else "the only one tried"
        does = "tells" if self.tried > 1 else "does not tell"
        return f"{which}, of up to {_words(self.longest)}, {does} them apart"


def _words(count: int) -> str:
    return "1 word" if count == 1 else f"{count:,} words"


def shortest_telling(trials: Sequence[Trial]) -> Separation:
    """Return the telling trial of fewest words; of equals the quickest, then the first."""
    telling = [t for t in trials if t.signature_a != t.signature_b]
    best = min(telling, key=lambda t: (t.words, t.minutes), default=None)
    return Separation(best, len(trials), max((t.words for t in trials), default=0))
