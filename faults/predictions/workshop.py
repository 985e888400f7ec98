"""What matching one machine needs again and again: plans, runs of programs, readings of stores."""

import hashlib

import numpy as np
from attrs import define, field

from faults.boards.board import Board
from faults.predictions.book import Book, Words
from faults.predictions.plans import Plans
from faults.predictions.runs import ProgramRuns, Progress, no_progress
from faults.predictions.scene import Program
from faults.predictions.suspects import SuspectMaker
from faults.priors import Priors


@define(eq=False)
class Workshop:
    """All that is worked out once for a board. ``cached``: also kept on disk."""

    board: Board
    priors: Priors
    progress: Progress = no_progress
    cached: bool = True
    plans: Plans = field(init=False)
    maker: SuspectMaker = field(init=False)
    _runs: dict[str, ProgramRuns] = field(factory=dict, init=False)
    _books: dict[tuple[int, int, bool, str], Book] = field(factory=dict, init=False)

    def __attrs_post_init__(self) -> None:
        self.plans = Plans(self.board, self.cached)
        self.maker = SuspectMaker(self.board, self.priors)

    def runs(self, program: Program) -> ProgramRuns:
        """Return the runs of a program."""
        if program.name not in self._runs:
            made = ProgramRuns(self.board.machine, program, self.plans, self.progress, self.cached)
            self._runs[program.name] = made
        return self._runs[program.name]

    def book(self, store: int, contents: Words, times: int = 1, *, written: bool = True) -> Book:
        """Return the readings of a store that holds ``contents``; see :class:`Book`."""
        mark = hashlib.blake2b(np.ascontiguousarray(contents).tobytes(), digest_size=12).hexdigest()
        key = (store, times, written, mark)
        if key not in self._books:
            self._books[key] = Book(self.plans, store, contents, times, written)
        return self._books[key]

    def save(self) -> None:
        """Keep what was worked out."""
        self.plans.save()
        for runs in self._runs.values():
            runs.save()
        for book in self._books.values():
            book.save()
