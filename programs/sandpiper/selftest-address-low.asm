; machine: sandpiper
;
; Memory below F000, the address written into its own word, then its complement.
;
; Finds:    address lines that are dead, stuck, shorted, or exchanged on one side only; words that are selected
;           together or not at all. Every word tested is different from every other.
; Destroys: memory below F000. The words where the test stands are tested by selftest-address.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0F000
.let FIRST = 0000
.let LAST = 0EFFF

.include "parts/address.asm"
