; machine: sandpiper
;
; Memory from 0400 up, a checkerboard in the order in which the cells lie in a chip.
;
; A chip of 65536 bits is a square of 256 rows (address bits 8 to 15) and 256 columns (address bits 0 to 7). Cells that
; touch one another hold different bits when row and column number together decide; all chips hold the same.
;
; Finds:    neighbouring cells of one chip that are shorted or that leak into each other.
; Destroys: memory from 0400 up.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0100
.let FIRST = 0400
.let LAST = 0FFFF

.include "parts/stripes.asm"

choose: set r2, 8
        shift-right r3, r1, r2
        differ r3, r3, r1
        set r2, 1
        keep r3, r3, r2
        differ r2, r2, r2
        jump-if-zero r3, chosen
        set r2, -1
chosen: jump-at r7

pause:  jump-at r7
