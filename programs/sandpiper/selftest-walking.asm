; machine: sandpiper
;
; Memory from 0400 up, a single one and then a single zero walking through the 24 bits of every word.
;
; Finds:    data lines that are dead, stuck or shorted to a neighbour; cells that stick.
; Destroys: memory from 0400 up.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0100
.let FIRST = 0400
.let LAST = 0FFFF

.include "parts/frame.asm"

test:   load r1, first
        load r0, after_last
word:   set r2, 1
walk:   store-at r2, r1, 0
        load-at r3, r1, 0
        jump-if-equal r3, r2, walk_ok
        call r7, bad
walk_ok:
        set r6, -1                      ; the zero at the same place
        differ r2, r2, r6
        store-at r2, r1, 0
        load-at r3, r1, 0
        jump-if-equal r3, r2, wane_ok
        call r7, bad
wane_ok:
        differ r2, r2, r6
        add r2, r2, r2                  ; the one moves left, and out at last
        jump-if-not-zero r2, walk
        add-number r1, r1, 1
        jump-if-unequal r1, r0, word
        jump good
