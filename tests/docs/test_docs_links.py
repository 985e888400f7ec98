"""Every link inside README.md, DEVELOPERS.md and docs/ leads to a file, and its fragment to a heading there."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LINK = re.compile(r"!?\[[^\]\n]*\]\(([^)\s]+)\)")
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    ROOT / "tests" / "README.md",
    *sorted((ROOT / "docs").rglob("*.md")),
]


def prose(page):
    """Return the page without its fenced blocks and its code."""
    text = re.sub(
        r"^(`{3,})[^\n]*\n.*?^\1$", "", page.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL
    )
    return re.sub(r"`[^`\n]*`", "", text)


def anchors(page):
    """Return the anchors of the headings of a page, as forges make them."""
    text = re.sub(
        r"^(`{3,})[^\n]*\n.*?^\1$", "", page.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL
    )
    found = set()
    for heading in re.findall(r"^#{1,6} +(.+?) *$", text, flags=re.MULTILINE):
        plain = re.sub(r"[^\w\- ]", "", heading.replace("`", "").lower())
        found.add(plain.replace(" ", "-"))
    return found


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page):
    broken = []
    for target in LINK.findall(prose(page)):
        if re.match(r"[a-z]+:", target):
            broken.append(f"{target}: a link out of the project")
            continue
        path, _, fragment = target.partition("#")
        there = (page.parent / path).resolve() if path else page
        if not there.exists():
            broken.append(f"{target}: no such file")
        elif fragment and fragment not in anchors(there):
            broken.append(f"{target}: no such heading")
    assert not broken


def test_a_broken_link_is_found(tmp_path):
    page = tmp_path / "p.md"
    page.write_text("# A heading, `code`\n[x](missing.md) `[y](z.md)`\n")
    assert LINK.findall(prose(page)) == ["missing.md"]
    assert anchors(page) == {"a-heading-code"}


def linked(page):
    """Return the pages that a page links to; a folder means its README.md."""
    found = {(page.parent / t.partition("#")[0]).resolve() for t in LINK.findall(prose(page))}
    return {p / "README.md" if p.is_dir() else p for p in found if p.suffix == ".md" or p.is_dir()}


def test_every_page_is_in_an_index():
    index = ROOT / "docs" / "README.md"
    listed = linked(index)
    indexes = {p for p in listed if p.name == "README.md" and p.is_relative_to(ROOT / "docs")}
    listed |= {p for other in indexes for p in linked(other)}
    pages = set((ROOT / "docs").rglob("*.md")) - {index}
    assert {p.relative_to(ROOT).as_posix() for p in pages - listed} == set()


def test_paths_that_developers_read_of_exist():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:emu|faults|tests|programs|docs)/[\w./-]+)`", text))
    named = {n for n in named if not re.search(r"NAME|MACHINE", n)}
    assert len(named) > 40
    assert {n for n in named if not (ROOT / n).exists()} == set()
