; machine: dunlin
;
; Core from 1000 up, does it keep its words? All zeros, two seconds of waiting, a look; then all ones.
;
; Finds:    cells that lose their word with time.
;           (No fault of the model acts by time alone: a grade says nothing about that.)
; Destroys: core from 1000 up.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 0000
.let FIRST = 1000
.let LAST = 7777

.include "parts/stripes.asm"

.at 110
ticks:          .word 0
rounds:         .word 0
rounds_wanted:  .word -0d16

.at 600
choose: load low
        store want
        return

pause:  load rounds_wanted              ; 16 times 4096 times 5 cycles of 6 microseconds: two seconds
        store rounds
pause_1:
        count-up ticks
        jump pause_1
        count-up rounds
        jump pause_1
        return
