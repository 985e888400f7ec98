; Fill memory with a pattern, pause, look at it, then the same with the complement.
;
; `choose` (in the test) sets r2 to the word that belongs at r1 and returns by r7; it may use r3 and r4.
; `pause` waits and returns by r7.

.include "parts/frame.asm"

test:   set r6, 0                       ; 0: the pattern, -1: its complement
round:  load r1, first
        load r0, after_last
fill:   call r7, choose
        differ r2, r2, r6
        store-at r2, r1, 0
        add-number r1, r1, 1
        jump-if-unequal r1, r0, fill
        call r7, pause
        load r1, last
        load r0, before_first
look:   call r7, choose
        differ r2, r2, r6
        load-at r3, r1, 0
        jump-if-equal r3, r2, look_ok
        call r7, bad
look_ok:
        add-number r1, r1, -1
        jump-if-unequal r1, r0, look
        jump-if-not-zero r6, good
        set r6, -1
        jump round
