; The address in its own word, upward; then its complement, downward. In the left eight bits, which no address
; fills, stands the complement of its right half, so that every bit has both values somewhere.

.include "parts/frame.asm"

test:   load r1, first
        load r0, after_last
        set r6, 10
fill_1: set r2, -1
        differ r2, r2, r1
        shift-left r2, r2, r6
        either r2, r2, r1
        store-at r2, r1, 0
        add-number r1, r1, 1
        jump-if-unequal r1, r0, fill_1

        load r1, first
look_1: set r2, -1
        differ r2, r2, r1
        shift-left r2, r2, r6
        either r2, r2, r1
        load-at r3, r1, 0
        jump-if-equal r3, r2, look_1_ok
        call r7, bad
look_1_ok:
        add-number r1, r1, 1
        jump-if-unequal r1, r0, look_1

        load r1, last
        load r0, before_first
fill_2: set r2, -1
        differ r3, r2, r1
        shift-left r3, r3, r6
        either r3, r3, r1
        differ r2, r2, r3
        store-at r2, r1, 0
        add-number r1, r1, -1
        jump-if-unequal r1, r0, fill_2

        load r1, last
look_2: set r2, -1
        differ r3, r2, r1
        shift-left r3, r3, r6
        either r3, r3, r1
        differ r2, r2, r3
        load-at r3, r1, 0
        jump-if-equal r3, r2, look_2_ok
        call r7, bad
look_2_ok:
        add-number r1, r1, -1
        jump-if-unequal r1, r0, look_2
        jump good
