; machine: sandpiper
;
; Memory from 0400 up, March C- with the data backgrounds of a word-oriented memory.
;
; All zeros and all ones cannot show that two bits of one word disturb each other, for they are always alike. So the
; march is run with stripes one, two, four, eight and sixteen bits wide as well; of any two data bits some pass
; holds them different. (In this machine every bit of a word has a chip of its own: such coupling is a matter of
; wires, not of cells.)
;
; Finds:    what selftest-march finds, and coupling between bits of a word.
; Destroys: memory from 0400 up.
; Reports:  printed lines, see parts/frame.asm, and the alarms.

.let home = 0100
.let FIRST = 0400
.let LAST = 0FFFF

.include "parts/frame.asm"

test:   set r4, background
        store r4, pair
next:   load r4, pair
        load-at r4, r4, 0
        store r4, low
        set r5, -1
        differ r4, r4, r5
        store r4, high
.include "parts/march-c.asm"
        load r4, pair
        add-number r4, r4, 1
        store r4, pair
        set r5, background + 6
        jump-if-unequal r4, r5, next
        jump good

pair:           .word 0
background:     .word 000000, 0AAAAAA, 0CCCCCC, 0F0F0F0, 0FF00FF, 0FF0000
