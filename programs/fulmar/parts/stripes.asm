; Fill core with a pattern of two words, pause, look at it, then the same with the two words exchanged.
;
; `choose` (in the test) sets the accumulator to the word that belongs at `index`, and may use `extra`; the two
; words are 4000 and 4001 of the rope bank that is shown, bank 1 first, then bank 2. `pause` is in the test too.
; Ends at `good` or `bad`.

.let even = 4000
.let odd = 4001

test:   set-bank 1
stripes:
        rearm
        load top
        acc-to-index
fill:   call choose
        store-indexed 0
        loop fill
        call pause
        load top
        acc-to-index
look:   call choose
        acc-to-extra
        load-indexed 0
        differ
        skip-if-equal zero
        jump wrong
        loop look
        bank-to-acc
        skip-if-equal two
        jump other
        jump good
other:  set-bank 2
        jump stripes

wrong:  differ
        jump bad

zero:   .word 0
one:    .word 1
two:    .word 2
top:    .word 3777
