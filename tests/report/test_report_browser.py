"""The page in a real browser, offline: requests, console, themes, paper, keyboard, contrast as computed."""

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import attrs
import pytest

from faults.report import MemoryMap, Report, runs_of, to_html

playwright = pytest.importorskip("playwright.sync_api", reason="the extra 'browser' is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("/usr/bin/chromium")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="no chromium on the PATH"),
]
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

# contrast of every visible piece of text against the nearest painted ground, by WCAG 2.x
CONTRAST = """() => {
  const canvas = new OffscreenCanvas(1, 1).getContext('2d', {willReadFrequently: true});
  const rgba = (c) => { canvas.clearRect(0, 0, 1, 1); canvas.fillStyle = c; canvas.fillRect(0, 0, 1, 1);
    return [...canvas.getImageData(0, 0, 1, 1).data]; };
  const lum = (c) => [0, 1, 2].map(i => c[i] / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
  const ground = (e) => { for (; e; e = e.parentElement) { const c = rgba(getComputedStyle(e).backgroundColor);
    if (c[3] === 255) return c; } return [255, 255, 255, 255]; };
  const out = [];
  for (const e of document.body.querySelectorAll('*')) {
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own || e.closest('svg') || !e.checkVisibility()) continue;
    const [a, b] = [lum(rgba(getComputedStyle(e).color)), lum(ground(e))].sort((x, y) => x - y);
    out.push([e.tagName + '.' + e.className + ' ' + e.textContent.slice(0, 30), (b + 0.05) / (a + 0.05)]);
  }
  return out;
}"""


@pytest.fixture(scope="module")
def browser() -> Iterator[object]:
    with playwright.sync_playwright() as started:
        launched = started.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield launched
        launched.close()


@pytest.fixture(scope="module")
def written(rich_report: Report, tmp_path_factory: pytest.TempPathFactory) -> Path:
    held = tmp_path_factory.mktemp("report") / "gates.html"
    kinds = ["same" if address % 16 else "bits" for address in range(1024)]
    extra = MemoryMap("chip store", 1024, 64, runs_of(kinds), 16)
    held.write_text(to_html(attrs.evolve(rich_report, maps=(*rich_report.maps, extra))), encoding="utf-8")
    return held


@pytest.fixture
def opened(browser: object, written: Path) -> Iterator[object]:
    """Return a function that opens the page in a context of its own; requests and console are recorded."""
    contexts = []

    def open_page(**options: object) -> object:
        context = browser.new_context(offline=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.requests, page.messages = [], []
        page.on("request", lambda request: page.requests.append(request.url))
        page.on("console", lambda message: page.messages.append(message.text))
        page.on("pageerror", lambda error: page.messages.append(str(error)))
        page.goto(written.as_uri())
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.mark.parametrize("script", [True, False])
def test_opens_offline_without_a_word_of_complaint(opened, written, script) -> None:
    page = opened(java_script_enabled=script)
    assert page.requests == [written.as_uri()]
    assert page.messages == []
    assert page.locator("h1").inner_text() == "Gates stop half way since Tuesday"
    assert page.locator("#answer .big").is_visible()
    folded = page.locator("details li").first
    assert not folded.is_visible()
    page.locator("details summary").first.click()
    assert folded.is_visible()


def test_the_style_is_in_force(opened) -> None:
    """The policy names the style by its hash: a wrong hash would leave the page bare."""
    page = opened()
    assert page.evaluate("getComputedStyle(document.querySelector('.tag')).borderTopWidth") == "2px"


def test_answer_and_next_step_are_on_the_first_screen(opened) -> None:
    page = opened(viewport={"width": 1280, "height": 900})
    for place in ("#answer", "#confidence", "#next .do"):
        box = page.locator(place).first.bounding_box()
        assert box["y"] + box["height"] < 900


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_the_page_never_scrolls_sideways(opened, width) -> None:
    page = opened(viewport={"width": width, "height": 800})
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_contrast_of_all_text_as_computed(opened, scheme) -> None:
    page = opened(color_scheme=scheme)
    page.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    measured = page.evaluate(CONTRAST)
    assert len(measured) > 200
    assert [m for m in measured if m[1] < 4.5] == []


def test_dark_when_asked_and_light_on_paper(opened) -> None:
    ground = "getComputedStyle(document.body).backgroundColor"
    light, dark = opened(color_scheme="light"), opened(color_scheme="dark")
    assert sum(map(int, re.findall(r"\d+", light.evaluate(ground)))) > 700
    assert sum(map(int, re.findall(r"\d+", dark.evaluate(ground)))) < 100
    fill = "getComputedStyle(document.querySelector('.f-same')).fill"
    assert light.evaluate(fill) != dark.evaluate(fill)
    dark.emulate_media(media="print", color_scheme="dark")
    assert dark.evaluate(ground) == "rgb(255, 255, 255)"
    assert dark.evaluate("getComputedStyle(document.querySelector('h1')).color") == "rgb(0, 0, 0)"
    assert dark.evaluate(fill) == light.evaluate(fill)


def test_keyboard_reaches_the_skip_link_first(opened) -> None:
    page = opened()
    page.keyboard.press("Tab")
    link = page.locator("a.skip")
    assert link.evaluate("e => e === document.activeElement")
    assert link.bounding_box()["x"] >= 0
    page.keyboard.press("Enter")
    assert page.url.endswith("#answer")
    seen = set()
    for _ in range(20):
        page.keyboard.press("Tab")
        seen.add(page.evaluate("document.activeElement.tagName + '.' + document.activeElement.className"))
        outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
        assert outline == "solid" or page.evaluate("document.activeElement === document.body")
    assert {"DIV.scroll", "SUMMARY."} <= seen


def test_what_a_screen_reader_meets(opened) -> None:
    told = opened().locator("body").aria_snapshot()
    for said in (
        'heading "Gates stop half way since Tuesday" [level=1]',
        'heading "Prime suspect" [level=2]',
        'img "Memory map of woven store"',
        'img "How the probability is shared"',
        'columnheader "Observation"',
        'rowheader "Dump: 11 of 23 banks wrong, each a copy of the bank below"',
        'region "Candidates"',
    ):
        assert said in told
    assert "Bench notes" not in told


@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 595, 842), ("Letter", 612, 792)])
@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="no pdftotext on the PATH")
def test_paper_holds_everything(opened, rich_report, tmp_path, paper, width, height) -> None:
    held = tmp_path / "report.pdf"
    opened().pdf(path=held, format=paper, prefer_css_page_size=False)
    pages = subprocess.run(
        ["pdftotext", "-layout", str(held), "-"], capture_output=True, check=True, text=True
    ).stdout.split("\f")[:-1]
    assert len(pages) <= 12
    size = re.search(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", held.read_bytes())
    assert [float(size.group(1)), float(size.group(2))] == pytest.approx([width, height], abs=1)
    squeezed = "".join("".join(pages).split())
    for group in rich_report.groups:
        assert "".join(group.name.split()) in squeezed
        for member in group.members:
            assert "".join(member.fault.split()) in squeezed
    first = pages[0]
    for said in ("R3", "93 %", "Ring out connector J4 pin 12", "OFF and unplugged", "Bench notes", "octal"):
        assert said in first
    assert "Candidates" not in first
    assert "Candidates" in pages[1]
    # how wide the spaces are that are taken out again depends on the fonts that are there
    wanted = [re.compile(rf"(?<!\d){number} */ *{len(pages)}(?!\d)") for number in range(1, len(pages) + 1)]
    assert all(number.search(page) for number, page in zip(wanted, pages, strict=True))
    rows = [page for page in pages if len(re.findall(r"^ *0x[\da-f]+ +0x[\da-f]+ ", page, re.MULTILINE)) > 2]
    assert len(rows) >= 2, "the long table runs over several pages"
    assert all(re.search(r"First +Last +Words", page) for page in rows)
