; machine: dunlin
;
; Core below 7000, March C- with all zeros and all ones.
;
; Finds:    cells that stick, that do not change, that disturb one another; address lines that are dead, stuck
;           or shorted; a read that does not restore.
; Destroys: core below 7000. The words where the test stands are tested by selftest-march.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 7000
.let FIRST = 0000
.let LAST = 6777

.include "parts/march-once.asm"
