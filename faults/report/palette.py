"""The colours, hatches and symbols of every word class, in a light and a dark theme.

The hues are the colour-blind-safe set of eight published by Okabe and Ito ("Color Universal Design",
2008); the assignment, the hatches and the symbols are our own. No class is told by colour alone: each
has a symbol that is the same on paper, in the page and on the terminal, and a hatch of its own.
"""

from typing import Literal

from attrs import frozen

from faults.report.model import VerdictWord, WordClass

OKABE_ITO = {
    "black": "#000000",
    "orange": "#E69F00",
    "sky": "#56B4E9",
    "green": "#009E73",
    "yellow": "#F0E442",
    "blue": "#0072B2",
    "vermilion": "#D55E00",
    "purple": "#CC79A7",
}

Hatch = Literal["none", "slash", "levels", "cross", "dots", "posts", "backslash"]


@frozen
class Shade:
    """A fill and the ink used upon it for hatch, symbol and outline."""

    fill: str
    ink: str


@frozen
class ClassStyle:
    """How one word class looks and what it means. ``gravity``: the higher is drawn when cells are shared."""

    symbol: str
    name: str
    meaning: str
    hatch: Hatch
    light: Shade
    dark: Shade
    gravity: int


_BLACK = OKABE_ITO["black"]


def _hued(symbol: str, name: str, meaning: str, hatch: Hatch, hue: str, gravity: int) -> ClassStyle:
    shade = Shade(OKABE_ITO[hue], _BLACK)
    return ClassStyle(symbol, name, meaning, hatch, shade, shade, gravity)


CLASSES: dict[WordClass, ClassStyle] = {
    "same": ClassStyle(
        ".", "as expected", "reads the word it should", "none",
        Shade("#D8DED7", "#1A1D21"), Shade("#3A424A", "#F1F3F5"), 0,
    ),
    "bits": _hued("B", "wrong bits", "some bits of the right word are wrong", "slash", "vermilion", 6),
    "copy": _hued("C", "copy of elsewhere", "reads whole, valid words of another region", "levels", "sky", 3),
    "zero": ClassStyle(
        "0", "all zero", "reads 0 in every bit, as if nothing were selected", "cross",
        Shade(_BLACK, "#FFFFFF"), Shade(_BLACK, "#FFFFFF"), 4,
    ),
    "merged": _hued("M", "merged", "several words read as one, bit by bit", "dots", "purple", 5),
    "unknown": _hued("?", "unknown", "differs, and no structure was recognised", "posts", "yellow", 2),
    "unread": ClassStyle(
        "-", "not read", "nobody has looked at these words", "backslash",
        Shade("#FFFFFF", "#545C65"), Shade("#171B1F", "#A9B2BB"), 1,
    ),
}  # fmt: skip


@frozen
class VerdictStyle:
    """Sign (and its ASCII form) of a verdict, with the hue of the sign."""

    sign: str
    ascii_sign: str
    hue: str


VERDICTS: dict[VerdictWord, VerdictStyle] = {
    "agrees": VerdictStyle("+", "+", OKABE_ITO["green"]),
    "contradicts": VerdictStyle("\N{MULTIPLICATION SIGN}", "x", OKABE_ITO["vermilion"]),
    "silent": VerdictStyle("○", "o", "muted"),
}


@frozen
class Theme:
    """The colours of the page around the figures. ``text`` and ``muted`` are text; the rest are graphics."""

    page: str
    card: str
    text: str
    muted: str
    rule: str
    accent: str
    caution: str
    agree: str
    against: str


LIGHT = Theme(
    page="#F7F6F1",
    card="#FFFFFF",
    text="#1A1D21",
    muted="#545C65",
    rule="#7C848D",
    accent=OKABE_ITO["blue"],
    caution=OKABE_ITO["vermilion"],
    agree="#00805D",
    against="#B34E00",
)
DARK = Theme(
    page="#14171A",
    card="#1C2024",
    text="#E9ECEF",
    muted="#A9B2BB",
    rule="#7A838C",
    accent=OKABE_ITO["sky"],
    caution=OKABE_ITO["orange"],
    agree="#19B88A",
    against="#F07A2B",
)
PRINT = Theme(
    page="#FFFFFF",
    card="#FFFFFF",
    text="#000000",
    muted="#3C434A",
    rule="#000000",
    accent="#000000",
    caution="#000000",
    agree="#000000",
    against="#000000",
)
