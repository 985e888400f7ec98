; machine: dunlin
;
; Core from 1000 up, a single one and then a single zero walking through the twelve bits of every word.
;
; Finds:    bits of the sense and inhibit circuits that are dead, stuck or shorted to a neighbour; cells that stick.
; Destroys: core from 1000 up.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 0000
.let FIRST = 1000
.let LAST = 7777

.include "parts/frame.asm"

test:   point first
word:   set 1
        store want
walk:   load want
        store-at
        load-at
        differ want
        jump-if-zero walk_ok
        store diff
        pointer-to-acc
        store where
        point bad_at
        call-at
walk_ok:
        load want
        flip                            ; a one, then a zero at the same place, then the next place
        store want
        store-at
        load-at
        differ want
        jump-if-zero wane_ok
        store diff
        pointer-to-acc
        store where
        point bad_at
        call-at
wane_ok:
        load want
        flip
        shift-left 1
        store want
        jump-if-not-zero walk
        forward 1
        pointer-to-acc
        differ after_last
        jump-if-not-zero word
        point good_at
        jump-at
