; March C- with the words `low` and `high`:
;
;     either way: write low;  up: read low, write high;  up: read high, write low;
;     down: read low, write high;  down: read high, write low;  either way: read low
;
; Then the test goes on behind this part. Uses r0 (the end), r1, r2, r3, r6 (the word to write).

march:  load r6, low                    ; either way: write low
        load r1, first
        load r0, after_last
clear:  store-at r6, r1, 0
        add-number r1, r1, 1
        jump-if-unequal r1, r0, clear

        load r2, low                    ; up: read low, write high
        load r6, high
        load r1, first
up_1:   load-at r3, r1, 0
        jump-if-equal r3, r2, up_1_ok
        call r7, bad
up_1_ok:
        store-at r6, r1, 0
        add-number r1, r1, 1
        jump-if-unequal r1, r0, up_1

        load r2, high                   ; up: read high, write low
        load r6, low
        load r1, first
up_2:   load-at r3, r1, 0
        jump-if-equal r3, r2, up_2_ok
        call r7, bad
up_2_ok:
        store-at r6, r1, 0
        add-number r1, r1, 1
        jump-if-unequal r1, r0, up_2

        load r2, low                    ; down: read low, write high
        load r6, high
        load r1, last
        load r0, before_first
down_1: load-at r3, r1, 0
        jump-if-equal r3, r2, down_1_ok
        call r7, bad
down_1_ok:
        store-at r6, r1, 0
        add-number r1, r1, -1
        jump-if-unequal r1, r0, down_1

        load r2, high                   ; down: read high, write low
        load r6, low
        load r1, last
down_2: load-at r3, r1, 0
        jump-if-equal r3, r2, down_2_ok
        call r7, bad
down_2_ok:
        store-at r6, r1, 0
        add-number r1, r1, -1
        jump-if-unequal r1, r0, down_2

        load r2, low                    ; either way: read low
        load r1, first
        load r0, after_last
look:   load-at r3, r1, 0
        jump-if-equal r3, r2, look_ok
        call r7, bad
look_ok:
        add-number r1, r1, 1
        jump-if-unequal r1, r0, look
