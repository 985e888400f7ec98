; machine: fulmar
;
; Rope, the sum of every bank and of every module of four banks, by a program that stands in core.
;
; The program is loaded into core, through the panel if need be, and started there at 1000. What it tests is the rope
; alone: the program does not stand on what it doubts. It goes on after a failure, so that one run lists
; everything.
;
; Every bank ends with a word that makes its ones' complement sum negative zero, so the sum of a module is that too.
;
; Finds:    as selftest-rope-banks (and no more), and tells bank from module: a fault of the drivers spoils banks in every
;           module, one of a module all its banks.
; Destroys: core from 1000 to 1200.
; Reports:  BAD bank expected got for every bank, MOD module expected got for every module, then END. A restart
;           begins the program in the rope, at 6000: it starts this one again, at the bank after the one in which it
;           happened, and counts it as bad: RST bank.


.bank 0
.at 6000                                ; after a restart: go on in core
        skip-if-fresh
        jump resumed
        jump begin
        .word 0

.at 1000
begin:  set 0
        store bank_now
        store module_sum
each:   rearm
        load bank_now
        acc-to-bank
        show
        set 0
        acc-to-extra
        load last_word
        acc-to-index
sum:    load-indexed 4000
        gather
        loop sum
        extra-to-acc
        store bank_sum
        acc-to-extra
        load module_sum
        gather
        extra-to-acc
        store module_sum
        load bank_sum
        skip-if-equal minus_zero
        call bad_bank

counted:
        load bank_now                     ; was this the last bank of a module?
        keep three
        skip-if-equal three
        jump next
        load module_sum
        skip-if-equal minus_zero
        call bad_module
        set 0
        store module_sum
next:   load bank_now
        skip-if-equal last_bank
        jump more
        set 'E'
        write-port printer
        set 'N'
        write-port printer
        set 'D'
        call line_end
        stop
more:   add one
        store bank_now
        jump each

resumed:
        set 'R'
        write-port printer
        set 'S'
        write-port printer
        set 'T'
        write-port printer
        load bank_now
        call octal
        call line_end_only
        load minus_zero                 ; the module is not judged by a sum that is not whole
        store module_sum
        jump counted

bad_bank:
        link-to-acc
        store back
        set 'B'
        write-port printer
        set 'A'
        write-port printer
        set 'D'
        write-port printer
        load bank_now
        call octal
        load minus_zero
        call octal
        load bank_sum
        call octal
        call line_end_only
        load back
        acc-to-link
        return

bad_module:
        link-to-acc
        store back
        set 'M'
        write-port printer
        set 'O'
        write-port printer
        set 'D'
        write-port printer
        load bank_now
        shift-right 2
        call octal
        load minus_zero
        call octal
        load module_sum
        call octal
        call line_end_only
        load back
        acc-to-link
        return

line_end:
        write-port printer
line_end_only:
        set '\n'
        write-port printer
        return

octal:  acc-to-extra                    ; print a blank and acc as six octal digits
        set ' '
        write-port printer
        extra-to-acc
        turn-left 1                     ; the leftmost digit has one bit
        acc-to-extra
        keep one
        add first_digit
        write-port printer
        load four
        acc-to-index
octal_1:
        extra-to-acc
        turn-left 3
        acc-to-extra
        keep seven
        add first_digit
        write-port printer
        loop octal_1
        return

bank_now:       .word 0                 ; the bank being summed
bank_sum:       .word 0
module_sum:     .word 0
back:           .word 0
one:            .word 1
three:          .word 3
four:           .word 4
seven:          .word 7
first_digit:        .word '0'
last_bank:      .word 27
last_word:      .word 1777
minus_zero:     .word 177777

.at 7000
.include "parts/filler.asm"
.at 7774
        .word 0, 177777, 0, 076554

.include "parts/gate-banks.asm"
.include "parts/spare-banks.asm"

.start begin
