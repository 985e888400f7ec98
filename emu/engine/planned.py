"""The memory plan in the form that generated machines call: everything in int arrays.

The text of these functions is copied into every generated module, where ``mix`` and ``draw`` are given by
``emu.engine.compiled``. They do what :class:`emu.memory.PlannedMemory` and ``emu.rules`` say, word for word.
Cells are flat: the cell's number plus the base of its store. ``ri``/``mi`` (int32[modes * cells]) give the
offset of a cell's row in ``rows`` or of its masks in ``masks``, or -1 where nothing differs from healthy.
"""

from collections.abc import MutableSequence

from emu.engine.layout import (
    ACCESS,
    BEFORE,
    CLOCKS,
    HASH,
    LAST_ADDRESS,
    LAST_READ,
    LAST_WORD,
    MODE,
    SEED,
)
from emu.gates import draw

Ints = MutableSequence[int]


def mix(cell: int, word: int) -> int:
    """Return a hash of one cell's content (the compiled twin is in ``emu.engine.compiled``)."""
    return hash((cell, word))


def set_cell(st: Ints, mem: Ints, cell: int, new: int) -> None:
    """Set a cell, keeping the hash of all cells right."""
    old = mem[cell]
    if old != new:
        st[HASH] ^= mix(cell, old) ^ mix(cell, new)
        mem[cell] = new


def leaving(mem: Ints, mi: Ints, masks: Ints, mode_at: int, cell: int) -> int:
    """Return the word that leaves a cell."""
    m = mi[mode_at + cell]
    if m < 0:
        return mem[cell]
    return (mem[cell] & masks[m]) | masks[m + 1]


def entering(mi: Ints, masks: Ints, mode_at: int, cell: int, word: int) -> int:
    """Return the word that enters a cell."""
    m = mi[mode_at + cell]
    if m < 0:
        return word
    return (word & masks[m + 2]) | masks[m + 3]


def sense(
    mem: Ints, ri: Ints, rows: Ints, mi: Ints, masks: Ints, mode_at: int, wired_or: int, cell: int
) -> int:
    """Return what the cells opened for reading give together."""
    r = ri[mode_at + cell]
    if r < 0:
        return leaving(mem, mi, masks, mode_at, cell)
    total = leaving(mem, mi, masks, mode_at, rows[r + 1])
    for j in range(1, rows[r]):
        word = leaving(mem, mi, masks, mode_at, rows[r + 1 + j])
        if wired_or:
            total |= word
        else:
            total &= word
    return total


def clear_opened(st: Ints, mem: Ints, ri: Ints, rows: Ints, mode_at: int, cell: int, end: int) -> None:
    """Clear the cells that a destructive read has opened; those from ``end`` on are no real cells."""
    r = ri[mode_at + cell]
    if r < 0:
        set_cell(st, mem, cell, 0)
        return
    for j in range(rows[r]):
        if rows[r + 1 + j] < end:
            set_cell(st, mem, rows[r + 1 + j], 0)


def put_tables(
    st: Ints, mem: Ints, ri: Ints, rows: Ints, mi: Ints, masks: Ints, cell: int, end: int, word: int
) -> None:
    """Write a word into the cells opened for writing, without rules."""
    r = ri[cell]
    if r < 0:
        set_cell(st, mem, cell, entering(mi, masks, 0, cell, word))
        return
    for j in range(rows[r + 5]):
        c = rows[r + 6 + j]
        if c < end:
            set_cell(st, mem, c, entering(mi, masks, 0, c, word))


def read_tables(
    st: Ints, mem: Ints, ri: Ints, rows: Ints, mi: Ints, masks: Ints, wired: Ints, shapes: Ints, store: int,
    cell: int,
) -> int:  # fmt: skip
    """Read through the tables of a plan without rules."""
    word = sense(mem, ri, rows, mi, masks, 0, wired[store], cell)
    if shapes[5 * store + 3]:
        end = shapes[5 * store] + shapes[5 * store + 1]
        clear_opened(st, mem, ri, rows, 0, cell, end)
        put_tables(st, mem, ri, rows, mi, masks, cell, end, word)
    return word


def write_tables(
    st: Ints, mem: Ints, ri: Ints, rows: Ints, mi: Ints, masks: Ints, shapes: Ints, store: int, cell: int,
    word: int,
) -> None:  # fmt: skip
    """Write through the tables of a plan without rules."""
    if shapes[5 * store + 4]:
        end = shapes[5 * store] + shapes[5 * store + 1]
        put_tables(st, mem, ri, rows, mi, masks, cell, end, word)


# --- gates


def contact_open(st: Ints, dwell: Ints, clock: int, stream: int, low: int, high: int, time: int) -> int:
    """Return 1 while a bad contact is open; ``low``/``high`` are offsets of its dwell tables."""
    if st[clock + 1] < 0:
        st[clock + 1] = dwell[high + (draw(st[SEED], stream, 0) & 255)]
    while time >= st[clock + 1]:
        st[clock] += 1
        table = low if st[clock] & 1 else high
        st[clock + 1] += dwell[table + (draw(st[SEED], stream, st[clock]) & 255)]
    return st[clock] & 1


def is_open(st: Ints, gates: Ints, dwell: Ints, g: int, time: int) -> int:
    """Return 1 if gate ``g`` is open for the access that comes now."""
    kind, low, high, stream = gates[g + 1], gates[g + 2], gates[g + 3], gates[g + 4]
    if kind == 0:
        return 1 if (draw(st[SEED], stream, st[ACCESS]) >> 32) & 0xFFFFFFFF < low else 0
    if kind == 1:
        return contact_open(st, dwell, CLOCKS + 2 * gates[g + 5], stream, gates[g + 6], gates[g + 7], time)
    if kind == 2:
        return 1 if low <= st[ACCESS] < high else 0
    return 1 if st[LAST_ADDRESS] & low == high else 0


def begin(st: Ints, gates: Ints, dwell: Ints, time: int) -> None:
    """Settle which gate groups are open, before an access."""
    closed = 0
    groups = 0
    for i in range(len(gates) // 8):
        g = 8 * i
        groups |= 1 << gates[g]
        if not is_open(st, gates, dwell, g, time):
            closed |= 1 << gates[g]
    st[MODE] = groups & ~closed


def on_bus(bus: Ints, start: int, end: int, address: int) -> int:
    """Return the machine address that arrives; pairs (moved, to) ascend between ``start`` and ``end``."""
    low, high = start, end
    while low < high:
        middle = (low + high) >> 1
        if bus[2 * middle] < address:
            low = middle + 1
        else:
            high = middle
    if low < end and bus[2 * low] == address:
        return bus[2 * low + 1]
    return address


# --- rules: one row of 20 ints each, in the order of emu.engine.pack


def concerns(rules: Ints, q: int, store: int, address: int) -> bool:
    """Return whether a rule looks at this store and address."""
    return rules[q + 1] == store and address & rules[q + 5] == rules[q + 6]


def applied(effect: int, word: int, bits: int) -> int:
    """Return the word with bits cleared, set or flipped."""
    if effect == 0:
        return word & ~bits
    if effect == 1:
        return word | bits
    return word ^ bits


def at_level(rules: Ints, q: int, word: int) -> bool:
    """Return whether the cell's bits of a word stand at the level that the edge means."""
    if rules[q + 14] == 2:
        return True
    return (word & rules[q + 12]) == (rules[q + 12] if rules[q + 14] == 0 else 0)


def altered(st: Ints, rules: Ints, q: int, word: int) -> int:
    """Return the word after one word rule."""
    action, bits = rules[q + 2], rules[q + 3]
    if action <= 2:
        kind = 1 if action == 0 else (0 if action == 1 else 2)
        return applied(kind, word, bits)
    if action == 3:
        return word | bits if word & bits else word
    if action == 4:
        return word if word & bits == bits else word & ~bits
    if action == 5:
        return word if word & bits == 0 or word & bits == bits else word ^ bits
    other = st[LAST_WORD] if action == 6 else st[LAST_READ + rules[q + 1]]
    return (word & ~bits) | (other & bits)


def act_on_word(
    st: Ints, rules: Ints, first: int, last: int, side: int, on: int, store: int, address: int, word: int
) -> int:
    """Return the word after every word rule of a side; ``on`` is 1 for reading, 2 for writing."""
    for i in range(first, last):
        q = 20 * i
        if rules[q] != side or rules[q + 2] > 7 or not rules[q + 4] & on:
            continue
        if not concerns(rules, q, store, address) or word & rules[q + 7] != rules[q + 8]:
            continue
        before = st[LAST_READ + store] if side == 0 else st[LAST_WORD]
        if before & rules[q + 9] == rules[q + 10]:
            word = altered(st, rules, q, word)
    return word


def edges(edge: int, old: int, new: int) -> int:
    """Return the bits that make an edge: 0 rise, 1 fall, 2 any."""
    if edge == 0:
        return ~old & new
    if edge == 1:
        return old & ~new
    return old ^ new


def kept(rules: Ints, first: int, last: int, store: int, cell: int, old: int, new: int) -> int:
    """Return what a cell takes when some of its bits refuse an edge."""
    for i in range(first, last):
        q = 20 * i
        if rules[q + 2] == 9 and rules[q + 1] == store and (rules[q + 11] == cell or rules[q + 11] == -1):
            new ^= edges(rules[q + 14], old, new) & rules[q + 3]
    return new


def couple(
    st: Ints, mem: Ints, rules: Ints, first: int, last: int, store: int, cell: int, old: int, new: int
) -> None:
    """Let the edges of a written cell act on other cells."""
    for i in range(first, last):
        q = 20 * i
        if rules[q + 2] == 10 and rules[q + 1] == store and rules[q + 11] == cell:
            bits = rules[q + 12]
            if edges(rules[q + 14], old, new) & bits == bits:
                other = rules[q + 13]
                set_cell(st, mem, other, applied(rules[q + 15], mem[other], rules[q + 3]))


def force(st: Ints, mem: Ints, rules: Ints, first: int, last: int, store: int) -> None:
    """Force the victims of state couplings, once, in order."""
    for i in range(first, last):
        q = 20 * i
        if rules[q + 2] == 11 and rules[q + 1] == store and at_level(rules, q, mem[rules[q + 11]]):
            other = rules[q + 13]
            set_cell(st, mem, other, applied(rules[q + 15], mem[other], rules[q + 3]))


def opens(ri: Ints, rows: Ints, mode_at: int, at: int, cell: int) -> bool:
    """Return whether reading the address whose own cell is ``at`` opens a cell."""
    r = ri[mode_at + at]
    if r < 0:
        return at == cell
    for j in range(rows[r]):  # noqa: SIM110 - compiled code has no any()
        if rows[r + 1 + j] == cell:
            return True
    return False


def disturb(
    st: Ints, mem: Ints, ri: Ints, rows: Ints, rules: Ints, first: int, last: int, mode_at: int, store: int,
    at: int, word: int,
) -> int:  # fmt: skip
    """Let reading disturb the cells that were opened; return what the reader gets."""
    for i in range(first, last):
        q = 20 * i
        cell = rules[q + 11]
        if rules[q + 2] != 12 or rules[q + 1] != store or not opens(ri, rows, mode_at, at, cell):
            continue
        if not at_level(rules, q, mem[cell]):
            continue
        set_cell(st, mem, cell, applied(rules[q + 15], mem[cell], rules[q + 3]))
        if rules[q + 18]:
            word = applied(rules[q + 15], word, rules[q + 3])
    return word


def note_before(st: Ints, mem: Ints, ri: Ints, rows: Ints, mode_at: int, cell: int) -> None:
    """Remember what the cells hold that will be written."""
    r = ri[mode_at + cell]
    if r < 0:
        st[BEFORE] = mem[cell]
        return
    for j in range(rows[r + 5]):
        st[BEFORE + j] = mem[rows[r + 6 + j]]


def put_bits(
    st: Ints, mem: Ints, ri: Ints, rows: Ints, mode_at: int, cell: int, end: int, word: int, bits: int
) -> None:
    """Write some bits of a word into the cells of another address."""
    r = ri[mode_at + cell]
    if r < 0:
        set_cell(st, mem, cell, (mem[cell] & ~bits) | (word & bits))
        return
    for j in range(rows[r + 5]):
        c = rows[r + 6 + j]
        if c < end:
            set_cell(st, mem, c, (mem[c] & ~bits) | (word & bits))


def put_one(
    st: Ints, mem: Ints, mi: Ints, masks: Ints, rules: Ints, first: int, last: int, mode_at: int, store: int,
    cell: int, old: int, word: int, elsewhere: int,
) -> None:  # fmt: skip
    """Write a word into one cell, with what its edges do."""
    new = entering(mi, masks, mode_at, cell, word)
    new = (new & ~elsewhere) | (mem[cell] & elsewhere)
    new = kept(rules, first, last, store, cell, old, new)
    set_cell(st, mem, cell, new)
    couple(st, mem, rules, first, last, store, cell, old, new)


def put(
    st: Ints, mem: Ints, ri: Ints, rows: Ints, mi: Ints, masks: Ints, rules: Ints, first: int, last: int,
    mode_at: int, store: int, base: int, address: int, end: int, word: int,
) -> None:  # fmt: skip
    """Send a word through the write path into the cells; what they held was noted before."""
    word = act_on_word(st, rules, first, last, 0, 2, store, address, word)
    elsewhere = 0
    for i in range(first, last):
        q = 20 * i
        if rules[q + 2] == 8 and concerns(rules, q, store, address):
            elsewhere |= rules[q + 3]
            other = base + ((address & rules[q + 16]) ^ rules[q + 17])
            put_bits(st, mem, ri, rows, mode_at, other, end, word, rules[q + 3])
    cell = base + address
    r = ri[mode_at + cell]
    if r < 0:
        put_one(st, mem, mi, masks, rules, first, last, mode_at, store, cell, st[BEFORE], word, elsewhere)
    else:
        for j in range(rows[r + 5]):
            c = rows[r + 6 + j]
            if c < end:
                put_one(
                    st, mem, mi, masks, rules, first, last, mode_at, store, c, st[BEFORE + j], word, elsewhere
                )
    force(st, mem, rules, first, last, store)


def read_planned(
    st: Ints, mem: Ints, ri: Ints, rows: Ints, mi: Ints, masks: Ints, wired: Ints, shapes: Ints, modes: Ints,
    rules: Ints, cells: int, store: int, cell: int,
) -> int:  # fmt: skip
    """Read a stored word under a whole plan, the mode being settled."""
    mode = st[MODE]
    mode_at, first, last = mode * cells, modes[4 * mode], modes[4 * mode + 1]
    base = shapes[5 * store]
    end, address = base + shapes[5 * store + 1], cell - base
    wired_or = wired[mode * (len(shapes) // 5) + store]
    word = sense(mem, ri, rows, mi, masks, mode_at, wired_or, cell)
    for i in range(first, last):
        q = 20 * i
        if rules[q + 2] == 8 and concerns(rules, q, store, address):
            other = base + ((address & rules[q + 16]) ^ rules[q + 17])
            there = sense(mem, ri, rows, mi, masks, mode_at, wired_or, other)
            word = (word & ~rules[q + 3]) | (there & rules[q + 3])
    cells_gave = word
    word = act_on_word(st, rules, first, last, 0, 1, store, address, word)
    word = disturb(st, mem, ri, rows, rules, first, last, mode_at, store, cell, word)
    if shapes[5 * store + 3]:
        note_before(st, mem, ri, rows, mode_at, cell)
        clear_opened(st, mem, ri, rows, mode_at, cell, end)
        put(st, mem, ri, rows, mi, masks, rules, first, last, mode_at, store, base, address, end, word)
    word = act_on_word(st, rules, first, last, 1, 1, store, address, word)
    st[LAST_WORD] = word
    st[LAST_ADDRESS] = address
    st[ACCESS] += 1
    st[LAST_READ + store] = cells_gave
    return word


def write_planned(
    st: Ints, mem: Ints, ri: Ints, rows: Ints, mi: Ints, masks: Ints, shapes: Ints, modes: Ints,
    rules: Ints, cells: int, store: int, cell: int, word: int,
) -> None:  # fmt: skip
    """Write a stored word under a whole plan, the mode being settled."""
    mode = st[MODE]
    mode_at, first, last = mode * cells, modes[4 * mode], modes[4 * mode + 1]
    base = shapes[5 * store]
    end, address = base + shapes[5 * store + 1], cell - base
    word = act_on_word(st, rules, first, last, 1, 2, store, address, word)
    st[LAST_WORD] = word
    st[LAST_ADDRESS] = address
    st[ACCESS] += 1
    if shapes[5 * store + 4]:
        note_before(st, mem, ri, rows, mode_at, cell)
        put(st, mem, ri, rows, mi, masks, rules, first, last, mode_at, store, base, address, end, word)


def force_at_start(
    st: Ints, mem: Ints, modes: Ints, rules: Ints, gates: Ints, dwell: Ints, stores: int
) -> None:
    """Let state couplings act at power-up."""
    begin(st, gates, dwell, 0)
    mode = st[MODE]
    for store in range(stores):
        force(st, mem, rules, modes[4 * mode], modes[4 * mode + 1], store)
