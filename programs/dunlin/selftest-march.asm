; machine: dunlin
;
; Core from 1000 up, March C- with all zeros and all ones.
;
; Finds:    cells that stick, that do not change, that disturb one another; address lines that are dead, stuck
;           or shorted; a read that does not restore.
; Destroys: core from 1000 up. The words where the test stands are tested by selftest-march-low.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 0000
.let FIRST = 1000
.let LAST = 7777

.include "parts/march-once.asm"
