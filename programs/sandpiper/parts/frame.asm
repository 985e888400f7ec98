; The frame of every sandpiper self-test: its words, its report, its end.
;
; sandpiper has one memory, so a test stands in the memory that it tests. It stands at `home` (named by the test
; before this file is included) and does not test the words there; a second test with another home looks at them.
;
; For every word that is not as it should be, one line is printed, up to eight:
;
;     BAD adr expected got      six hexadecimal digits each
;
; then GOOD if there was none, and the machine stops. A single wrong bit is mended before the program sees it: such
; a word is no BAD one, but counts as an alarm `mended`. Two wrong bits halt the machine by the alarm `memory`.
;
; Registers: r1 the address, r2 what was expected, r3 what was got. The report also uses r4, r5 and r7.

.let printer = 1

.at home
begin:  set r4, 8
        store r4, left
        jump test

; bad: print a line about the word at r1: r2 was expected, r3 was got. r7: where to return.
bad:    store r7, back
        store r2, want
        store r3, got
        set r4, 'B'
        write-port r4, printer
        set r4, 'A'
        write-port r4, printer
        set r4, 'D'
        write-port r4, printer
        add-number r4, r1, 0
        call r7, hex
        load r4, want
        call r7, hex
        load r4, got
        call r7, hex
        set r4, '\n'
        write-port r4, printer
        load r4, left
        add-number r4, r4, -1
        store r4, left
        jump-if-zero r4, stopped
        load r2, want
        load r3, got
        load r7, back
        jump-at r7

; hex: print a blank and r4 in six digits. Uses r2, r3, r5.
hex:    set r3, ' '
        write-port r3, printer
        set r5, 6
hex_1:  set r3, 4
        turn-left r4, r4, r3
        set r3, 0F
        keep r3, r4, r3
        add-number r3, r3, '0'
        set r2, '9' + 1
        jump-if-less r3, r2, hex_2
        add-number r3, r3, 'a' - '9' - 1
hex_2:  write-port r3, printer
        count-down r5, hex_1
        jump-at r7

good:   load r4, left                   ; the end of every test
        set r5, 8
        jump-if-unequal r4, r5, stopped
        set r4, 'G'
        write-port r4, printer
        set r4, 'O'
        write-port r4, printer
        write-port r4, printer
        set r4, 'D'
        write-port r4, printer
        set r4, '\n'
        write-port r4, printer
stopped:
        stop

back:           .word 0
want:           .word 0
got:            .word 0
left:           .word 8                 ; lines left
low:            .word 000000            ; the pair of words that a march writes
high:           .word 0FFFFFF
first:          .word FIRST             ; the words to be tested: FIRST to LAST
last:           .word LAST
after_last:     .word LAST + 1
before_first:   .word FIRST - 1

.start begin
