; machine: fulmar
;
; Core, the address written into its own word, then its complement.
;
; Finds:    address lines that are dead, stuck, shorted or exchanged on one side only; words that are selected
;           together or not at all. Each word of core is different from every other.
; Destroys: all of core.
; Reports:  one printed line, see parts/report.asm.

.include "parts/report.asm"

test:   rearm                           ; upward: the address
        set 0
        acc-to-index
fill_1: index-to-acc
        acc-to-extra
        store-indexed 0
        forward 1
        index-to-acc
        skip-if-equal size
        jump fill_1

        rearm                           ; upward: is it there?
        set 0
        acc-to-index
read_1: index-to-acc
        acc-to-extra
        load-indexed 0
        differ                          ; 0 in every bit if right
        skip-if-equal zero
        jump wrong
        forward 1
        index-to-acc
        skip-if-equal size
        jump read_1

        rearm                           ; downward: the complement
        load top
        acc-to-index
fill_2: index-to-acc
        flip
        acc-to-extra
        store-indexed 0
        loop fill_2

        rearm                           ; downward: is it there?
        load top
        acc-to-index
read_2: index-to-acc
        flip
        acc-to-extra
        load-indexed 0
        differ
        skip-if-equal zero
        jump wrong
        loop read_2
        jump good

wrong:  differ                          ; what differs, differing again, is what was got
        jump bad

zero:   .word 0
size:   .word 4000
top:    .word 3777
