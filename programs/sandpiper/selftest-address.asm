; machine: sandpiper
;
; Memory from 0400 up, the address written into its own word, then its complement.
;
; Finds:    address lines that are dead, stuck, shorted, or exchanged on one side only; words that are selected
;           together or not at all. Every word tested is different from every other.
; Destroys: memory from 0400 up. The words where the test stands are tested by selftest-address-low.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0100
.let FIRST = 0400
.let LAST = 0FFFF

.include "parts/address.asm"
