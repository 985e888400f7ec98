"""Text that is safe to show, without the folders of anybody's disk, and one way to write numbers."""

import re
import unicodedata

# a path that starts at the root, a home or a drive, at the start of a word of a command line
_FOLDERS = re.compile(
    r"""(?:(?<=^)|(?<=[\s=:,"'(@]))(?:[A-Za-z]:[\\/]|\\\\|~[^\s\\/]*[\\/]|/)(?:[^\s"']*[\\/])?"""
)

_PREFIX = {2: "0b", 8: "0o", 10: "", 16: "0x"}
_DIGITS = "0123456789abcdef"

# signs of our own texts, and common ones of the reader's, in plain ASCII
_ASCII = str.maketrans(
    {
        "→": "->",
        "←": "<-",
        "\N{MULTIPLICATION SIGN}": "x",
        "·": "|",
        "\N{EN DASH}": "-",
        "—": "-",
        "\N{MINUS SIGN}": "-",
        "…": "...",
        "≥": ">=",
        "≤": "<=",
        "µ": "u",
        "Ω": "ohm",
        "±": "+/-",
        "✓": "+",
        "“": '"',
        "”": '"',
        "\N{LEFT SINGLE QUOTATION MARK}": "'",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "─": "-",
        "━": "=",
        "│": "|",
        "█": "#",
        "▌": "#",
    }
)


def plain(text: str) -> str:
    """Return ``text`` with characters that could steer a terminal, a page or reading order made visible.

    Controls (but not newline and tab), surrogates, non-characters and direction overrides become U+FFFD.
    """
    return "".join(c if _harmless(c) else "\ufffd" for c in text)


def _harmless(c: str) -> bool:
    if c in "\n\t":
        return True
    if c < "\x7f":
        return c >= " "
    code = ord(c)
    if (
        code & 0xFFFE == 0xFFFE
        or 0xFDD0 <= code <= 0xFDEF
        or 0x2028 <= code <= 0x202E
        or 0x2066 <= code <= 0x2069
    ):
        return False
    return unicodedata.category(c) not in ("Cc", "Cs")


def without_folders(text: str) -> str:
    """Return ``text`` with the folders of absolute paths dropped: ``/a/b/case.toml`` -> ``case.toml``."""
    return _FOLDERS.sub("", text)


def address_text(address: int, base: int, words: int) -> str:
    """Return an address in ``base`` (2, 8, 10, 16), padded to the digits of the store's last word."""
    return _PREFIX[base] + _digits(address, base).rjust(len(_digits(max(words - 1, 0), base)), "0")


def number_text(value: int, base: int) -> str:
    """Return a count or distance in ``base``, unpadded, with its prefix."""
    return _PREFIX[base] + _digits(value, base)


def _digits(value: int, base: int) -> str:
    out = ""
    while value >= base:
        value, digit = divmod(value, base)
        out = _DIGITS[digit] + out
    return _DIGITS[value] + out


def to_ascii(text: str) -> str:
    """Return ``text`` in ASCII: known signs spelled out, accents dropped, the rest ``?``."""
    spelled = text.translate(_ASCII)
    bare = "".join(c for c in unicodedata.normalize("NFKD", spelled) if not unicodedata.combining(c))
    return bare.encode("ascii", "replace").decode("ascii")


def cells(text: str) -> int:
    """Return how many terminal columns ``text`` takes."""
    return sum(_cell(c) for c in text)


def _cell(c: str) -> int:
    if c < "\u0300":
        return 1
    if unicodedata.combining(c) or unicodedata.category(c) in ("Cf", "Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(c) in "WF" else 1


def wrap(text: str, width: int) -> list[str]:
    """Break ``text`` at spaces into lines of at most ``width`` columns; longer words are cut."""
    lines: list[str] = []
    for paragraph in plain(text).replace("\t", " ").split("\n"):
        lines += _wrap_line(paragraph, max(width, 2))
    return lines


def _wrap_line(text: str, width: int) -> list[str]:
    lines = [""]
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if cells(joined) <= width:
            lines[-1] = joined
            continue
        pieces = _cut(word, width)
        if not lines[-1]:
            lines.pop()
        lines += pieces
    return lines


def _cut(word: str, width: int) -> list[str]:
    """Cut a word that is wider than a line, after a slash or a plus sign where there is one."""
    pieces: list[str] = []
    while cells(word) > width:
        end = 0
        used = 0
        while end < len(word) and used + _cell(word[end]) <= width:
            used += _cell(word[end])
            end += 1
        sign = max(word.rfind("/", 1, end), word.rfind("+", 1, end), word.rfind(":", 1, end)) + 1
        end = sign if sign > end // 2 else end
        pieces.append(word[:end])
        word = word[end:]
    return [*pieces, word]
