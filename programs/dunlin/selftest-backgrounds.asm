; machine: dunlin
;
; Core from 1000 up, March C- with the data backgrounds of a word-oriented memory.
;
; All zeros and all ones cannot show that two bits of one word disturb each other, for they are always alike. So the
; march is run with stripes one, two, four and eight bits wide as well; of any two bits some pass holds them
; different.
;
; Finds:    what selftest-march finds, and coupling between bits of a word.
; Destroys: core from 1000 up.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 0000
.let FIRST = 1000
.let LAST = 7777

.include "parts/frame.asm"

test:   load pairs
        store pair
next:   point pair
        load-at
        store low
        flip
        store high
.include "parts/march-c.asm"
        load pair
        add one
        store pair
        differ after_pairs
        jump-if-zero done
        point next_at
        jump-at
done:   point good_at
        jump-at

.at 100
pair:           .word 0                 ; where the background in use stands
pairs:          .word background
after_pairs:    .word background + 5
next_at:        .word next
background:     .word 0000, 5252, 6314, 7417, 0377
