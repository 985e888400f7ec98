; machine: dunlin
;
; Core from 1000 up, the address written into its own word, then its complement.
;
; Finds:    address lines that are dead, stuck, shorted, or exchanged on one side only; words that are selected
;           together or not at all. Every word tested is different from every other.
; Destroys: core from 1000 up. The words where the test stands are tested by selftest-address-low.
; Reports:  typed lines and `mark`, see parts/frame.asm.

.let home = 0000
.let FIRST = 1000
.let LAST = 7777

.include "parts/address.asm"
