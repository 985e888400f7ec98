; machine: fulmar
;
; Core, the pattern that makes the most noise on the sense winding.
;
; A plane has 32 lines one way (address bits 0 to 4) and 64 the other way (bits 5 to 10). The sense winding runs
; through a core the one way or the other as the two line numbers add up to an even or an odd number. With ones
; exactly where it runs one way, the noise of all half-selected cores adds up instead of cancelling.
;
; Finds:    drive currents, strobe or thresholds at the edge: ones or zeros lost that a plain pattern keeps. (A weak
;           bit of the model is lost whatever its neighbours hold, so a grade shows no gain over a plain pattern.)
; Destroys: all of core.
; Reports:  one printed line, see parts/report.asm.

.include "parts/report.asm"
.include "parts/stripes.asm"

choose: index-to-acc
        acc-to-extra
        shift-right 5                   ; the other line number
        differ
        keep one
        jump-if-zero choose_even
        load odd
        return
choose_even:
        load even
        return

pause:  rearm
        return

.bank 1
.at 4000
        .word 177777, 000000
.bank 2
.at 4000
        .word 000000, 177777
