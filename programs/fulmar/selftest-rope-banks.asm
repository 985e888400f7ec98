; machine: fulmar
;
; Rope, the sum of every bank, by a program that stands in the rope and uses registers only.
;
; Every bank ends with a word that makes its ones' complement sum negative zero. The banks 1 to 27 (octal) are those
; of the gate sequence; bank 0 is this program's own.
;
; Finds:    rope lines that are open, stuck or shorted, sense lines that are dead: whatever changes a word. Much
;           of that also breaks parity and restarts the machine. Words that change places within a bank, and a
;           bank that answers in the place of another, are not found, for the sums stay right:
;           selftest-bank-switch finds the latter.
; Destroys: nothing.
; Reports:  BAD bank expected got, see parts/report.asm. The panel shows the bank being summed. After RST, adr
;           is the word, counted from 4000.

.include "parts/report.asm"

test:   set-bank 0
each:   rearm
        bank-to-acc
        show
        set 0
        acc-to-extra
        set 1777
        acc-to-index
sum:    load-indexed 4000
        gather
        loop sum
        extra-to-acc
        skip-if-equal minus_zero
        jump wrong
        bank-to-acc
        skip-if-equal last_bank
        jump next
        jump good
next:   add one
        acc-to-bank
        jump each

wrong:  bank-to-acc
        acc-to-index
        load minus_zero
        exchange
        jump bad

minus_zero:     .word 177777
one:            .word 1
last_bank:      .word 27

.at 7000
.include "parts/filler.asm"
.at 7774
        .word 0, 177777, 0, 025273

.include "parts/gate-banks.asm"
.include "parts/spare-banks.asm"
