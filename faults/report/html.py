"""A report as one HTML file: no script, no network, the same bytes for the same report."""

from faults.report import sections
from faults.report.markup import Markup, el, joined
from faults.report.model import AnswerKind, Confidence, Report, percent
from faults.report.sections import NOTHING, caution_block, plain_list, step_block, titled
from faults.report.style import style_hash, stylesheet
from faults.report.wording import BASIS_LINES, HYPOTHESIS, VERDICT_LINES, unexplained_line


def to_html(report: Report) -> str:
    """Return the whole page as text, to be written as UTF-8."""
    css = stylesheet()
    page = el("html", _head(report, css), Markup("\n"), _body(report), lang="en")
    return f"<!doctype html>\n{page}\n"


def _head(report: Report, css: str) -> Markup:
    policy = f"default-src 'none'; style-src {style_hash(css)}; base-uri 'none'; form-action 'none'"
    return el(
        "head",
        joined(
            (
                el("meta", charset="utf-8"),
                el("meta", http_equiv="Content-Security-Policy", content=policy),
                el("meta", name="viewport", content="width=device-width, initial-scale=1"),
                el("meta", name="color-scheme", content="light dark"),
                el("title", f"{report.title} - {kicker(report)[0]}"),
                el("style", Markup(css)),
            )
        ),
    )


def _body(report: Report) -> Markup:
    parts = (
        el("a", "Skip to the answer", href="#answer", class_="skip"),
        _masthead(report),
        el("main", joined(_sections(report)), id="main"),
    )
    return el("body", joined(parts))


def _sections(report: Report) -> list[Markup]:
    made = (
        answer(report),
        next_step(report),
        numbering_and_cautions(report),
        sections.bench_notes() if report.steps else NOTHING,
        sections.candidates(report),
        sections.agreement(report.agreement),
        sections.unexplained(report),
        sections.memory_maps(report),
        sections.story(report),
        sections.symptoms(report),
        sections.later_steps(report),
        sections.history(report),
        sections.limits(report),
        sections.provenance(report),
    )
    return [part for part in made if part]


def kicker(report: Report) -> tuple[str, str]:
    """Return the two ends of the line above the title: what sheet this is, for which machine."""
    return (f"Corewright {report.kind}".strip() + " sheet", report.machine)


def _masthead(report: Report) -> Markup:
    left, right = kicker(report)
    return el(
        "header",
        el("p", el("span", left), el("span", right), class_="kicker"),
        el("h1", report.title),
        el("p", report.question, class_="question", id="question") if report.question else NOTHING,
    )


def answer(report: Report) -> Markup:
    """Return the tag at the top: the answer, the site in the reader's labels, how sure it is."""
    given, sure = report.answer, report.confidence
    if given is None and sure is None:
        return NOTHING
    kind: AnswerKind = given.kind if given else "result"
    said = [el("p", given.sentence, class_="sentence")] if given else []
    if given and given.site:
        pairs = joined(el("div", el("dt", name), el("dd", label)) for name, label in given.site)
        said.append(el("dl", pairs, class_="site"))
    if given and given.fault:
        said.append(el("p", "In notation ", el("code", given.fault), class_="notation muted"))
    if report.unexplained:
        said.append(el("p", unexplained_line(report), class_="words"))
    if kind in ("suspect", "group"):
        said.append(el("p", HYPOTHESIS, class_="muted"))
    return el(
        "section",
        el("div", class_="hole", aria_hidden="true"),
        el("div", el("div", el("h2", VERDICT_LINES[kind]), joined(said)), confidence(sure), class_="plate"),
        class_="tag",
        id="answer",
    )


def confidence(sure: Confidence | None) -> Markup:
    """Return the figure, the words and what they rest on."""
    if sure is None:
        return NOTHING
    return el(
        "div",
        el("h3", "Confidence"),
        el("p", percent(sure.permille), class_="big"),
        el("p", sure.words, class_="words") if sure.words else NOTHING,
        el("p", BASIS_LINES[sure.basis], class_="muted") if BASIS_LINES[sure.basis] else NOTHING,
        el("p", sure.note, class_="muted") if sure.note else NOTHING,
        class_="sure",
        id="confidence",
    )


def next_step(report: Report) -> Markup:
    """Return the one thing to do next."""
    if not report.steps:
        return NOTHING
    return titled("next", "Next step", step_block(report.steps[0]))


def numbering_and_cautions(report: Report) -> Markup:
    """Return how bits and addresses are written here, and the general cautions."""
    halves = []
    if report.numbering:
        halves.append(titled("numbering", "How numbers are written", plain_list(report.numbering)))
    if report.cautions:
        blocks = (caution_block(c) for c in report.cautions)
        halves.append(titled("cautions", "Before you touch it", *blocks))
    return el("div", joined(halves), class_="pair" if len(halves) == 2 else None) if halves else NOTHING
