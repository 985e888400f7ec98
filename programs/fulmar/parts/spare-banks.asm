; Rope banks 4 to 27 (octal), which no program needs yet. They are not left blank: a blank bank
; would tell little about its wires. The first half holds a pattern of the bank's own, the second half its complement; then come the
; bank's number, the complement of that, and the word that makes the sum of the bank negative zero.

.bank 4
.at 4000
        .fill 776, 031427
        .fill 776, 146350
        .word 4, 177777 - 4, 0, 177777
.bank 5
.at 4000
        .fill 776, 052570
        .fill 776, 125207
        .word 5, 177777 - 5, 0, 177777
.bank 6
.at 4000
        .fill 776, 031404
        .fill 776, 146373
        .word 6, 177777 - 6, 0, 177777
.bank 7
.at 4000
        .fill 776, 052553
        .fill 776, 125224
        .word 7, 177777 - 7, 0, 177777
.bank 10
.at 4000
        .fill 776, 031573
        .fill 776, 146204
        .word 10, 177777 - 10, 0, 177777
.bank 11
.at 4000
        .fill 776, 052405
        .fill 776, 125372
        .word 11, 177777 - 11, 0, 177777
.bank 12
.at 4000
        .fill 776, 031550
        .fill 776, 146227
        .word 12, 177777 - 12, 0, 177777
.bank 13
.at 4000
        .fill 776, 052467
        .fill 776, 125310
        .word 13, 177777 - 13, 0, 177777
.bank 14
.at 4000
        .fill 776, 031537
        .fill 776, 146240
        .word 14, 177777 - 14, 0, 177777
.bank 15
.at 4000
        .fill 776, 052441
        .fill 776, 125336
        .word 15, 177777 - 15, 0, 177777
.bank 16
.at 4000
        .fill 776, 031514
        .fill 776, 146263
        .word 16, 177777 - 16, 0, 177777
.bank 17
.at 4000
        .fill 776, 052723
        .fill 776, 125054
        .word 17, 177777 - 17, 0, 177777
.bank 20
.at 4000
        .fill 776, 031643
        .fill 776, 146134
        .word 20, 177777 - 20, 0, 177777
.bank 21
.at 4000
        .fill 776, 052714
        .fill 776, 125063
        .word 21, 177777 - 21, 0, 177777
.bank 22
.at 4000
        .fill 776, 031621
        .fill 776, 146156
        .word 22, 177777 - 22, 0, 177777
.bank 23
.at 4000
        .fill 776, 052776
        .fill 776, 125001
        .word 23, 177777 - 23, 0, 177777
.bank 24
.at 4000
        .fill 776, 031607
        .fill 776, 146170
        .word 24, 177777 - 24, 0, 177777
.bank 25
.at 4000
        .fill 776, 052750
        .fill 776, 125027
        .word 25, 177777 - 25, 0, 177777
.bank 26
.at 4000
        .fill 776, 031764
        .fill 776, 146013
        .word 26, 177777 - 26, 0, 177777
.bank 27
.at 4000
        .fill 776, 052633
        .fill 776, 125144
        .word 27, 177777 - 27, 0, 177777
