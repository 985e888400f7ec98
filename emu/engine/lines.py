"""Text being written, line by line."""

from attrs import define, field


@define
class Lines:
    """Text being written, line by line, with its indentation."""

    lines: list[str] = field(factory=list)
    depth: int = 0
    names: int = 0

    def line(self, text: str) -> None:
        """Write a line."""
        self.lines.append("    " * self.depth + text)

    def name(self) -> str:
        """Return a fresh name."""
        self.names += 1
        return f"t{self.names}"

    def indent(self, by: int = 1) -> None:
        """Go in (or out)."""
        self.depth += by

    def block(self, head: str, body: list[str]) -> None:
        """Write a head and its indented body."""
        self.line(head)
        self.indent()
        for text in body:
            self.line(text)
        self.indent(-1)
