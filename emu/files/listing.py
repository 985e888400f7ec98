"""The octal, hexadecimal or binary listing: an address, a colon, words. Grammar: docs/reference/files.md."""

import re
from collections.abc import Iterator
from typing import Any, Final, get_args

from attrs import define, evolve, field

from emu.codes import PROTECTIONS
from emu.errors import Problems, declare, fail, nearest
from emu.files.evidence import propose
from emu.files.gather import Gathering, counted
from emu.files.layout import Checks, FileWord, ReadResult
from emu.files.outgoing import masked_digits
from emu.image import MAX_ADDRESS, MemoryImage
from emu.where import Place, Source
from emu.words import BASE_NAMES, WordFormat

STATEMENT: Final = declare(
    "bad-statement",
    "The statement line is `words N`, then any of `base B`, `parity P`, `checks C`, before the first word.",
    "Write for instance `words 16 base octal parity odd`.",
    "words 16 base ocatl\n000: 000001\n",
    "image",
)
DIFFERS: Final = declare(
    "statement-differs",
    "The file's own statement agrees with what was asked for.",
    "Read the file as what it says it is, or correct its first line.",
)
UNSTATED: Final = declare(
    "word-size-not-stated",
    "The word size of a file is stated: by the file, by the machine, or by hand.",
    "Put `words 16 base octal` at the top of the listing, or name the machine.",
)
DIGITS: Final = declare(
    "bad-digits",
    "Words and addresses are digits of the file's base; ? stands for a word's digit that is not known.",
    "Correct the digit, or write ? for one that cannot be read.",
    "words 16 base octal\n000: 000081\n",
    "image",
)
COUNT: Final = declare(
    "wrong-digit-count",
    "Every word of a listing has all its digits, so that a lost digit shows.",
    "Write leading zeros; write ? for digits that cannot be read.",
    "words 16 base octal\n000: 000001 0001\n",
    "image",
)
REPEAT: Final = declare(
    "bad-repeat",
    "A line `*` repeats the words of the line before it, up to the address of the line after it.",
    "Give the address where the repetition ends, a whole number of lines further.",
    "words 16 base octal\n000: 000001\n*\n",
    "image",
)
CUT: Final = declare(
    "end-cut",
    "The last line of a text file ends with a line end.",
    "Check that nothing is missing after the last line; then end it.",
    "words 16 base octal\n000: 000001",
    "image",
)

_NAMES: Final = {name: base for base, name in BASE_NAMES.items()}
_VALUES: Final[dict[str, tuple[str, ...]]] = {
    "base": tuple(_NAMES),
    "parity": PROTECTIONS,
    "checks": get_args(Checks),
}
_FIELDS: Final = {"words": "data_bits", "parity": "protection", "base": "base", "checks": "checks"}


@define
class _Reader:
    """Reads one listing line by line; ``next`` is the address that the next word gets."""

    source: Source
    problems: Problems
    gathering: Gathering
    next: int
    previous: list[tuple[int, int]] = field(factory=list)
    star: Place | None = None

    def line(self, number: int, text: str) -> None:
        """Take one line, comment and all."""
        body = text.split(";", 1)[0]
        place = Place(self.source.file, number, len(body) - len(body.lstrip()) + 1)
        if body.strip() == "*":
            self._star(place)
            return
        if re.match(r"\s*words\b", body):
            self.problems.add(STATEMENT, "the statement stands before the first word, got it here", place)
            return
        head = re.match(r"\s*([^\s:]*)\s*:", body)
        if head:
            if not self._address(
                head[1], Place(self.source.file, number, head.start(1) + 1, len(head[1]) or 1)
            ):
                return
        elif self.star and body.strip():
            self.problems.add(REPEAT, "a line after * starts with an address, got none", place)
            self.star = None
        self._words(number, body, head.end() if head else 0)

    def _star(self, place: Place) -> None:
        if not self.previous:
            self.problems.add(REPEAT, "a * repeats the line before it, got none", place)
        elif self.star:
            self.problems.add(REPEAT, "one * repeats as often as is needed, got two", place)
        else:
            self.star = place

    def _address(self, text: str, place: Place) -> bool:
        form = WordFormat(128, base=self.gathering.word.base)
        try:
            if "?" in text:
                raise ValueError(f"every digit is known, got {text[:40]!r}")  # noqa: TRY301 one handler for both
            address, _ = form.parse_masked(text, plain=True)
        except ValueError as error:
            self.problems.add(DIGITS, f"in the address: {error}; line lost", place)
            self.star, self.previous = None, []
            return False
        if self.star:
            self._repeat(address, self.star)
        self.next = address
        return True

    def _repeat(self, end: int, place: Place) -> None:
        self.star = None
        step, missing = len(self.previous), end - self.next
        if missing <= 0 or missing % step:
            first, last = self.gathering.word.tagged(self.next), self.gathering.word.tagged(end)
            message = (
                f"a * fills whole lines of {counted(step, 'word')} from {first} on, got an end at {last}"
            )
            self.problems.add(REPEAT, message, place)
        elif self.gathering.room_for(self.next, missing, place):
            for n in range(missing):
                self.gathering.put(self.next + n, *self.previous[n % step], place)

    def _words(self, number: int, body: str, start: int) -> None:
        words: list[tuple[int, int]] = []
        for token in re.compile(r"\S+").finditer(body, start):
            place = Place(self.source.file, number, token.start() + 1, len(token[0]))
            word = self._word(token[0], place)
            if word:
                words.append(word)
                self.gathering.put(self.next, *word, place)
            self.next += 1
        if body[start:].strip():
            self.previous = words

    def _word(self, text: str, place: Place) -> tuple[int, int] | None:
        form = self.gathering.word.text
        lost = f"; word at {self.gathering.word.tagged(self.next)} lost"
        try:
            word = form.parse_masked(text, plain=True)
        except ValueError as error:
            self.problems.add(DIGITS, f"{error}{lost}", place)
            return None
        if len(text) != form.digits:
            rule = f"a word of {form.bits} bits has {form.digits} {BASE_NAMES[form.base]} digits"
            self.problems.add(COUNT, f"{rule}, got {len(text)} in {text[:40]!r}{lost}", place)
            return None
        return word

    def end(self) -> None:
        """Report what the end of the file leaves open."""
        if self.star:
            self.problems.add(REPEAT, "a * is followed by an address, got the end of the file", self.star)
        warn_if_cut(self.source, self.problems)


def warn_if_cut(source: Source, problems: Problems) -> None:
    """Warn if the last line of a text has no line end: what follows may be missing."""
    lines = source.text.splitlines()
    if lines and source.text == source.text.rstrip("\r\n"):
        place = Place(source.file, len(lines), max(len(lines[-1]), 1))
        problems.add(
            CUT, "the last line has no line end: the file may be cut short", place, severity="warning"
        )


def read(source: Source, word: FileWord | None = None) -> ReadResult:
    """Read a listing; ``word`` may be None if the file states its words. InputError with all problems."""
    problems = Problems(source)
    lines = list(enumerate(source.text.splitlines(), 1))
    settled, body = _settle(source, word, problems, lines)
    gathering = Gathering(settled, problems)
    reader = _Reader(source, problems, gathering, settled.first)
    for number, text in body:
        reader.line(number, text)
    reader.end()
    return ReadResult(gathering.finish(), settled, "listing", problems.warnings)


def _settle(
    source: Source, word: FileWord | None, problems: Problems, lines: list[tuple[int, str]]
) -> tuple[FileWord, Iterator[tuple[int, str]]]:
    """Return the statement to go by and the lines after it; InputError if there is none or it is bad."""
    body = iter(lines)
    first = next(((n, t) for n, t in lines if t.split(";", 1)[0].strip()), None)
    if first and re.match(r"\s*words\b", first[1]):
        stated = _statement(source.file, *first, problems)
        problems.raise_if_errors()
        word = _agree(word, stated, Place(source.file, first[0]), first[1])
        body = iter(lines[first[0] :])
    if word is None:
        guess = propose(source.text)
        hint = (
            f"{guess.sentence}: perhaps `{guess.statement}`"
            if guess
            else "put `words 16 base octal` at the top, with your own numbers"
        )
        fail(
            UNSTATED,
            "the word size is stated, got neither a statement nor a machine",
            Place(source.file),
            hint=hint,
        )
    return word, body


def _statement(file: str, number: int, text: str, problems: Problems) -> dict[str, Any]:
    """Return the fields that the statement line gives, recording what is wrong with it."""
    found: dict[str, Any] = {}
    tokens = list(re.finditer(r"\S+", text.split(";", 1)[0]))
    for key, value in zip(tokens[::2], [*tokens[1::2], None], strict=False):
        name = key[0]
        place = Place(file, number, key.start() + 1, len(name))
        if name not in _FIELDS or _FIELDS[name] in found:
            rule = f"a statement has words, base, parity and checks, each once, got {name!r}"
            problems.add(STATEMENT, rule, place, hint="" if name in _FIELDS else nearest(name, _FIELDS))
        elif value is None:
            problems.add(STATEMENT, f"{name} is followed by its value, got the end of the line", place)
        else:
            _state(found, name, value[0], Place(file, number, value.start() + 1, len(value[0])), problems)
    return found


def _state(found: dict[str, Any], name: str, value: str, place: Place, problems: Problems) -> None:
    if name == "words":
        size = int(value) if value.isascii() and value.isdigit() and len(value) < 4 else 0
        if not 4 <= size <= 64:
            problems.add(STATEMENT, f"a word has 4 to 64 data bits, got {value!r}", place)
        found[_FIELDS[name]] = size
        return
    if value not in _VALUES[name]:
        rule = f"{name} is {', '.join(_VALUES[name][:-1])} or {_VALUES[name][-1]}, got {value!r}"
        problems.add(STATEMENT, rule, place, hint=nearest(value, _VALUES[name]))
    found[_FIELDS[name]] = _NAMES.get(value) if name == "base" else value


def _agree(word: FileWord | None, stated: dict[str, Any], place: Place, text: str) -> FileWord:
    """Return the file's statement over what was asked for; InputError if they contradict each other.

    The base is the file's own business; word size and protection are not.
    """
    if word is None:
        return FileWord(**stated)
    for name in ("data_bits", "protection"):
        asked = getattr(word, name)
        if stated.get(name, asked) != asked:
            label = next(k for k, v in _FIELDS.items() if v == name)
            message = (
                f"the file agrees with what was asked for, got {label} {stated[name]} where {asked} was asked"
            )
            fail(DIFFERS, message, place, source_line=text)
    return evolve(word, **stated)


def write(image: MemoryImage, word: FileWord, file: str = "listing") -> str:
    """Return the listing, statement first; equal lines in a row are written as ``*``.

    InputError if a digit is only partly known (base 2 says all) or check bits would be lost.
    """
    texts = masked_digits(image, word, file)
    last = max(texts, default=0)
    size = min((word.words or last + 1) - 1, MAX_ADDRESS)
    address = WordFormat(max(size.bit_length(), last.bit_length(), 1), base=word.base)
    checks = f" parity {word.protection} checks {word.checks}" if word.protection != "none" else ""
    lines = [f"words {word.data_bits} base {BASE_NAMES[word.base]}{checks}"]
    for first, final in image.ranges():
        lines += _range_lines(texts, first, final, address, 8 if word.text.digits <= 6 else 4)
    return "\n".join(lines) + "\n"


def _range_lines(
    texts: dict[int, str], first: int, last: int, form: WordFormat, per_line: int
) -> Iterator[str]:
    before: list[str] = []
    skipped = False
    for start in range(first, last + 1, per_line):
        words = [texts[a] for a in range(start, min(start + per_line, last + 1))]
        if words == before:
            if not skipped:
                yield "*"
            skipped = True
            continue
        yield f"{form.text(start)}: {' '.join(words)}"
        before, skipped = words, False
    if skipped:
        end = last + 1
        yield f"{WordFormat(max(form.bits, end.bit_length()), base=form.base).text(end)}:"
