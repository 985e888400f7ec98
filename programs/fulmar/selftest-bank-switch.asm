; machine: fulmar
;
; The bank register and what switches the banks.
;
; Every bank holds its own number and the complement of that near its end. The banks are visited upward, then in an
; order in which many bits of the bank register change at once, and after each visit bank 0 must be seen there
; again, and in the fixed window.
;
; Finds:    bits of the bank register, its decoder and its wires that are dead, stuck, shorted or exchanged.
; Destroys: nothing.
; Reports:  BAD bank expected got, see parts/report.asm; got is the number that the bank says it has.

.include "parts/report.asm"

.let tag = 5774
.let untag = 5775
.let fixed_tag = 7774

test:   set 0
        acc-to-index
up:     rearm
        index-to-acc                    ; bank 0, 1, 2, ...
        acc-to-bank
        acc-to-extra
        load tag
        differ
        skip-if-equal zero
        jump wrong
        extra-to-acc
        flip
        acc-to-extra
        load untag
        differ
        skip-if-equal zero
        jump wrong
        forward 1
        index-to-acc
        skip-if-equal banks
        jump up

        set 0
        acc-to-index
swap:   rearm
        index-to-acc                    ; bank n, then 27 - n (octal), then 0
        acc-to-bank
        acc-to-extra
        load tag
        differ
        skip-if-equal zero
        jump wrong
        index-to-acc
        flip
        add last_bank
        acc-to-bank
        acc-to-extra
        load untag
        flip
        differ
        skip-if-equal zero
        jump wrong
        set-bank 0
        set 0
        acc-to-extra
        load tag
        skip-if-equal zero
        jump bad
        load fixed_tag
        skip-if-equal zero
        jump bad
        forward 1
        index-to-acc
        skip-if-equal last_bank         ; its partner would be bank 0, as it comes out: negative zero
        jump swap
        jump good

wrong:  differ
        jump bad

zero:           .word 0
banks:          .word 30
last_bank:      .word 27

.at 7000
.include "parts/filler.asm"
.at 7774
        .word 0, 177777, 0, 132664

.include "parts/gate-banks.asm"
.include "parts/spare-banks.asm"
