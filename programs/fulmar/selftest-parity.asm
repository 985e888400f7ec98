; machine: fulmar
;
; The parity generator and the parity check.
;
; Words are written to one word of core and read back, chosen so that every one of the sixteen inputs of the
; generator changes the parity bit, alone and together with its neighbours: one bit, two, four, eight and fifteen
; bits in a row, turned through all places. A generator or a check that does not heed an input finds a word of
; its own making wrong and restarts the machine.
;
; Finds:    inputs of the parity generator or check that are dead or stuck; a dead parity plane.
;           Generator and check that are dead alike are not found: they agree.
; Destroys: word 1000 of core.
; Reports:  one printed line, see parts/report.asm; RST is the likely one.

.include "parts/report.asm"

test:   set 1000
        acc-to-index
        set-bank 1
again:  rearm
        load first_word
turn:   acc-to-extra
        store-indexed 0
        load-indexed 0
        differ
        skip-if-equal zero
        jump wrong
        extra-to-acc
        turn-left 1
        skip-if-equal first_word        ; all sixteen places done
        jump turn
        bank-to-acc
        skip-if-equal last_bank
        jump next
        jump good
next:   add one
        acc-to-bank
        jump again

wrong:  differ
        jump bad

.let first_word = 4000
zero:           .word 0
one:            .word 1
last_bank:      .word 7

.bank 1
.at 4000
        .word 000001
.bank 2
.at 4000
        .word 000003
.bank 3
.at 4000
        .word 000017
.bank 4
.at 4000
        .word 000377
.bank 5
.at 4000
        .word 077777
.bank 6
.at 4000
        .word 000000
.bank 7
.at 4000
        .word 177777
