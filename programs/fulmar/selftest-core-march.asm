; machine: fulmar
;
; Core, March C- with all zeros and all ones.
;
; Finds:    cells that stick, that do not change, that disturb one another; address lines that are dead, stuck
;           or shorted; a read that does not restore. The parity bit is 1 for both words: its cells are only
;           seen to hold that (selftest-core-backgrounds does the rest).
; Destroys: all of core.
; Reports:  one printed line, see parts/report.asm. Works in registers, no word of core is trusted.

.include "parts/report.asm"

test:   set-bank 1
        jump march
march_done:
        jump good

.include "parts/march-c.asm"

first:          .word 0
last:           .word 3777
after_last:     .word 4000
before_first:   .word 7777

.bank 1
.at 4000
        .word 000000, 177777
