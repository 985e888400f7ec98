"""Rules of a memory plan: the few alterations that depend on data, place or history.

A rule acts on the word on its way (``set`` … ``late``, ``redirect``) or on cells (``keep`` … ``read-flip``).
``docs/reference/memory-plan.md`` describes each action; this module is their readable definition.
"""

from typing import Literal, Protocol

from attrs import frozen

Action = Literal[
    # on the word, at the sense side or at the bus side
    "set", "clear", "flip",  # the bits
    "tie-or", "tie-and",  # all the bits become the OR / AND of themselves
    "swap",  # the two bits are exchanged
    "hold",  # the bits take the value of the last word on the bus
    "late",  # the bits take what the cells of this store gave when it was last read
    "redirect",  # the bits live in the cell of another address
    # on cells
    "keep",  # bits of the cell that would make the edge do not
    "couple",  # an edge of the cell's bits acts on bits of the other cell, after the write
    "force",  # while the cell's bits are at the level, bits of the other cell are forced
    "read-disturb",  # reading the cell acts on its bits
]  # fmt: skip
Side = Literal["sense", "bus", "cell"]
Edge = Literal["rise", "fall", "any"]
Effect = Literal["clear", "set", "flip"]


@frozen(order=True)
class Rule:
    """One rule; fields that an action does not use keep their default.

    It acts only when ``address & address_mask == address_value``, ``word & word_mask == word_value``
    (the word where the rule acts), ``last & last_mask == last_value`` and ``on`` fits; last is, at the bus
    side, the last word on the bus, and at the sense side what the cells gave when the store was last read.
    ``bits`` are the bits acted on. Cell rules name the triggering ``cell`` and its ``cell_bits``, and for
    ``couple`` and ``force`` the ``other`` cell, whose ``bits`` suffer.
    ``edge``: the edge that triggers (``force``, ``read-disturb``: ``rise`` means level 1, ``fall`` level 0).
    ``effect``: what it does. ``redirect`` goes to ``(address & keep_mask) ^ flip_mask``.
    ``shows``: whether ``read-disturb`` lets the reader see the changed bits or the old ones.
    """

    side: Side
    store: int
    action: Action
    bits: int
    on: Literal["read", "write", "both"] = "both"
    address_mask: int = 0
    address_value: int = 0
    word_mask: int = 0
    word_value: int = 0
    last_mask: int = 0
    last_value: int = 0
    cell: int = -1
    cell_bits: int = 0
    other: int = -1
    edge: Edge = "any"
    effect: Effect = "flip"
    keep_mask: int = 0
    flip_mask: int = 0
    shows: bool = False

    def concerns(self, store: int, address: int) -> bool:
        """Return whether the rule looks at this store and address."""
        return self.store == store and address & self.address_mask == self.address_value

    def redirected(self, address: int) -> int:
        """Return the address where the redirected bits live."""
        return (address & self.keep_mask) ^ self.flip_mask

    def triggers(self, old: int, new: int) -> bool:
        """Return whether all ``cell_bits`` make the edge."""
        rise, fall = ~old & new, old & ~new
        moved = {"rise": rise, "fall": fall, "any": rise | fall}[self.edge]
        return moved & self.cell_bits == self.cell_bits


class History(Protocol):
    """What rules may look back on."""

    last_word: int
    last_read: list[int]


def looks_back(rule: Rule) -> bool:
    """Return whether what the rule does depends on words that passed before."""
    return rule.last_mask != 0 or rule.action in {"hold", "late"}


def applied(effect: Effect, word: int, bits: int) -> int:
    """Return the word with the bits cleared, set or flipped."""
    return {"clear": word & ~bits, "set": word | bits, "flip": word ^ bits}[effect]


def at_level(rule: Rule, word: int) -> bool:
    """Return whether all ``cell_bits`` of the word stand at the level that ``edge`` means."""
    level = word & rule.cell_bits
    if rule.edge == "any":
        return True
    return level == (rule.cell_bits if rule.edge == "rise" else 0)


def act_on_word(
    rules: tuple[Rule, ...], side: Side, on: str, store: int, address: int, word: int, history: History
) -> int:
    """Return the word after every word rule of that side, in canonical order."""
    for rule in rules:
        if rule.side != side or rule.action == "redirect" or rule.on not in (on, "both"):
            continue
        if not rule.concerns(store, address) or word & rule.word_mask != rule.word_value:
            continue
        last = history.last_read[store] if side == "sense" else history.last_word
        if last & rule.last_mask == rule.last_value:
            word = _altered(rule, word, history)
    return word


def _altered(rule: Rule, word: int, history: History) -> int:
    bits = rule.bits
    match rule.action:
        case "set" | "clear" | "flip":
            return applied(rule.action, word, bits)
        case "tie-or":
            return word | bits if word & bits else word
        case "tie-and":
            return word if word & bits == bits else word & ~bits
        case "swap":
            return word if (word & bits) in (0, bits) else word ^ bits
        case "hold":
            return (word & ~bits) | (history.last_word & bits)
        case "late":
            return (word & ~bits) | (history.last_read[rule.store] & bits)
        case _:
            raise AssertionError(f"{rule.action} is no word action")


def kept(rules: tuple[Rule, ...], store: int, cell: int, old: int, new: int) -> int:
    """Return what a cell takes when some of its bits refuse an edge."""
    for rule in rules:
        if rule.action == "keep" and rule.store == store and rule.cell in (cell, -1):
            rise, fall = ~old & new & rule.bits, old & ~new & rule.bits
            refused = {"rise": rise, "fall": fall, "any": rise | fall}[rule.edge]
            new ^= refused
    return new


def act_on_cells_after_write(
    rules: tuple[Rule, ...], store: int, cell: int, old: int, new: int, cells: list[int]
) -> None:
    """Let the edges of a written cell act on other cells."""
    for rule in rules:
        if rule.action == "couple" and rule.store == store and rule.cell == cell and rule.triggers(old, new):
            cells[rule.other] = applied(rule.effect, cells[rule.other], rule.bits)


def act_on_cells_after_read(
    rules: tuple[Rule, ...], store: int, opened: list[int], sensed: int, cells: list[int]
) -> int:
    """Let reading disturb the cells that were opened; return what the reader gets."""
    for rule in rules:
        if rule.action != "read-disturb" or rule.store != store or rule.cell not in opened:
            continue
        if not at_level(rule, cells[rule.cell]):
            continue
        cells[rule.cell] = applied(rule.effect, cells[rule.cell], rule.bits)
        if rule.shows:
            sensed = applied(rule.effect, sensed, rule.bits)
    return sensed


def force_states(rules: tuple[Rule, ...], store: int, cells: list[int]) -> None:
    """Force the victims of state couplings, once, in canonical order."""
    for rule in rules:
        if rule.action == "force" and rule.store == store and at_level(rule, cells[rule.cell]):
            cells[rule.other] = applied(rule.effect, cells[rule.other], rule.bits)
