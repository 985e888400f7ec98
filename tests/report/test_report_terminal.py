"""The report on a terminal: first lines, widths, colour, ASCII, golden pages."""

import re

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faults.report import Report, can_draw, to_terminal
from faults.report.text import cells

ESCAPE = re.compile(r"\x1b\[[\d;]*m")


def test_golden_pages(rich_report: Report, golden: object) -> None:
    golden("terminal-80.txt", to_terminal(rich_report, width=80))
    golden("terminal-120.txt", to_terminal(rich_report, width=120))
    golden("terminal-80-ascii.txt", to_terminal(rich_report, width=80, unicode=False))


def test_answer_confidence_and_next_step_come_first(rich_report: Report) -> None:
    lines = to_terminal(rich_report, width=200).splitlines()
    assert [line.split("  ")[0] for line in lines[:5]] == ["Answer", "Where", "Standing", "Confidence", ""]
    assert lines[5].startswith("Next step   Ring out connector J4")
    assert "93 %, very likely" in lines[3]


@pytest.mark.parametrize("width", [1, 40, 50, 63, 79, 80, 100, 120, 200])
@pytest.mark.parametrize("unicode", [True, False])
def test_no_line_is_wider_than_asked(rich_report: Report, width: int, unicode: bool) -> None:
    for line in to_terminal(rich_report, width=width, unicode=unicode).splitlines():
        assert cells(line) <= max(width, 40)


@pytest.mark.parametrize("width", [40, 80, 120])
def test_no_candidate_is_cut_at_any_width(rich_report: Report, width: int) -> None:
    squeezed = "".join(to_terminal(rich_report, width=width).split())
    for group in rich_report.groups:
        for member in group.members:
            assert "".join(member.fault.split()) in squeezed


def test_colour_adds_nothing_but_colour(rich_report: Report) -> None:
    painted = to_terminal(rich_report, width=90, colour=True)
    assert ESCAPE.search(painted)
    assert ESCAPE.sub("", painted) == to_terminal(rich_report, width=90)


@settings(max_examples=30, deadline=None)
@given(st.text(st.characters(codec=None, exclude_categories=()), max_size=30))
def test_hostile_text_cannot_steer_the_terminal(rich_report: Report, text: str) -> None:
    wild = attrs.evolve(
        rich_report, title=text, question=text, unexplained=(text,), limits=(text,), command=text
    )
    shown = to_terminal(wild, width=70)
    assert not [c for c in shown if (c < " " and c != "\n") or "\x7f" <= c <= "\x9f"]
    assert to_terminal(wild, width=70, unicode=False).isascii()


def test_bare_report(bare_report: Report) -> None:
    assert to_terminal(bare_report, width=60, unicode=False) == "Nothing to say " + "-" * 45 + "\n"


@pytest.mark.parametrize(
    ("encoding", "drawn"),
    [
        ("utf-8", True),
        ("ascii", False),
        ("latin-1", False),
        ("cp1252", False),
        (None, False),
        ("no-such", False),
    ],
)
def test_which_encodings_can_draw(encoding: str | None, drawn: bool) -> None:
    assert can_draw(encoding) is drawn
