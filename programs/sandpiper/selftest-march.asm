; machine: sandpiper
;
; Memory from 0400 up, March C- with all zeros and all ones.
;
; Finds:    chips and cells that stick, that do not change, that disturb one another; address lines that are dead,
;           stuck or shorted in all chips. What spoils one bit of a word only counts as `mended`.
; Destroys: memory from 0400 up. The words where the test stands are tested by selftest-march-low.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0100
.let FIRST = 0400
.let LAST = 0FFFF

.include "parts/march-once.asm"
