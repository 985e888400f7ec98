"""The reference pages of boards and kinds of fault, made from what the code declares.

``python -m faults.catalogue`` in a checkout writes them; a test holds them fresh.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from emu.schema import describe, markdown
from faults.boards.tables import BoardTable
from faults.kinds import Kind, all_kinds
from faults.sites import (
    AddressLine,
    BusAddressLine,
    BusDataLine,
    CellBit,
    Chip,
    ChipLeg,
    Control,
    CoreInhibit,
    DataLine,
    Role,
    SelectLine,
    SharedNet,
    StandIn,
    ZeroInhibit,
)

FOLDER: Final = Path(__file__).parents[1] / "docs" / "reference"
BEGIN: Final = "<!-- the tables from here on are made by faults.catalogue -->\n"
ROLE_WORDS: Final[Mapping[type[Role], str]] = {
    AddressLine: "address lines of a store",
    BusAddressLine: "lines of the address bus",
    DataLine: "data lines, sense wires, inputs and outputs of a store",
    BusDataLine: "lines of the data bus",
    SelectLine: "lines and drivers that select cells",
    CoreInhibit: "inhibit lines of a woven store",
    ZeroInhibit: "inhibit windings of a core store",
    Control: "strobe, write half cycle and refresh",
    SharedNet: "shared nets",
    Chip: "chips",
    ChipLeg: "address legs of chips",
    CellBit: "single bits of single cells",
    StandIn: "stand-in units",
}


def kind_page(kind: Kind) -> str:
    """Return the page of a kind of fault, with the fixed headings of the catalogue."""
    machine, _, example = kind.example.rpartition(" ")
    forms = ", ".join(f"`{kind.text(p)}`" for p in kind.variants)
    roles = "; ".join(ROLE_WORDS[r] for r in kind.roles)
    between = "between two of the " if kind.pair else "at one of the "
    lines = [
        f"# {kind.title}",
        "",
        f"Forms: {forms}.  ",
        f"Applies {between}{roles}.  ",
        f"Example, of {machine or 'fulmar'}: `{example}`",
        *_shown(kind, machine or "fulmar", example),
    ]
    if not kind.common:
        lines += ["", "A list of all faults leaves it out unless it is asked for by name."]
    entry = kind.entry
    for heading, text in (
        ("What it is", entry.what),
        ("What you see", entry.see),
        ("How to confirm", entry.confirm),
        ("Confused with", entry.confused),
        ("Caution", entry.caution),
    ):
        lines += ["", f"## {heading}", "", text]
    return "\n".join(lines) + "\n"


def _shown(kind: Kind, machine: str, example: str) -> list[str]:
    """Return the command that shows the example, where a program is known to."""
    if not kind.shown_by:
        return []
    command = f"corewright predict {machine} {kind.shown_by} --fault {example}"
    return ["", "See what it looks like:", "", "```sh", command, "```"]


def index_page() -> str:
    """Return the page that lists all kinds."""
    lines = ["# Kinds of fault", "", "| kind | forms | what it is |", "|---|---|---|"]
    for kind in all_kinds().values():
        forms = ", ".join(f"`{kind.text(p)}`" for p in kind.variants)
        lines.append(
            f"| [{kind.name}]({kind.name}.md) | {forms} | {kind.title.partition(': ')[2] or kind.title} |"
        )
    return "\n".join(lines) + "\n"


def pages() -> dict[str, str]:
    """Return every made page of a kind by its file name."""
    return {"README.md": index_page(), **{f"{k.name}.md": kind_page(k) for k in all_kinds().values()}}


def board_tables() -> str:
    """Return the tables of the board file's keys."""
    return markdown(describe(BoardTable))


def main() -> None:
    """Write the pages of a checkout."""
    (FOLDER / "faults").mkdir(exist_ok=True)
    for name, text in pages().items():
        (FOLDER / "faults" / name).write_text(text, encoding="utf-8")
    page = FOLDER / "board-file.md"
    head = page.read_text(encoding="utf-8").partition(BEGIN)[0]
    page.write_text(head + BEGIN + "\n" + board_tables(), encoding="utf-8")


if __name__ == "__main__":
    main()
