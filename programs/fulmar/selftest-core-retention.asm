; machine: fulmar
;
; Core, does it keep its words? All ones, two seconds of waiting, a look; then all zeros.
;
; Core should keep its words for years without power. Words that fade tell of currents that flow when nobody reads
; or writes, or of a temperature at which the cores have lost their squareness.
;
; Finds:    cells that lose their word with time.
;           (No fault of the model acts by time alone: a grade says nothing about that.)
; Destroys: all of core.
; Reports:  one printed line, see parts/report.asm. The panel counts the pause down.

.include "parts/report.asm"
.include "parts/stripes.asm"

choose: load even
        return

pause:  load pause_count                ; 49 times 4096 steps of 10 microseconds
        acc-to-extra
pause_1:
        rearm
        load longest
        acc-to-index
pause_2:
        loop pause_2
        extra-to-acc
        show
        jump-if-zero pause_3
        subtract one
        acc-to-extra
        jump pause_1
pause_3:
        return

pause_count:    .word 0d48
longest:        .word 7777

.bank 1
.at 4000
        .word 177777, 177777
.bank 2
.at 4000
        .word 000000, 000000
