; machine: dunlin
;
; Core below 7000, the address written into its own word, then its complement.
;
; Finds:    address lines that are dead, stuck, shorted, or exchanged on one side only; words that are selected
;           together or not at all. Every word tested is different from every other.
; Destroys: core below 7000. The words where the test stands are tested by selftest-address.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 7000
.let FIRST = 0000
.let LAST = 6777

.include "parts/address.asm"
