; machine: fulmar
;
; Core, a checkerboard in the order of addresses: neighbouring bits and neighbouring words differ.
;
; This is the pattern that looks worst on paper. It is not the worst for the sense winding, which runs through half
; of the cores the other way: see selftest-core-worst.
;
; Finds:    cells that stick, neighbours that are shorted. The parity bit is 1 for every word: its cells are only
;           seen to hold that.
; Destroys: all of core.
; Reports:  one printed line, see parts/report.asm.

.include "parts/report.asm"
.include "parts/stripes.asm"

choose: index-to-acc
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
        .word 052525, 125252
.bank 2
.at 4000
        .word 125252, 052525
