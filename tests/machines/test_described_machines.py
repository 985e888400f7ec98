"""Two machines of quite another kind, described in files beside this one, and a program for each."""

import struct
from pathlib import Path

from emu.load import load_machine

HERE = Path(__file__).parent
WORDS = (-3, 7, 0x1234, -0x8000, 0x7FFF, 0)
TEXT = "tide and sluice"

KNOT = """
; machine: knot
; Sum the half-words at `halves`, turn the text round byte by byte, count its letters e, keep zero zero.
.at 0
        number r1, r0, halves
        number r2, r0, halves_end
        number r3, r0, 0
next:   fetch-half r4, r1, 0
        sum r3, r3, r4
        number r1, r1, 2
        go-if-below r1, r2, next
        give r3
        put-word r3, r0, total

        number r1, r0, letters
        number r2, r0, letters
        number r2, r2, length - 1
        number r6, r0, 0
        number r7, r0, 'e'
turn:   fetch-byte r4, r1, 0
        fetch-byte-plain r5, r2, 0
        put-byte r5, r1, 0
        put-byte r4, r2, 0
        number r1, r1, 1
        number r2, r2, -1
        go-if-below r1, r2, turn

        number r1, r0, letters
        number r2, r1, length
count:  fetch-byte r4, r1, 0
        go-if-other r4, r7, other
        number r6, r6, 1
other:  number r1, r1, 1
        go-if-other r1, r2, count
        give r6

        number r0, r0, 5                ; nobody hears of it
        give r0
        go r31, under
        give r8
        put-half r3, r0, total + 2
        finish

under:  number-left r8, 1FFFF           ; ones in the left 17 bits,
        number r9, r0, -0d_15
        shift r8, r8, r9                ; and then in the right ones
        go-back r31

total:      .word 0
letters:    .reserve 4
halves:     .reserve 3
halves_end:
"""


def packed(data: bytes) -> list[int]:
    """Return words of four bytes, the first in the right eight bits."""
    padded = data + bytes(-len(data) % 4)
    return list(struct.unpack(f"<{len(padded) // 4}I", padded))


def test_a_machine_with_32_registers_bytes_and_a_hard_wired_zero(library) -> None:
    machine = load_machine(HERE / "knot.toml")
    halves = struct.pack(f"<{len(WORDS)}h", *WORDS)
    data = {"letters:    .reserve 4": packed(TEXT.encode()), "halves:     .reserve 3": packed(halves)}
    text = KNOT.replace("length", f"0d_{len(TEXT)}")
    for old, words in data.items():
        label = old.partition(":")[0]
        text = text.replace(old, f"{label}: .word " + ", ".join(f"0x{w:x}" for w in words))
    ran = library.run_text(machine, text)
    assert ran.result.stop.kind == "halt"
    outputs = [word for _, _, word in ran.result.outputs]
    assert outputs == [sum(WORDS) & 0xFFFFFFFF, TEXT.count("e"), 0, 0x1FFFF]
    symbols = {s.name: s.value for s in ran.assembly.symbols}
    memory = b"".join(struct.pack("<I", word) for word in ran.words("main"))
    assert memory[symbols["letters"] :][: len(TEXT)] == TEXT.encode()[::-1]
    total = sum(WORDS) & 0xFFFF
    assert struct.unpack_from("<HH", memory, symbols["total"]) == (total, total)
    registers = ran.result.registers["r"]
    assert registers[0] == 0
    assert registers[8] == 0x1FFFF


def test_an_address_beyond_the_memory_halts_that_machine(library) -> None:
    machine = load_machine(HERE / "knot.toml")
    ran = library.run_text(
        machine, "; machine: knot\n.at 0\nnumber-left r1, 1\nfetch-word r2, r1, 0\nfinish\n"
    )
    assert ran.result.stop.kind == "alarm-halt"
    assert ran.alarms == {"nowhere": 1}


PLOVER = """
; machine: plover
; Walk a table up to its zero: add up the negative words, and count the odd ones that are not negative.
.at 10
        finger-at table
next:   right-from-finger
        if-zero done
        if-negative below
        if-odd odd
        go next
below:  left-from minus
        left-and-right                  ; the sum does not touch the flags
        left-to minus
        go next
odd:    left-from odds
        right-from one
        left-and-right
        left-to odds
        go next
done:   left-from minus
        if-negative right_way
        finish
right_way:
        right-from odds
        finish

minus:  .word 0
odds:   .word 0
one:    .word 1
table:
"""


def test_a_machine_whose_loads_set_flags(library) -> None:
    machine = load_machine(HERE / "plover.toml")
    words = [3, -5, 8, 0x7FFF, -2, -0x7FF0, 1, 6]
    table = ", ".join(f"0x{w & 0xFFFF:x}" for w in [*words, 0])
    ran = library.run_text(machine, PLOVER.replace("table:", f"table: .word {table}"))
    assert ran.result.stop.kind == "halt"
    registers = ran.result.registers
    assert registers["left"] == sum(w for w in words if w < 0) & 0xFFFF
    assert registers["right"] == sum(1 for w in words if w > 0 and w % 2)
    assert (registers["was_zero"], registers["was_negative"], registers["was_odd"]) == (0, 0, 1)
