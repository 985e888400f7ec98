; machine: sandpiper
;
; Memory below F000, March C- with all zeros and all ones.
;
; Finds:    chips and cells that stick, that do not change, that disturb one another; address lines that are dead,
;           stuck or shorted in all chips. What spoils one bit of a word only counts as `mended`.
; Destroys: memory below F000. The words where the test stands are tested by selftest-march.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0F000
.let FIRST = 0000
.let LAST = 0EFFF

.include "parts/march-once.asm"
