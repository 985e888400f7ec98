; machine: dunlin
;
; Core from 1000 up, a checkerboard in the order of addresses: neighbouring bits and neighbouring words differ.
;
; Finds:    cells that stick, neighbours that are shorted.
; Destroys: core from 1000 up.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 0000
.let FIRST = 1000
.let LAST = 7777

.include "parts/stripes.asm"

.at 110
bars:   .word 2525                      ; 2525 at even words, its complement at odd ones; then the reverse

.at 600
choose: load where
        keep one
        differ round
        jump-if-zero plain
        load bars
        flip
        store want
        return
plain:  load bars
        store want
        return

pause:  return
