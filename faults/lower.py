"""From a fault to the memory plan that behaves so."""

from itertools import combinations, product
from typing import NamedTuple

from emu.compose import Lowered, PlanTooWideError, compose
from emu.errors import declare, fail
from emu.memory import MemoryPlan
from emu.where import Place
from faults.boards.board import FAULT_PLACE, Board
from faults.effects.lines import carried
from faults.exact import doubt_about
from faults.fault import Fault, FaultPart
from faults.kinds import kind_named
from faults.sites import AddressLine, CellBit, Role, SelectLine

CANNOT_COMBINE = declare(
    "cannot-combine",
    "Faults at once are foretold only where the model gives what the wires would give.",
    "Foretell them one by one; where they meet, measure.",
    "rope/sense/3:stuck-0 & rope/sense/3+4:shorted-or",
    "fault",
)


def lowered(board: Board, part: FaultPart) -> Lowered:
    """Return one part of a fault as alterations of the memory. AssertionError if it does not fit its site."""
    kind = kind_named(part.kind)
    sites = tuple(board.site(path) for path in part.sites)
    reason = kind.reason_against(sites, part.params)
    if reason or part.params not in kind.variants:
        raise ValueError(reason or f"{part.kind!r} has no form {'-'.join(part.params)!r}")
    return Lowered(kind.lower(board, sites, part.params), part.gates)


def plan_of(board: Board, fault: Fault) -> MemoryPlan:
    """Return the plan of a fault.

    Raises InputError if several faults at once open more cells than a plan holds, or meet in a way of which
    the plan would not tell the truth.
    """
    parts = [lowered(board, part) for part in fault.parts]
    try:
        plan = compose(board.shapes, parts)
    except PlanTooWideError as error:
        fail(CANNOT_COMBINE, f"these faults at once are beyond the model: {error}", Place(FAULT_PLACE))
    if len(parts) > 1:
        doubt = _sites_that_meet(board, fault) or doubt_about(board.shapes, plan, parts)
        if doubt:
            fail(CANNOT_COMBINE, f"these faults at once are beyond the model: {doubt}", Place(FAULT_PLACE))
    return plan


def _sites_that_meet(board: Board, fault: Fault) -> str:
    """Return why two parts cannot be told apart at their very sites, or ""."""
    for one, other in combinations(fault.parts, 2):
        shared = set(one.sites) & set(other.sites)
        if shared and not all(isinstance(board.site(path).role, CellBit) for path in shared):
            return f"{min(shared)} has two faults"
        for a, b in product(one.sites, other.sites):
            roles = board.site(a).role, board.site(b).role
            if {one.kind, other.kind} & {"always-on", "shorted"} and _decode_alike(*roles):
                return f"{a} and {b} choose by the same address bits"
            if _meet_beyond(board, {one.kind, other.kind}, *roles):
                return f"{a} and {b} meet at addresses beyond the words of the store"
    return ""


def _meet_beyond(board: Board, kinds: set[str], *roles: Role) -> bool:
    """Whether what is read beyond the words of a store is no longer what one address line alone makes of it.

    A select line may open its cells there; and what was left on the bus is foretold by the addresses asked.
    """
    lines = [r for r in roles if isinstance(r, AddressLine)]
    selects = [r for r in roles if isinstance(r, SelectLine)]
    if (
        not lines
        or any(r.store != lines[0].store for r in lines)
        or any(r.store != lines[0].store for r in selects)
    ):
        return False
    words = board.shapes[lines[0].store].words
    if words == carried(words):
        return False
    residue = lines[0].undriven == "residue" and len(lines) + len(selects) > 1
    return residue or bool(selects and kinds & {"always-on", "shorted", "echo"})


def _decode_alike(one: Role, other: Role) -> bool:
    """Whether two select lines are of different families that decode some address bits both."""
    if not (isinstance(one, SelectLine) and isinstance(other, SelectLine)) or one.store != other.store:
        return False
    return one.mask != other.mask and bool(one.region.mask & other.region.mask)


class SmallForm(NamedTuple):
    """A fault of the bits of one cell: the masks of the plan's table, ``(x & and) | or``."""

    store: int
    cell: int
    out_and: int
    out_or: int
    in_and: int
    in_or: int


def single_cell_form(board: Board, fault: Fault) -> SmallForm | None:
    """Return the small form of a single cell that is stuck all the time, or None for any other fault."""
    if len(fault.parts) != 1:
        return None
    part = fault.parts[0]
    if part.kind != "stuck" or part.gates:
        return None
    found = board.tree.find(part.sites[0])
    if found is None or not found[0].fine or not found[0].prefix.endswith("/cell"):
        return None
    store, (cell, index) = found[0].store, found[1]
    full = (1 << board.shapes[store].bits) - 1
    bit = 1 << index
    if part.params == ("1",):
        return SmallForm(store, cell, full, bit, full, bit)
    return SmallForm(store, cell, full & ~bit, 0, full & ~bit, 0)
