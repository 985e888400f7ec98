"""The page, without a browser: structure, escaping, size, privacy, the same bytes twice."""

import base64
import hashlib
import os
import re
import subprocess
import sys
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree as ET

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faults.report import MemoryMap, Report, runs_of, to_html
from faults.report.maplayout import lay_out
from faults.report.svg import memory_figure
from faults.report.text import plain

VOID = {"meta", "br", "hr", "link", "img", "input"}


class Walk(HTMLParser):
    """Collects elements in order, text, and checks that tags nest."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text: list[str] = []
        self.texts: dict[str, list[str]] = {}

    def handle_starttag(self, tag: str, attributes: list) -> None:
        self.elements.append((tag, dict(attributes)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)
        self.texts.setdefault(self.open[-1] if self.open else "", []).append(data)

    def named(self, *names: str) -> list[tuple[str, dict]]:
        return [(tag, a) for tag, a in self.elements if tag in names]


def walk(page: str) -> Walk:
    walked = Walk()
    walked.feed(page)
    walked.close()
    assert walked.open == []
    return walked


@pytest.fixture(scope="module")
def page(rich_report: Report) -> str:
    return to_html(rich_report)


@pytest.fixture(scope="module")
def walked(page: str) -> Walk:
    return walk(page)


def test_one_file_without_network_or_script(page: str, walked: Walk) -> None:
    assert not walked.named("script", "link", "img", "iframe", "object", "embed", "form", "base", "image")
    for _, attributes in walked.elements:
        assert not [name for name in attributes if name.startswith("on") or name == "style"]
        for name in ("src", "href", "action", "data", "xlink:href"):
            assert (attributes.get(name) or "#").startswith("#")
    assert "http://" not in page
    assert "https://" not in page
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)\)", page))
    assert "@import" not in page


def test_the_policy_allows_this_style_and_nothing_else(page: str, walked: Walk) -> None:
    (policy,) = [
        a["content"] for _, a in walked.named("meta") if a.get("http-equiv") == "Content-Security-Policy"
    ]
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL).group(1)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["style-src"] == f"'sha256-{digest}'"
    assert page.index("Content-Security-Policy") < page.index("<style>")


def test_headings_landmarks_and_language(page: str, walked: Walk) -> None:
    assert page.startswith("<!doctype html>\n")
    assert walked.named("html")[0][1]["lang"] == "en"
    levels = [int(tag[1]) for tag, _ in walked.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))
    assert len(walked.named("main")) == 1
    links = [a for _, a in walked.named("a")]
    ids = [a["id"] for _, a in walked.elements if "id" in a]
    assert len(ids) == len(set(ids))
    assert links[0]["class"] == "skip"
    assert links[0]["href"] == "#answer"
    assert {a["href"][1:] for a in links} <= set(ids)
    assert {"charset": "utf-8"} in [a for _, a in walked.named("meta")]
    assert "color-scheme" in [a.get("name") for _, a in walked.named("meta")]


def test_the_first_screen_comes_first_and_in_order(walked: Walk) -> None:
    ids = [a["id"] for _, a in walked.elements if "id" in a]
    first = ["question", "answer", "confidence", "next", "numbering", "cautions", "candidates"]
    places = [ids.index(name) for name in first]
    assert places == sorted(places)


def test_tables_say_what_they_are(page: str, walked: Walk) -> None:
    tables = re.findall(r"<table.*?</table>", page, re.DOTALL)
    assert len(tables) >= 6
    for text in tables:
        table = walk(text)
        assert len(table.named("caption")) == 1
        assert len(table.named("thead")) == 1
        assert all(a.get("scope") in ("col", "row") for _, a in table.named("th"))
        rows = re.findall(r"<tr>.*?</tr>", text, re.DOTALL)
        assert len({len(re.findall(r"<t[hd][ >]", row)) for row in rows}) == 1
    assert all(a.get("tabindex") == "0" for _, a in walked.elements if a.get("class") == "scroll")


def test_every_figure_has_a_name_a_description_and_a_table(page: str, walked: Walk) -> None:
    ids = {a["id"]: tag for tag, a in walked.elements if "id" in a}
    figures = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    assert len(figures) == 3
    for text in figures:
        root = ET.fromstring(text)
        assert root.get("role") == "img"
        assert ids[root.get("aria-labelledby")] == "title"
        assert root.find("title").text
        assert root.find("desc").text
        described = root.get("aria-describedby").split()
        assert [ids[name] for name in described] == ["desc", "table"]
        patterns = {p.get("id") for p in root.iter("pattern")}
        fills = {e.get("fill") for e in root.iter() if (e.get("fill") or "").startswith("url")}
        assert fills <= {f"url(#{name})" for name in patterns}
    assert not [a for tag, a in walked.elements if tag == "pattern" and "id" not in a]


def test_everything_of_the_report_is_said(rich_report: Report, walked: Walk) -> None:
    said = " ".join("".join(walked.text).split())
    silent = {"columns", "base", "kind", "word", "permille", "first", "count", "words", "name", "source"}

    def strings(value: object, name: str = "") -> list[str]:
        if isinstance(value, str):
            return [] if name in silent else [value]
        if isinstance(value, tuple):
            return [s for item in value for s in strings(item)]
        if attrs.has(type(value)):
            return [s for f in attrs.fields(type(value)) for s in strings(getattr(value, f.name), f.name)]
        return []

    wanted = [
        s
        for s in strings(rich_report)
        if s not in ("suspect", "calibrated", "fault", "pair", "misread", "nothing")
    ]
    assert len(wanted) > 120
    missing = [s for s in wanted if s not in said and s != "match"]
    assert missing == []


def test_bare_report_is_a_page(bare_report: Report) -> None:
    walked = walk(to_html(bare_report))
    assert "Nothing to say" in "".join(walked.texts["h1"])
    assert not walked.named("svg", "table", "h2")


HOSTILE = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        [
            "<script>alert(1)</script>",
            "</style><script>",
            "\"'><img src=x onerror=y>",
            "&lt;b&gt;",
            "--><!--",
            "]]>",
            "</title></svg>",
            "\x00\x1b[31m\x7f\x85\ud800\ufffe\u202e",
            "a" * 300,
        ]
    ),
)


def filled(value: object, text: str) -> object:
    """Return a copy of a report with ``text`` after every free string."""
    fixed = {"kind", "word", "basis", "sha256"}
    if isinstance(value, str):
        return value + text
    if isinstance(value, tuple):
        return tuple(filled(item, text) for item in value)
    if not attrs.has(type(value)):
        return value
    names = [f.name for f in attrs.fields(type(value))]
    keep = fixed if not isinstance(value, Report) else set()
    return type(value)(
        **{n: getattr(value, n) if n in keep else filled(getattr(value, n), text) for n in names}
    )


@settings(max_examples=25, deadline=None)
@given(HOSTILE)
def test_hostile_text_never_becomes_markup(rich_report: Report, text: str) -> None:
    tame, wild = walk(to_html(filled(rich_report, "zz"))), walk(to_html(filled(rich_report, f"zz{text}")))
    assert [tag for tag, _ in wild.elements] == [tag for tag, _ in tame.elements]
    assert [sorted(a) for _, a in wild.elements] == [sorted(a) for _, a in tame.elements]
    page = to_html(filled(rich_report, text))
    page.encode("utf-8")
    for figure in re.findall(r"<svg.*?</svg>", page, re.DOTALL):
        ET.fromstring(figure)
    if "\r" not in text:
        assert rich_report.title + plain(text) in "".join(wild.texts["h1"]).replace("zz", "", 1)


def worst_map() -> MemoryMap:
    kinds = ("same", "bits", "copy", "zero", "merged", "unknown", "unread")
    return MemoryMap(
        "chips", 65_536, 1024, runs_of([kinds[(a * 2_654_435_761 >> 7) % 7] for a in range(65_536)]), 16
    )


def test_size_of_the_worst_case_of_65536_words(rich_report: Report) -> None:
    memory = worst_map()
    assert len(memory.runs) > 40_000
    page = to_html(attrs.evolve(rich_report, maps=(memory,)))
    assert len(page.encode()) < 1_000_000
    assert "runs are too many to list" in page


def test_no_absolute_path_nor_user_nor_host(rich_report: Report) -> None:
    away = attrs.evolve(
        rich_report, command=f"corewright match {Path.home()}/cases/gates.case.toml -o {Path.cwd()}/o.html"
    )
    page = to_html(away)
    assert "corewright match gates.case.toml -o o.html" in page
    assert str(Path.home()) + "/" not in page
    assert str(Path.cwd()) not in page
    assert not re.findall(r"""(?<![\w.<)/])/(?:home|root|tmp|usr|work|Users|var)\b""", page)


def test_same_report_same_bytes_in_any_process(bare_report: Report) -> None:
    code = (
        "import sys; from faults.report import *; "
        "m = MemoryMap('core', 64, 8, runs_of(['same', 'bits', 'copy', 'zero'] * 16)); "
        "sys.stdout.buffer.write(to_html(Report('t', maps=(m,), groups=(Group(1, 900, 'g'),))).encode())"
    )
    pages = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(pages) == 1


def test_golden_figures(rich_report: Report, golden: object) -> None:
    for memory, name in zip(rich_report.maps, ("woven", "core"), strict=True):
        golden(f"map-{name}.svg.txt", memory_figure(memory, lay_out(memory), name, f"{name}-table") + "\n")
