"""The sections of the page below its first screen, each empty where the report has nothing to say."""

from collections.abc import Iterator

from faults.counts import counted
from faults.report.maplayout import alias_sentences, block_counts, describe_run, lay_out
from faults.report.markup import Markup, el, joined, table
from faults.report.model import (
    Agreement,
    AgreementRow,
    Event,
    Group,
    MemoryMap,
    Outcome,
    Report,
    Step,
    Verdict,
    percent,
    total_words,
)
from faults.report.palette import CLASSES, VERDICTS
from faults.report.svg import bars_figure, memory_figure
from faults.report.text import address_text
from faults.report.wording import event_place, power_text

NOTHING = Markup("")
MAX_RUNS = 400
_OPEN_MEMBERS = 12
_MAX_BARS = 10


def titled(id_: str, title: str, *parts: str) -> Markup:
    """Return a section with its heading."""
    return el("section", el("h2", title), joined(("", *parts, "")), id=id_)


def scrolled(content: Markup, label: str) -> Markup:
    """Wrap a wide table so that it scrolls by keyboard too."""
    return el("div", content, class_="scroll", role="region", tabindex="0", aria_label=label)


def step_block(step: Step) -> Markup:
    """Return one step with its place, cost, outcomes (with boxes to tick) and caution."""
    facts = [("Where", step.where)] if step.where else []
    if step.minutes is not None:
        facts.append(("Time", counted(step.minutes, "minute")))
    if step.powered is not None:
        facts.append(("Power", power_text(powered=step.powered)))
    return el(
        "div",
        el("p", step.action, class_="do"),
        el("dl", joined(el("div", el("dt", k), el("dd", v)) for k, v in facts), class_="facts")
        if facts
        else "",
        el("p", step.why) if step.why else "",
        el("ul", joined(_outcome(o) for o in step.outcomes), class_="outcomes") if step.outcomes else "",
        caution_block(step.caution) if step.caution else "",
        class_="step",
    )


def _outcome(outcome: Outcome) -> Markup:
    chance = NOTHING if outcome.permille is None else el("span", percent(outcome.permille), class_="chip")
    return el("li", el("strong", outcome.seen), chance, el("span", outcome.leaves, class_="sub"))


def caution_block(text: str) -> Markup:
    """Return one caution, marked by a word and not by colour alone."""
    return el("p", el("b", "Caution"), text, class_="caution")


def candidates(report: Report) -> Markup:
    """Return the groups that no observation so far can tell apart, with every member."""
    if not report.groups:
        return NOTHING
    heads = ("Rank", "Probability", "What it would be, and every member", "What would split it")
    rows = [
        (str(g.rank), el("span", percent(g.permille), class_="share"), _group(g), g.split or "nothing listed")
        for g in report.groups
    ]
    shown = report.groups[:_MAX_BARS]
    more = len(report.groups) - len(shown)
    figure = el(
        "figure",
        bars_figure(shown, "bars", "groups-table"),
        el(
            "figcaption",
            "Solid: faults. Dashed: other explanations."
            + (f" {counted(more, 'more group')} in the table." if more > 0 else ""),
        ),
    )
    caption = "Groups of faults that the observations so far cannot tell apart, best first"
    return titled(
        "candidates",
        "Candidates",
        figure,
        scrolled(table(caption, heads, rows, id_="groups-table"), "Candidates"),
        el("p", report.groups_note, class_="muted") if report.groups_note else NOTHING,
    )


def _group(group: Group) -> Markup:
    items = joined(
        el("li", el("code", m.fault), el("span", m.label, class_="sub") if m.label else "")
        for m in group.members
    )
    members = el("ul", items, class_="members") if group.members else NOTHING
    if len(group.members) > _OPEN_MEMBERS:
        summary = f"All {counted(len(group.members), 'member')}"
        members = el("details", el("summary", summary), members)
    label = el("span", group.label, class_="sub") if group.label else NOTHING
    return joined((el("strong", group.name), label, members), "")


def agreement(held: Agreement | None) -> Markup:
    """Return what each top candidate says of each observation, with the reason."""
    if held is None:
        return NOTHING
    rows = [(_observation(row), *(_verdict(v) for v in row.verdicts)) for row in held.rows]
    content = table(
        "+ agrees, \N{MULTIPLICATION SIGN} contradicts, ○ says nothing; each with its reason",
        ("Observation", *held.columns),
        rows,
        id_="agreement-table",
        class_="agree",
    )
    return titled("agreement", "What agrees and what does not", scrolled(content, "Agreement"))


def _observation(row: AgreementRow) -> Markup:
    chip = el("span", "passed", class_="chip") if row.passed else NOTHING
    return joined((row.observation, chip), "")


def _verdict(verdict: Verdict) -> Markup:
    sign = el("span", VERDICTS[verdict.word].sign, class_="sign", aria_hidden="true")
    reason = el("span", verdict.reason, class_="sub") if verdict.reason else NOTHING
    return el("div", sign, verdict.word, reason, class_=verdict.word)


def unexplained(report: Report) -> Markup:
    """Return the observations that the answer does not explain."""
    if not report.unexplained:
        return NOTHING
    return titled("unexplained", "Not explained by the answer", plain_list(report.unexplained))


def plain_list(items: tuple[str, ...]) -> Markup:
    """Return a list without bullets."""
    return el("ul", joined(el("li", item) for item in items), class_="plainlist measure")


def memory_maps(report: Report) -> Markup:
    """Return every store's map, expected against read."""
    if not report.maps:
        return NOTHING
    return titled(
        "maps", "Memory: expected against read", *(_map(m, i) for i, m in enumerate(report.maps, start=1))
    )


def _map(memory: MemoryMap, index: int) -> Markup:
    layout = lay_out(memory)
    table_id = f"map{index}-table"
    scale = (
        f"Each row holds {counted(layout.row_words, 'word')}, each cell {counted(layout.cell_words, 'word')}."
    )
    if layout.cell_words > 1 and any(s.second for s in layout.segments):
        scale += " A cell of two looks holds words of several classes: the graver one above."
    if layout.arrows:
        scale += " An arrow runs from the words that are shown to the place that shows them."
    if layout.arrows_left_out:
        scale += f" {counted(layout.arrows_left_out, 'further arrow')} not drawn: see the table."
    return joined(
        (
            el("h3", f"{memory.store}: {counted(memory.words, 'word')}"),
            el("p", " ".join((memory.note, *alias_sentences(memory))).strip(), class_="measure"),
            el(
                "figure",
                memory_figure(memory, layout, f"map{index}", table_id),
                el("figcaption", scale),
            ),
            _map_table(memory, table_id),
        )
    )


def _map_table(memory: MemoryMap, table_id: str) -> Markup:
    counts = total_words(memory.whole())
    said = ", ".join(f"{CLASSES[k].symbol} {CLASSES[k].name} {n:,}" for k, n in counts.items() if n)
    runs = tuple(run for run in memory.whole() if run.kind != "same") or memory.whole()
    if "same" in counts and counts["same"] < memory.words:
        said += " (not listed: as expected)"
    if len(runs) > MAX_RUNS:
        return _block_table(memory, table_id, said, len(runs))
    heads = ("First", "Last", "Words", "Class", "Detail")
    rows = [describe_run(run, memory) for run in runs]
    content = table(f"Words by class: {said}", heads, rows, id_=table_id, class_="runs")
    return _folded(f"Table of {counted(len(runs), 'run')} in {memory.store}", content)


def _block_table(memory: MemoryMap, table_id: str, said: str, runs: int) -> Markup:
    """Sum up by block where the runs are too many to print, and say so."""
    block = lay_out(memory).row_words
    rows = [
        (
            address_text(at, memory.base, memory.words),
            *(f"{held[kind]:,}" if held[kind] else "" for kind in CLASSES),
        )
        for at, held in block_counts(memory, block)
    ]
    caption = (
        f"Words by class: {said}. {counted(runs, 'run')} are too many to list; "
        f"each row sums up {counted(block, 'word')}."
    )
    heads = ("From", *(f"{style.symbol} {style.name}" for style in CLASSES.values()))
    content = table(caption, heads, rows, id_=table_id, class_="num")
    return _folded(f"Table by blocks of {counted(block, 'word')}", content)


def _folded(summary: str, content: Markup) -> Markup:
    return el("details", el("summary", summary), scrolled(content, summary))


def story(report: Report) -> Markup:
    """Return the story of one fault, sentence by sentence."""
    if not report.story:
        return NOTHING
    fault, while_, running = report.story_about.partition(" while ")
    about = el("p", "The story of ", el("code", fault), f"{while_}{running}:") if fault else NOTHING
    items = joined(el("li", _when(event), event.sentence) for event in report.story)
    return titled("story", "How it comes about", about, el("ol", items, class_="story"))


def _when(event: Event) -> Markup:
    known = event_place(event)
    return el("span", known, class_="when mono") if known else NOTHING


def symptoms(report: Report) -> Markup:
    """Return what can be seen, beside the healthy machine where that is known."""
    if not report.symptoms:
        return NOTHING
    healthy = any(s.healthy for s in report.symptoms)
    heads = ("What to look at", "With the fault", "On a healthy machine")[: 3 if healthy else 2]
    rows = [(s.name, s.seen, s.healthy)[: len(heads)] for s in report.symptoms]
    content = table("What can be seen at the machine", heads, rows)
    return titled("symptoms", "What can be seen", scrolled(content, "Symptoms"))


def later_steps(report: Report) -> Markup:
    """Return the steps after the next one."""
    if len(report.steps) < 2:
        return NOTHING
    return titled("steps", "Other steps, in order of worth", *(step_block(s) for s in report.steps[1:]))


def history(report: Report) -> Markup:
    """Return swaps and mends so far."""
    if not report.history:
        return NOTHING
    rows = [(h.when, h.what, h.result) for h in report.history]
    content = table("Swaps and mends, oldest first", ("When", "What was done", "What came of it"), rows)
    return titled("history", "What was done so far", scrolled(content, "History"))


def limits(report: Report) -> Markup:
    """Return what this report cannot know."""
    if not report.limits:
        return NOTHING
    return titled("limits", "Limits of this report", plain_list(report.limits))


def provenance(report: Report) -> Markup:
    """Return what made this report: inputs with their hashes, seed, versions, command line."""
    facts = list(_facts(report))
    if not facts and not report.inputs:
        return NOTHING
    files = NOTHING
    if report.inputs:
        rows = [(f.name, el("code", f.sha256)) for f in report.inputs]
        files = scrolled(table("Input files", ("Name", "SHA-256"), rows), "Input files")
    listed = el("dl", joined(el("div", el("dt", k), el("dd", v)) for k, v in facts), class_="facts")
    return titled("made-from", "Made from", files, listed if facts else NOTHING)


def _facts(report: Report) -> Iterator[tuple[str, str]]:
    if report.command:
        yield "Command", el("code", report.command)
    if report.seed:
        yield "Seed", el("code", report.seed)
    yield from report.versions


def bench_notes() -> Markup:
    """Return ruled space for pen and paper; it is seen in print only."""
    blanks = joined(
        (joined((f"{label} ", el("span", class_="blank")), "") for label in ("Done by", "Date")), ""
    )
    lines = joined((el("div", class_="lines") for _ in range(4)), "")
    return el(
        "div", el("h2", "Bench notes"), el("p", blanks), lines, class_="onpaper notes", aria_hidden="true"
    )
