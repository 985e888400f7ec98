"""Gathers the words of a file into an image, losing nothing without saying so."""

from itertools import pairwise
from typing import Final

from attrs import define, field

from emu.codes import verify
from emu.errors import Note, Problem, Problems, declare
from emu.files.layout import FileWord
from emu.image import MAX_ADDRESS, MemoryImage, Run
from emu.spec import MAX_STORE_WORDS
from emu.where import Place
from emu.words import mask

BEYOND: Final = declare(
    "address-beyond",
    "Every address of an image lies inside the store.",
    "Check the address column, or whether the file counts bytes where words are meant.",
    "words 16 base octal\n77777777777777: 000001\n",
    "image",
)
TWICE: Final = declare(
    "word-given-twice",
    "An address has one word.",
    "Delete the line that is wrong; if two dumps were pasted together, read them as two files.",
    "words 16 base octal\n000: 000001\n000: 000002\n",
    "image",
)
REPEATED: Final = declare(
    "word-repeated",
    "An address is given once; the same word again loses nothing but is suspicious.",
    "Check whether a line was pasted twice and another one lost.",
    "words 16 base octal\n000: 000001\n000: 000001\n",
    "image",
)
GAPS: Final = declare(
    "words-missing",
    "A dump gives every word between its first and its last; others are not known.",
    "If lines were lost, dump again; if the file is a program, this is as it should be.",
    "words 16 base octal\n000: 000001\n002: 000001\n",
    "image",
)
EMPTY: Final = declare(
    "image-empty",
    "An image file holds at least one word.",
    "Check that it is the right file and that it was read in the right format.",
    "; nothing here\nwords 16 base octal\n",
    "image",
)
TOO_LARGE: Final = declare(
    "image-too-large",
    f"An image holds at most {MAX_STORE_WORDS} words.",
    "Check the addresses: a wrong digit in one makes a repeat line endless.",
    "words 16 base octal\n000: 000001\n*\n37777777777:\n",
    "image",
)
BREAKS: Final = declare(
    "check-bits-wrong",
    "A stored word agrees with its check bits.",
    "Words that do not are kept as read. If nearly all are wrong, the protection or its sense is misstated.",
    "words 16 base octal parity odd\n000: 000000\n",
    "image",
)
MORE: Final = declare(
    "more-problems",
    "At most 100 problems of a file are listed.",
    "Mend the first ones: the others often have the same cause, such as a wrong word size.",
    "words 16 base octal\n" + "8\n" * 101,
    "image",
)


@define
class Gathering:
    """The image being built; ``put`` every word, then ``finish``."""

    word: FileWord
    problems: Problems
    cells: dict[int, tuple[int, int]] = field(factory=dict)
    runs: list[Run] = field(factory=list)
    repeats: list[int] = field(factory=list)

    def room_for(self, address: int, count: int, place: Place) -> bool:
        """Say whether ``count`` words fit from ``address`` on; if not, the problem is recorded."""
        last = address + count - 1
        size = self.word.words
        if last > MAX_ADDRESS or (size is not None and last >= size):
            most = self.word.tagged((size or MAX_ADDRESS + 1) - 1)
            lost = f"{count} words up to {self.word.tagged(last)}" if count > 1 else self.word.tagged(last)
            self.problems.add(BEYOND, f"the store ends at {most}, got {lost}: lost", place)
            return False
        if len(self.cells) + count > MAX_STORE_WORDS:
            given = len(self.cells) + count
            self.problems.add(TOO_LARGE, f"an image has at most {MAX_STORE_WORDS} words, got {given}", place)
            return False
        return True

    def put(self, address: int, value: int, known: int, place: Place) -> None:
        """Store a word of the file (not yet a stored word) unless it does not fit or contradicts another."""
        cell = self.word.to_stored(value, known)
        before = self.cells.get(address)
        if before is not None:
            self._again(address, before, cell, place)
        elif self.room_for(address, 1, place):
            self.cells[address] = cell
            self._extend(address, place)

    def contradict(self, address: int, old: str, new: str, place: Place) -> None:
        """Record that ``address`` is given twice, with different texts."""
        message = f"an address has one word, got {new} for {self.word.tagged(address)} which had {old}"
        self.problems.add(TWICE, message, place, notes=self._first_given(address))

    def _again(self, address: int, before: tuple[int, int], cell: tuple[int, int], place: Place) -> None:
        if before == cell:
            self.repeats.append(address)
            if len(self.repeats) == 1:
                at = self.word.tagged(address)
                self.problems.add(
                    REPEATED, f"address {at} is given twice with the same word", place, severity="warning",
                    notes=self._first_given(address),
                )  # fmt: skip
            return
        form = self.word.text
        old, new = (form.masked_text(v & mask(form.bits), k & mask(form.bits)) for v, k in (before, cell))
        self.contradict(address, old, new, place)

    def _first_given(self, address: int) -> tuple[Note, ...]:
        if len(self.problems.found) >= self.problems.limit:
            return ()  # the problem will not be kept, and looking for it takes a while
        found = next((r.place for r in self.runs if r.first <= address < r.first + r.count), None)
        return (Note("first given here", found),) if found else ()

    def _extend(self, address: int, place: Place) -> None:
        last = self.runs[-1] if self.runs else None
        if last and last.first + last.count == address and last.place.line == place.line:
            self.runs[-1] = Run(last.first, last.count + 1, last.place)
        else:
            self.runs.append(Run(address, 1, place))

    def finish(self) -> MemoryImage:
        """Return the image; InputError with every problem of the file if there is an error."""
        place = Place(self.problems.source.file)
        if not self.cells and not self.problems.errors:
            self.problems.add(EMPTY, "an image file holds at least one word, got none", place)
        runs = tuple(sorted(self.runs, key=lambda run: run.first))
        image = MemoryImage(self.word.stored_bits, self.cells, runs)
        if not self.problems.errors:  # lost words would be told of twice
            self._warn_of_gaps(image)
            self._warn_of_checks(image)
        elif self.problems.dropped:
            self._tell_of_more()
        self.problems.raise_if_errors()
        return image

    def _tell_of_more(self) -> None:
        shown = counted(len(self.problems.found), "problem")
        message = f"{shown} of this file are listed, {self.problems.dropped} more are not"
        self.problems.found.append(Problem(MORE, message, Place(self.problems.source.file)))

    def _warn_of_gaps(self, image: MemoryImage) -> None:
        ranges = image.ranges()
        gaps = [(a + 1, b - 1) for (_, a), (b, _) in pairwise(ranges)]
        if not gaps:
            return
        tagged = self.word.tagged
        listed = ", ".join(tagged(a) if a == b else f"{tagged(a)} to {tagged(b)}" for a, b in gaps[:3])
        more = f" and {len(gaps) - 3} more places" if len(gaps) > 3 else ""
        total = sum(b - a + 1 for a, b in gaps)
        place = image.place_of(gaps[0][1] + 1) or Place(self.problems.source.file)
        self.problems.add(
            GAPS, f"{counted(total, 'word')} missing between the first and the last: {listed}{more}", place,
            severity="warning",
        )  # fmt: skip

    def _warn_of_checks(self, image: MemoryImage) -> None:
        word, full = self.word, mask(self.word.stored_bits)
        if word.protection == "none" or word.checks == "absent":
            return
        sure = [(address, value) for address, value, known in image.words() if known == full]
        bad = [a for a, v in sure if verify(word.protection, word.data_bits, v).status != "ok"]
        if not bad:
            return
        name = "SEC-DED" if word.protection == "sec-ded" else f"{word.protection} parity"
        place = image.place_of(bad[0]) or Place(self.problems.source.file)
        message = f"{len(bad)} of {len(sure)} words break {name}, first at {word.tagged(bad[0])}"
        hint = "" if 2 * len(bad) < len(sure) else "is the protection stated rightly?"
        self.problems.add(BREAKS, message, place, hint=hint, severity="warning")


def counted(number: int, noun: str) -> str:
    """Return ``1 word`` or ``2 words``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
