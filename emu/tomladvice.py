"""What to advise for the commonest slips in TOML."""

import re
from typing import Final

from attrs import frozen

_COMMENT = "a comment begins with #"
_ZERO = "a number does not begin with 0; octal is written 0o17, hexadecimal 0x0f"
_PAIR = "a line is one key = value, a [table], or a # comment"


@frozen
class _Slip:
    """How the reader's message begins, what stands before and after the place, and the advice.

    ``{}`` in the advice is replaced with what ``after`` matched.
    """

    said: str
    before: str
    after: str
    advice: str


_SLIPS: Final = (
    _Slip(
        "Invalid value", "", "(?i:true|false)", "truth values are written true and false, in small letters"
    ),
    _Slip("Invalid value", "", r"[A-Za-z_][\w.-]*", 'text needs quotes: "{}"'),
    _Slip("Invalid value", "", "[\u201c\u201d\u2018\u2019\u00ab]", "use straight quotes: \" or '"),
    _Slip("Invalid value", "", r"\.\d", "write a digit before the point: 0{}"),
    _Slip(
        "Invalid value", "", "", "a value is a number, true, false, a date, a quoted string, [..] or {{..}}"
    ),
    _Slip("Invalid statement", "", "[;/]", _COMMENT),
    _Slip("Invalid statement", "", r"\w+", 'a key with other letters than a to z needs quotes: "{}"'),
    _Slip("Invalid statement", "", "", _PAIR),
    _Slip("Expected '='", "", r"\w", "a key of several words needs quotes; then write key = value"),
    _Slip("Expected '='", "", "", "write key = value"),
    _Slip("Expected newline", "", "[;/]", _COMMENT),
    _Slip("Expected newline", r"[=,\[]\s*[+-]?0\Z", r"\d", _ZERO),
    _Slip("Expected newline", r"\d{4}\Z", "-", "a date is written 2024-05-31, and must exist"),
    _Slip("Expected newline", r"\d\Z", "_", "an underscore stands between two digits"),
    _Slip("Expected newline", r"[=,\[]\s*[+-]?[\d_]+\Z", r"[.\w]", "this is no number; text needs quotes"),
    _Slip("Expected newline", "", "", "only one key = value, or one [table], stands on a line"),
    _Slip("Unclosed array", r"[=,\[]\s*[+-]?0\Z", r"\d", _ZERO),
    _Slip("Unclosed array", "", r"\S", "entries of an array are separated by commas"),
    _Slip("Unclosed inline table", "", r"\S", "entries of an inline table are separated by commas"),
    _Slip("Unclosed inline table", "", "", "an inline table stands on one line"),
    _Slip("Invalid initial character", "", "}", "no comma stands before the closing brace"),
    _Slip(
        "Invalid initial character", "", "", "a key is made of letters a to z, digits, - and _, or is quoted"
    ),
    _Slip(
        "Illegal character '\\n'", "", "", 'close the quotes on the same line; text of several lines has """'
    ),
    _Slip("Unescaped '\\'", "", "", "in a string, write two backslashes, or use 'single quotes'"),
)


def advice(message: str, line: str, column: int) -> str:
    """Return advice for what the reader said of ``column`` (from 1) of ``line``, or ""."""
    before, rest = line[: column - 1], line[column - 1 :]
    for slip in _SLIPS:
        found = re.match(slip.after, rest)
        if found and message.startswith(slip.said) and re.search(slip.before, before):
            return slip.advice.format(found[0][:40])
    return ""
