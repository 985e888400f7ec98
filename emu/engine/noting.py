"""What generated machines note on the way: alarms, events, undo lists, offered inputs, the profile of a run.

Like ``emu.engine.planned``, functions over int arrays whose text is copied into every generated module.
"""

from collections.abc import MutableSequence

from emu.engine.layout import ACCESS, EPOCH, HASH, LAST_ADDRESS, LAST_WORD, UNDONE
from emu.engine.planned import mix

Ints = MutableSequence[int]


def ctpop(word: int) -> int:
    """Return how many bits are 1 (one machine instruction in compiled code)."""
    return word.bit_count()


def raise_alarm(st: Ints, at: int, time: int, store: int, address: int, pc: int) -> None:
    """Count an alarm; ``at`` is where its fields begin."""
    if st[at] == 0:
        st[at + 1] = time
        st[at + 2] = store
        st[at + 3] = address
        st[at + 4] = pc
    st[at] += 1


def event(
    ev: Ints, count: int, kind: int, steps: int, access: int, time: int, pc: int, store: int, address: int,
    word: int, detail: int,
) -> None:  # fmt: skip
    """Write event number ``count`` into the event list."""
    at = 9 * count
    ev[at] = kind
    ev[at + 1] = steps
    ev[at + 2] = access
    ev[at + 3] = time
    ev[at + 4] = pc
    ev[at + 5] = store
    ev[at + 6] = address
    ev[at + 7] = word
    ev[at + 8] = detail


def set_noted(st: Ints, mem: Ints, undo: Ints, stamp: Ints, cell: int, new: int) -> None:
    """Set a cell so that the change can be undone."""
    old = mem[cell]
    if old != new:
        if stamp[cell] != st[EPOCH]:
            stamp[cell] = st[EPOCH]
            undo[2 * st[UNDONE]] = cell
            undo[2 * st[UNDONE] + 1] = old
            st[UNDONE] += 1
        st[HASH] ^= mix(cell, old) ^ mix(cell, new)
        mem[cell] = new


def take_back(st: Ints, mem: Ints, undo: Ints) -> None:
    """Give every noted cell its old content."""
    for i in range(st[UNDONE]):
        mem[undo[2 * i]] = undo[2 * i + 1]


def same_range(st: Ints, a: int, b: int, count: int) -> bool:
    """Return whether two parts of the state agree."""
    for i in range(count):  # noqa: SIM110 - compiled code has no all()
        if st[a + i] != st[b + i]:
            return False
    return True


def copy_range(st: Ints, a: int, b: int, count: int) -> None:
    """Copy ``count`` places from ``a`` to ``b``."""
    for i in range(count):
        st[b + i] = st[a + i]


def offered(st: Ints, at: int, inp: Ints, port: int) -> int:
    """Return the next word of an input port; ``inp`` begins with (offset, count) of every port."""
    taken = st[at]
    st[at] = taken + 1
    count = inp[2 * port + 1]
    if count == 0:
        return 0
    return inp[inp[2 * port] + min(taken, count - 1)]


def offer_state(st: Ints, at: int, inp: Ints, port: int) -> int:
    """Return what of an input port can change what happens next; -1 before the first read."""
    taken = st[at]
    return -1 if taken == 0 else min(taken, max(inp[2 * port + 1] - 1, 0))


def note(seen: Ints, firsts: Ints, at: int, wide: int, bits: int, steps: int) -> None:
    """Note the step at which bits of a cell were first seen so; steps count from 1 there."""
    new = bits & ~seen[at]
    seen[at] |= new
    while new:
        low = new & -new
        firsts[at * wide + ctpop(low - 1)] = steps + 1
        new ^= low


def note_read(
    seen: Ints, firsts: Ints, cells: int, wide: int, cell: int, word: int, full: int, steps: int
) -> None:
    """Note a read word: bits read as 0, as 1."""
    note(seen, firsts, cell, wide, ~word & full, steps)
    note(seen, firsts, cells + cell, wide, word, steps)


def note_write(
    seen: Ints, firsts: Ints, cells: int, wide: int, cell: int, old: int, word: int, full: int, steps: int
) -> None:
    """Note a written word: bits written as 0, as 1, risen, fallen."""
    note(seen, firsts, 2 * cells + cell, wide, ~word & full, steps)
    note(seen, firsts, 3 * cells + cell, wide, word, steps)
    note(seen, firsts, 4 * cells + cell, wide, word & ~old, steps)
    note(seen, firsts, 5 * cells + cell, wide, old & ~word & full, steps)


def passed(st: Ints, address: int, word: int) -> None:
    """Note an access that a plan leaves as it is, but on which its rules may look back."""
    st[LAST_WORD] = word
    st[LAST_ADDRESS] = address
    st[ACCESS] += 1


def note_bus(buses: Ints, address: int, steps: int) -> None:
    """Note the first use of a machine address."""
    if address < len(buses) and buses[address] == 0:
        buses[address] = steps + 1


def note_near(near: Ints, steps: int) -> None:
    """Note a look at which all but memory was as in the past; ``near`` begins with their count."""
    if near[0] < len(near) - 1:
        near[near[0] + 1] = steps
    near[0] += 1
