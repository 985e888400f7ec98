; machine: fulmar
;
; Core, a single one and then a single zero walking through the sixteen bits of every word.
;
; Finds:    bits of the sense and inhibit circuits that are dead, stuck or shorted to a neighbour; cells that
;           stick; a parity generator that does not heed one of its sixteen inputs (it restarts the machine).
;           The parity bit is 0 for every word: its cells are only seen to hold that.
; Destroys: all of core.
; Reports:  one printed line, see parts/report.asm.

.include "parts/report.asm"

test:   load top
        acc-to-index
word_1: rearm
        set 1                           ; a one, from right to left
walk_1: acc-to-extra
        store-indexed 0
        load-indexed 0
        differ
        skip-if-equal zero
        jump wrong
        extra-to-acc
        shift-left 1
        skip-if-equal zero
        jump walk_1
        set 1                           ; a zero, all the way round
        flip
walk_0: acc-to-extra
        store-indexed 0
        load-indexed 0
        differ
        skip-if-equal zero
        jump wrong
        extra-to-acc
        turn-left 1
        skip-if-equal all_but_one
        jump walk_0
        loop word_1
        jump good

wrong:  differ
        jump bad

zero:           .word 0
all_but_one:    .word 177776
top:            .word 3777
