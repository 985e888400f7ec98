"""Where a thing was said: a file, a line and a column."""

from attrs import frozen

_MOST_SHOWN = 200


@frozen(order=True)
class Place:
    """A place in an input file.

    ``line`` and ``column`` count from 1; 0 means "not known" (a whole-file problem).
    Columns count characters, a tab being one. ``length`` is how many characters to underline.
    """

    file: str
    line: int = 0
    column: int = 0
    length: int = 1

    def __str__(self) -> str:
        if not self.line:
            return self.file
        return f"{self.file}:{self.line}:{max(self.column, 1)}"


@frozen
class Source:
    """The text of an input file, kept so that an error can show the line it speaks of."""

    file: str
    text: str

    def line(self, number: int) -> str:
        """Return line ``number`` (from 1) without its end, or "" if there is none."""
        # Not splitlines(): it also breaks at form feeds and the like, which place() does not count.
        lines = self.text.split("\n")
        return lines[number - 1].removesuffix("\r") if 0 < number <= len(lines) else ""

    def excerpt(self, place: Place) -> str:
        """Return the line to show under an error at ``place``.

        At most 200 characters of it, and "" if the place lies further right or in another file: a hostile
        file of one huge line must not fill the screen.
        """
        if place.file != self.file or place.column > _MOST_SHOWN:
            return ""
        return self.line(place.line)[:_MOST_SHOWN]

    def place(self, offset: int, length: int = 1) -> Place:
        """Return the place of the character at ``offset`` (from 0) of the text."""
        before = self.text[:offset]
        line = before.count("\n") + 1
        return Place(self.file, line, offset - (before.rfind("\n") + 1) + 1, length)
