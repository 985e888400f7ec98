"""Colours: the published set, contrast by WCAG 2.x, distance as people with colour blindness see it.

The contrast formula and the thresholds 4.5 and 3 are those of WCAG 2.1, success criteria 1.4.3 and 1.4.11
(from memory; black on white is 21 by definition). The simulation matrices are those of Machado, Oliveira
and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency" (2009), full
severity, on linear RGB (from memory; each row must sum to 1, so that grey stays grey). Distances are
CIE 1976 differences; 10 is a floor of our own, "clearly another colour side by side".
"""

from itertools import combinations

import pytest
from attrs import fields

from faults.report.palette import CLASSES, DARK, LIGHT, OKABE_ITO, PRINT, VERDICTS, Theme

MACHADO = {
    "normal": ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
}


def linear(colour: str) -> list[float]:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    return [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]


def luminance(colour: str) -> float:
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear(colour), strict=True))


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def lab(colour: str, sight: str) -> tuple[float, float, float]:
    """CIE L*a*b* (D65) of a colour as seen with ``sight``."""
    rgb = [
        min(1, max(0, sum(m * c for m, c in zip(row, linear(colour), strict=True)))) for row in MACHADO[sight]
    ]
    matrix = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    xyz = [sum(m * c for m, c in zip(row, rgb, strict=True)) for row in matrix]
    x, y, z = (
        t ** (1 / 3) if t > 216 / 24389 else (24389 / 27 * t + 16) / 116
        for t in (v / w for v, w in zip(xyz, (0.9505, 1.0, 1.089), strict=True))
    )
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def distance(one: str, other: str, sight: str) -> float:
    return sum((a - b) ** 2 for a, b in zip(lab(one, sight), lab(other, sight), strict=True)) ** 0.5


def test_the_tools_of_this_test() -> None:
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert lab("#FFFFFF", "normal") == pytest.approx((100, 0, 0), abs=0.1)
    for rows in MACHADO.values():
        assert [sum(row) for row in rows] == pytest.approx([1, 1, 1], abs=1e-5)
    # pure red and a dark green are the textbook confusion: far apart in sight, close without it
    assert distance("#A05020", "#608020", "deuteranopia") < distance("#A05020", "#608020", "normal") / 2


def test_the_hues_are_the_published_ones() -> None:
    published = "#000000 #E69F00 #56B4E9 #009E73 #F0E442 #0072B2 #D55E00 #CC79A7"
    assert list(OKABE_ITO.values()) == published.split()


@pytest.mark.parametrize("theme", [LIGHT, DARK, PRINT])
def test_text_and_graphics_stand_out_from_the_page(theme: Theme) -> None:
    for ground in (theme.page, theme.card):
        for text in (theme.text, theme.muted, theme.accent, theme.agree, theme.against):
            assert contrast(text, ground) >= 4.5
        for graphic in (theme.rule, theme.caution):
            assert contrast(graphic, ground) >= 3
    assert {f.name for f in fields(Theme)} == {
        "page", "card", "text", "muted", "rule", "accent", "caution", "agree", "against",
    }  # fmt: skip


@pytest.mark.parametrize("dark", [False, True])
def test_symbol_and_hatch_stand_out_from_their_fill(dark: bool) -> None:
    for style in CLASSES.values():
        shade = style.dark if dark else style.light
        assert contrast(shade.fill, shade.ink) >= 4.5, style.name


@pytest.mark.parametrize("sight", MACHADO)
@pytest.mark.parametrize("dark", [False, True])
def test_fills_differ_in_every_sight(dark: bool, sight: str) -> None:
    fills = {key: (style.dark if dark else style.light).fill for key, style in CLASSES.items()}
    for one, other in combinations(fills, 2):
        assert distance(fills[one], fills[other], sight) >= 10, (one, other)


def test_no_class_is_told_by_colour_alone() -> None:
    assert len({s.symbol for s in CLASSES.values()}) == len(CLASSES)
    assert all(len(s.symbol) == 1 and s.symbol.isascii() for s in CLASSES.values())
    assert len({s.hatch for s in CLASSES.values()}) == len(CLASSES)
    assert len({s.gravity for s in CLASSES.values()}) == len(CLASSES)
    assert len({v.sign for v in VERDICTS.values()}) == len({v.ascii_sign for v in VERDICTS.values()}) == 3
