; machine: sandpiper
;
; Memory from 0400 up, a checkerboard in the order of addresses: neighbouring bits and neighbouring words differ.
;
; Finds:    cells that stick, neighbours that are shorted.
; Destroys: memory from 0400 up.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0100
.let FIRST = 0400
.let LAST = 0FFFF

.include "parts/stripes.asm"

choose: load r2, bars
        set r3, 1
        keep r3, r1, r3
        jump-if-zero r3, chosen
        add r2, r2, r2
chosen: jump-at r7

pause:  jump-at r7

bars:   .word 555555
