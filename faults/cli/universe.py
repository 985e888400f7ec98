"""``corewright faults``."""

from collections.abc import Mapping

import click

from faults.boards import Board
from faults.boards.family import Dimension
from faults.cli.exits import Exit
from faults.cli.faulted import board_option, the_board
from faults.cli.options import color_option, json_option, print_json, quiet_option, use_colour
from faults.cli.parameters import address, machine_argument, store_option
from faults.cli.reading import the_store
from faults.cli.schemas import declare_schema
from faults.cli.writer import Writer
from faults.kinds import all_kinds
from faults.notation import fault_text
from faults.universe import Universe, universe_of

SCHEMA = declare_schema(
    "faults/1",
    "`corewright faults MACHINE --json`: the faults that a machine's memory can have.",
    {
        "machine": "text: name of the machine",
        "numbering": "text: word size, arithmetic, base and bit numbers in a sentence",
        "described": "bool: whether a board file says how the stores are built",
        "stores": [{"store": "text: name", "built": "text: how it is built", "words": "int: its words"}],
        "total": "int: faults",
        "counts": {"*": "int: faults by kind and form"},
        "groups?": "int: groups of faults that behave alike, with --collapse",
        "largest_group?": "int: faults in the largest group, with --collapse",
        "structure": ["text: every fault but those of single cells, single cores and insides of chips"],
    },
)

NO_BOARD = (
    "none, so only address lines, data lines and cells are known. Write STEM.board.toml beside the machine "
    "file STEM.toml, or name one with --board."
)


@click.command(epilog="Example: corewright faults fulmar --store rope --no-cells")
@machine_argument
@board_option
@store_option
@click.option(
    "--kind", "kinds", multiple=True, metavar="KIND", help="Only this kind, or kind and form; repeatable."
)
@click.option("--no-cells", is_flag=True, help="Leave out single cells, single cores and insides of chips.")
@click.option(
    "--within", "region", nargs=2, type=address, metavar="FIRST LAST",
    help="Of single cells only those with addresses from FIRST to LAST.",
)  # fmt: skip
@click.option("--collapse", is_flag=True, help="Count groups of faults that behave alike (takes longer).")
@click.option("--list", "listed", is_flag=True, help="List the faults of the structure, one a line.")
@json_option
@quiet_option
@color_option
def command(
    machine: str,
    board: str | None,
    store: str | None,
    kinds: tuple[str, ...],
    no_cells: bool,
    region: tuple[int, int] | None,
    collapse: bool,
    listed: bool,
    as_json: bool,
    quiet: bool,
    color: str,
) -> int:
    """List the faults that a machine's memory can have.

    Counts them by kind; sites are named and numbered as in --fault of the other commands.
    """
    del quiet
    found = the_board(machine, board)
    stores = None if store is None else [the_store(found.machine, store).name]
    check_kinds(kinds)
    universe = universe_of(found, not no_cells, stores=stores, kinds=kinds or None, region=region)
    if as_json:
        print_json(SCHEMA.name, universe_json(found, universe, collapse=collapse))
        return Exit.DONE
    writer = Writer(use_colour(color))
    if listed:
        for text in _structure(found, universe):
            writer.line(text)
        return Exit.DONE
    _write(found, universe, writer, stores, collapse=collapse)
    return Exit.DONE


def check_kinds(given: tuple[str, ...]) -> None:
    """Refuse a kind that there is not."""
    known = {k.name for k in all_kinds().values()} | {
        k.text(p) for k in all_kinds().values() for p in k.variants
    }
    for name in given:
        if name not in known:
            names = ", ".join(all_kinds())
            raise click.UsageError(f"--kind is one of {names}, with or without its form; got {name!r}")


def _structure(board: Board, universe: Universe) -> list[str]:
    """Return the faults of the universe that no fine site has, in notation."""
    fine = {family.prefix for family in board.families(fine=True)}
    texts = []
    for block in universe.faults.blocks:
        first = block.fault(0).parts[0].sites[0]
        family = board.tree.family(first)
        if family is None or family.prefix not in fine:
            texts += [fault_text(fault, board) for fault in block.all()]
    return texts


def universe_json(board: Board, universe: Universe, *, collapse: bool) -> Mapping[str, object]:
    """Return what schema ``faults/1`` holds."""
    machine = board.machine
    found: dict[str, object] = {
        "machine": machine.name,
        "numbering": machine.word.numbering_sentence(),
        "described": board.described,
        "stores": [
            {"store": s.name, "built": built, "words": s.words}
            for s, built in zip(machine.stores, board.built, strict=True)
        ],
        "total": len(universe),
        "counts": universe.counts(),
        "structure": _structure(board, universe),
    }
    if collapse:
        groups = universe.collapse()
        found["groups"] = len(groups)
        found["largest_group"] = max((len(g.faults) for g in groups), default=0)
    return found


def _write(
    board: Board, universe: Universe, writer: Writer, stores: list[str] | None, *, collapse: bool
) -> None:
    machine = board.machine
    writer.labelled("machine", f"{machine.name}. {machine.word.numbering_sentence()}")
    writer.labelled("lines", "Address lines are numbered by weight: line n has the weight 2**n.")
    for spec, built in zip(machine.stores, board.built, strict=True):
        writer.labelled("store", f"{spec.name}: {spec.words:,} words of {spec.bits} stored bits, {built}")
    if not board.described:
        writer.labelled("board", NO_BOARD)
    writer.labelled("faults", f"{len(universe):,}, each alone")
    if collapse:
        groups = universe.collapse()
        writer.labelled("groups", f"{len(groups):,}; the faults of a group behave alike in everything")
    writer.heading("By kind")
    titles = {k.text(p): k.title for k in all_kinds().values() for p in k.variants}
    rows = [(name, f"{count:,}", titles.get(name, "")) for name, count in universe.counts().items()]
    writer.table(("Kind", "Faults", "What it is"), rows)
    writer.heading("Sites")
    rows = [
        ("/".join((f.prefix, *(f"<{d.noun}>" for d in f.dimensions))), f"{f.size:,}", _ranges(f.dimensions))
        for f in (*board.families(), *board.families(fine=True))
        if stores is None or f.store < 0 or machine.stores[f.store].name in stores
    ]
    writer.table(("Site", "How many", "Numbered"), rows)


def _ranges(dimensions: tuple[Dimension, ...]) -> str:
    return "; ".join(d.range_text() for d in dimensions)
