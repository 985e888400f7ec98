; machine: sandpiper
;
; The generator and the checker of the check bits, on one word.
;
; Words with one bit, with two neighbouring ones, with four, eight and twelve in a row, turned through all places, and
; their complements are written and read back at once. A generator that does not heed a bit stores wrong check
; bits: the word comes back as mended or as past mending, or mended to something else.
;
; Finds:    inputs of the generator or the checker that are dead or stuck.
;           Generator and checker that are dead alike are not found: they agree.
; Destroys: word 0400.
; Reports:  printed lines, see parts/frame.asm, and the alarms; healthy there is no alarm at all.

.let home = 0100
.let FIRST = 0400
.let LAST = 0400

.include "parts/frame.asm"

test:   load r1, first
        set r6, rows
        set r0, 1
row:    load-at r2, r6, 0
turn:   store-at r2, r1, 0
        load-at r3, r1, 0
        jump-if-equal r3, r2, turn_ok
        call r7, bad
turn_ok:
        set r4, -1
        differ r2, r2, r4
        store-at r2, r1, 0
        load-at r3, r1, 0
        jump-if-equal r3, r2, flip_ok
        call r7, bad
flip_ok:
        set r4, -1
        differ r2, r2, r4
        turn-left r2, r2, r0
        load-at r4, r6, 0
        jump-if-unequal r2, r4, turn
        add-number r6, r6, 1
        set r4, after_rows
        jump-if-unequal r6, r4, row
        jump good

rows:   .word 000001, 000003, 00000F, 0000FF, 000FFF, 0FFFFFF
after_rows:
