; machine: sandpiper
;
; Memory from 0400 up, does it keep its words? All zeros, two seconds of waiting, a look; then all ones.
;
; Finds:    cells that lose their charge, a refresh that does not reach them.
;           (No fault of the model acts by time alone: a grade says nothing about that.)
; Destroys: memory from 0400 up.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0100
.let FIRST = 0400
.let LAST = 0FFFF

.include "parts/stripes.asm"

choose: set r2, 0
        jump-at r7

pause:  load r4, ticks                  ; one cycle of 0.9 microseconds each
wait:   count-down r4, wait
        jump-at r7

ticks:  .word 0d_2222222
