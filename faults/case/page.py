"""The tables of the case file's reference page, made from the declarations so that it cannot fall behind."""

from typing import Final

from emu.schema import KeyRow, describe
from faults.case.model import KINDS, CaseTable, Entry
from faults.case.template import EXAMPLES

MARK: Final = "<!-- Below this line: faults.case.page.reference_tables(); a test compares. -->\n"
"""In the page, what is written by hand ends with this line."""


def reference_tables() -> str:
    """Return every key of a case file, with an example of every kind of entry, as Markdown."""
    rows = describe(CaseTable)
    common = {row.key for row in describe(Entry)}
    parts = ["\n## Keys at the top\n\n", _table([r for r in rows if not r.table])]
    parts += ["\n## Keys of every entry\n\n", _table(describe(Entry))]
    for kind, cls in KINDS.items():
        header = f'[[entry]] with kind = "{kind}"'
        own = [r for r in rows if r.table == header and r.key not in common]
        parts.append(f"\n## `{kind}`\n\n{cls.__doc__}\n\n```toml\n{EXAMPLES[kind]}```\n\n{_table(own)}")
    return "".join(parts)


def _table(rows: list[KeyRow]) -> str:
    lines = ["| key | type | required or default | accepts | meaning |", "|---|---|---|---|---|"]
    for row in rows:
        given = "required" if row.required else f"`{row.default}`" if row.default else "optional"
        cells = (f"`{row.key}`", row.type, given, row.accepts, row.doc)
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines) + "\n"
