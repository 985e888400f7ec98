"""A report for the terminal: answer, confidence and next step in the first lines, then the rest.

Returns text; it never prints. Only four roles are coloured, and each is told by a word as well.
"""

from collections.abc import Iterator, Sequence

from attrs import frozen

from faults.counts import counted
from faults.report.columns import fit_columns
from faults.report.maplayout import Layout, alias_sentences, lay_out
from faults.report.model import MemoryMap, Report, Step, Verdict, percent, total_words
from faults.report.palette import CLASSES, VERDICTS
from faults.report.text import address_text, cells, plain, to_ascii, wrap
from faults.report.wording import (
    BASIS_LINES,
    HYPOTHESIS,
    VERDICT_LINES,
    event_place,
    power_text,
    unexplained_line,
)

_LABEL = 12
_NARROW_COLUMN = 14
_STRONG, _MILD, _WARN, _BODY = "1", "2", "1;33", "0"


def can_draw(encoding: str | None) -> bool:
    """Return whether a stream of this encoding can show the lines and arrows used here."""
    try:
        "─→\N{MULTIPLICATION SIGN}·○".encode(encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        return False
    return True


def to_terminal(report: Report, *, width: int = 80, colour: bool = False, unicode: bool = True) -> str:
    """Return the report as text of at most ``width`` columns (at least 40), with a final newline.

    ``colour`` adds bold and four ANSI colours; ``unicode`` false keeps every character ASCII.
    """
    pen = _Pen(max(width, 40), colour=colour, unicode=unicode)
    lines = [line for block in _blocks(report, pen) for line in (*block, "")]
    while lines and not lines[-1]:
        lines.pop()
    return "\n".join(lines) + "\n"


@frozen
class _Pen:
    width: int
    colour: bool
    unicode: bool

    def text(self, text: str) -> str:
        safe = plain(text)
        return safe if self.unicode else to_ascii(safe)

    def paint(self, text: str, role: str) -> str:
        return f"\x1b[{role}m{text}\x1b[0m" if self.colour and text else text

    def labelled(self, label: str, text: str, role: str = _BODY) -> list[str]:
        """Return ``text`` wrapped beside a label of fixed width."""
        lines = wrap(self.text(text), self.width - _LABEL)
        head = self.paint(label.ljust(_LABEL), _STRONG)
        shown = [line if role == _BODY else self.paint(line, role) for line in lines]
        return [f"{head}{shown[0]}".rstrip(), *(" " * _LABEL + line for line in shown[1:])]

    def paragraph(self, text: str, indent: int = 0, mark: str = "") -> list[str]:
        lines = wrap(self.text(text), self.width - indent)
        first = mark.ljust(indent)
        return [f"{first if i == 0 else ' ' * indent}{line}".rstrip() for i, line in enumerate(lines)]

    def heading(self, text: str) -> list[str]:
        *lines, last = wrap(self.text(text), self.width)
        rule = ("─" if self.unicode else "-") * max(0, self.width - cells(last) - 1)
        shown = [self.paint(line, _STRONG) for line in lines]
        return [
            *shown,
            f"{self.paint(last, _STRONG)} {self.paint(rule, _MILD)}" if rule else self.paint(last, _STRONG),
        ]

    def table(self, heads: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> list[str]:
        safe = [tuple(self.text(cell) for cell in row) for row in rows]
        return fit_columns(tuple(self.text(h) for h in heads), safe, self.width, "─" if self.unicode else "-")


def _blocks(report: Report, pen: _Pen) -> Iterator[list[str]]:
    makers = (
        _first_lines,
        _title,
        _cautions,
        _groups,
        _agreement,
        _unexplained,
        _maps,
        _story,
        _symptoms,
        _later_steps,
        _history,
        _limits,
        _made_from,
    )
    for maker in makers:
        lines = maker(report, pen)
        if lines:
            yield lines


def _first_lines(report: Report, pen: _Pen) -> list[str]:
    out: list[str] = []
    if report.answer:
        out += pen.labelled("Answer", report.answer.sentence, _STRONG)
        if report.answer.site:
            site = " · ".join(f"{name} {label}" for name, label in report.answer.site)
            out += pen.labelled("Where", site)
        if report.answer.kind != "result":
            out += pen.labelled("Standing", VERDICT_LINES[report.answer.kind])
    if report.confidence:
        sure = report.confidence
        said = f"{percent(sure.permille)}{f', {sure.words}' if sure.words else ''}. {BASIS_LINES[sure.basis]}"
        out += pen.labelled("Confidence", f"{said} {sure.note}".strip())
    if report.unexplained:
        out += pen.labelled("", unexplained_line(report), _WARN)
    if report.steps:
        out += _step(report.steps[0], pen, "Next step")
    return out


def _step(step: Step, pen: _Pen, label: str) -> list[str]:
    facts = [step.where] if step.where else []
    if step.minutes is not None:
        facts.append(counted(step.minutes, "minute"))
    if step.powered is not None:
        facts.append(f"power {power_text(powered=step.powered)}")
    out = pen.labelled(label, step.action, _STRONG)
    if facts:
        out += pen.labelled("", " · ".join(facts))
    if step.why:
        out += pen.labelled("", step.why)
    for outcome in step.outcomes:
        chance = "" if outcome.permille is None else f" ({percent(outcome.permille)})"
        out += pen.labelled("  if", f"{outcome.seen}{chance} → {outcome.leaves}")
    if step.caution:
        out += pen.labelled("  CAUTION", step.caution, _WARN)
    return out


def _title(report: Report, pen: _Pen) -> list[str]:
    out = pen.heading(report.title)
    if report.question:
        out += pen.paragraph(report.question)
    if report.machine:
        out += pen.labelled("Machine", report.machine)
    for line in report.numbering:
        out += pen.labelled("Numbers", line)
    if report.answer and report.answer.fault:
        out += pen.labelled("Notation", report.answer.fault)
    if report.answer and report.answer.kind in ("suspect", "group"):
        out += pen.labelled("Note", HYPOTHESIS)
    return out


def _cautions(report: Report, pen: _Pen) -> list[str]:
    out: list[str] = []
    for caution in report.cautions:
        out += pen.labelled("CAUTION", caution, _WARN)
    return out


def _groups(report: Report, pen: _Pen) -> list[str]:
    if not report.groups:
        return []
    out = pen.heading("Candidates")
    for group in report.groups:
        out += pen.paragraph(f"{percent(group.permille)}  {group.name}", 4, f"{group.rank}.")
        if group.label:
            out += pen.paragraph(group.label, 6)
        for member in group.members:
            label = f"  {member.label}" if member.label else ""
            out += pen.paragraph(f"{member.fault}{label}", 8, "      -")
        if group.split:
            out += pen.paragraph(f"split by: {group.split}", 6)
    if report.groups_note:
        out += pen.paragraph(report.groups_note)
    return out


def _agreement(report: Report, pen: _Pen) -> list[str]:
    held = report.agreement
    if held is None:
        return []
    out = pen.heading("What agrees and what does not")
    rows = [
        (
            f"{row.observation} (passed)" if row.passed else row.observation,
            *(_verdict(verdict, pen) for verdict in row.verdicts),
        )
        for row in held.rows
    ]
    if pen.width >= _NARROW_COLUMN * (len(held.columns) + 1):
        return out + pen.table(("Observation", *held.columns), rows)
    for observed, *said in rows:
        out += pen.paragraph(observed)
        for column, verdict in zip(held.columns, said, strict=True):
            out += pen.paragraph(f"{column} → {verdict}", 4)
    return out


def _verdict(verdict: Verdict, pen: _Pen) -> str:
    style = VERDICTS[verdict.word]
    sign = style.sign if pen.unicode else style.ascii_sign
    return f"{sign} {verdict.word}{f': {verdict.reason}' if verdict.reason else ''}"


def _unexplained(report: Report, pen: _Pen) -> list[str]:
    return _bulleted("Not explained by the answer", report.unexplained, pen)


def _bulleted(title: str, items: tuple[str, ...], pen: _Pen) -> list[str]:
    if not items:
        return []
    return pen.heading(title) + [line for item in items for line in pen.paragraph(item, 2, "-")]


def _maps(report: Report, pen: _Pen) -> list[str]:
    out: list[str] = []
    for memory in report.maps:
        out += [*([""] if out else []), *_map(memory, pen)]
    return out


def _map(memory: MemoryMap, pen: _Pen) -> list[str]:
    label = cells(address_text(0, memory.base, memory.words)) + 2
    across = 64 if pen.width >= label + 64 + 18 else 32
    layout = lay_out(memory, min(across, pen.width - label), 32)
    out = pen.heading(f"Memory: {memory.store}, {counted(memory.words, 'word')}")
    for sentence in (memory.note, *alias_sentences(memory)):
        out += pen.paragraph(sentence) if sentence else []
    out += _map_rows(memory, layout, pen)
    counts = total_words(memory.whole())
    legend = [f"{CLASSES[k].symbol} {CLASSES[k].name} {n:,}" for k, n in counts.items() if n]
    scale = f"one sign = {counted(layout.cell_words, 'word')}"
    if layout.cell_words > 1:
        scale += ", the gravest class in it"
    return out + pen.paragraph(f"{'; '.join(legend)} ({scale})")


def _map_rows(memory: MemoryMap, layout: Layout, pen: _Pen) -> list[str]:
    grid = [[" "] * layout.across for _ in range(layout.rows)]
    for segment in layout.segments:
        symbol = CLASSES[segment.kind].symbol
        grid[segment.row][segment.cell : segment.cell + segment.cells] = [symbol] * segment.cells
    shown = {arrow.to_top: arrow.source for arrow in layout.arrows}
    out = []
    for index, row in enumerate(grid):
        head = address_text(index * layout.row_words, memory.base, memory.words)
        tail = ""
        if index in shown:
            source = address_text(shown[index], memory.base, memory.words)
            tail = f"  ← {source}" if pen.unicode else f"  <- {source}"
            if cells(head) + 2 + layout.across + cells(tail) > pen.width:
                tail = ""
        out.append(f"{pen.paint(head, _MILD)}  {''.join(row).rstrip()}{tail}")
    return out


def _story(report: Report, pen: _Pen) -> list[str]:
    if not report.story:
        return []
    about = f": {report.story_about}" if report.story_about else ""
    out = pen.heading(f"How it comes about{about}")
    for number, event in enumerate(report.story, start=1):
        out += pen.paragraph(event.sentence, 4, f"{number}.")
        known = event_place(event)
        out += pen.paragraph(f"({known})", 4) if known else []
    return out


def _symptoms(report: Report, pen: _Pen) -> list[str]:
    if not report.symptoms:
        return []
    healthy = any(s.healthy for s in report.symptoms)
    heads = ("What to look at", "With the fault", "On a healthy machine")[: 3 if healthy else 2]
    rows = [(s.name, s.seen, s.healthy)[: len(heads)] for s in report.symptoms]
    return pen.heading("What can be seen") + pen.table(heads, rows)


def _later_steps(report: Report, pen: _Pen) -> list[str]:
    if len(report.steps) < 2:
        return []
    out = pen.heading("Other steps, in order of worth")
    for number, step in enumerate(report.steps[1:], start=2):
        out += _step(step, pen, f"{number}.")
    return out


def _history(report: Report, pen: _Pen) -> list[str]:
    if not report.history:
        return []
    rows = [(h.when, h.what, h.result) for h in report.history]
    return pen.heading("What was done so far") + pen.table(("When", "What was done", "What came of it"), rows)


def _limits(report: Report, pen: _Pen) -> list[str]:
    return _bulleted("Limits of this report", report.limits, pen)


def _made_from(report: Report, pen: _Pen) -> list[str]:
    out: list[str] = []
    for held in report.inputs:
        out += pen.labelled("Input", f"{held.name} sha256 {held.sha256}")
    if report.command:
        out += pen.labelled("Command", report.command)
    if report.seed:
        out += pen.labelled("Seed", report.seed)
    for name, version in report.versions:
        out += pen.labelled("Version", f"{name} {version}")
    return [*pen.heading("Made from"), *out] if out else []
