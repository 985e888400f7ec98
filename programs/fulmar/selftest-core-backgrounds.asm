; machine: fulmar
;
; Core, March C- with the data backgrounds of a word-oriented memory.
;
; One pass with all zeros and all ones cannot see that two bits of one word disturb each other, for they are
; always alike. So the march is run with stripes one, two, four and eight bits wide as well; of any two bits
; some pass holds them different. With 16 bits a word and its complement have the same parity, so a last pass
; uses a pair of words between which the parity bit and the leftmost bit change.
;
; Finds:    what selftest-core-march finds, and coupling between bits of a word, parity bit included.
; Destroys: all of core.
; Reports:  one printed line, see parts/report.asm. `bank` tells the background: its pair stands in bank 1 to 6.

.include "parts/report.asm"

test:   set-bank 1
        jump march
march_done:
        bank-to-acc
        skip-if-equal last_pair
        jump next_pair
        jump good
next_pair:
        add one
        acc-to-bank
        jump march

.include "parts/march-c.asm"

first:          .word 0
last:           .word 3777
after_last:     .word 4000
before_first:   .word 7777
one:            .word 1
last_pair:      .word 6

.bank 1
.at 4000
        .word 000000, 177777
.bank 2
.at 4000
        .word 052525, 125252
.bank 3
.at 4000
        .word 031463, 146314
.bank 4
.at 4000
        .word 007417, 170360
.bank 5
.at 4000
        .word 000377, 177400
.bank 6
.at 4000
        .word 000000, 100000
