; machine: dunlin
;
; Core from 1000 up, the pattern that makes the most noise on the sense winding.
;
; A plane has 64 lines one way (address bits 0 to 5) and 64 the other way (bits 6 to 11). The sense winding runs
; through a core the one way or the other as the two line numbers add up to an even or an odd number. With ones
; exactly where it runs one way, the noise of all half-selected cores adds up instead of cancelling.
;
; Finds:    drive currents, strobe or thresholds at the edge: ones or zeros lost that a plain pattern keeps. (A weak
;           bit of the model is lost whatever its neighbours hold, so a grade shows no gain over a plain pattern.)
; Destroys: core from 1000 up.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 0000
.let FIRST = 1000
.let LAST = 7777

.include "parts/stripes.asm"

.at 600
choose: load where
        shift-right 6
        differ where
        keep one
        jump-if-zero plain
        load high
        store want
        return
plain:  load low
        store want
        return

pause:  return
