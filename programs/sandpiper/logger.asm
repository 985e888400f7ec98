; machine: sandpiper
;
; The log of the water: a line for every reading of the sea gauge, and the mean, the highest and the lowest of six.
;
; The timer interrupts a hundred times a second; the program waits for it, reads the clock and the gauge, prints and
; archives. Printing is a service, called by number, as other programs may call it too. The program ends when the
; clock stands still between two readings. Plain numbers in this text are hexadecimal, 0d_ marks decimal ones.

.let printer = 1
.let clock = 2
.let sea = 3
.let archive = 4

; ---- the timer: count
.at 0020
        store r0, tick_r0
        load r0, ticks
        add-number r0, r0, 1
        store r0, ticks
        load r0, tick_r0
        resume-ticking

; ---- services, called with `service NUMBER` and r1; r1 to r5 are changed
;      1: print the text at r1;  2: print r1 with its sign;  3: print r1 with two digits
.at 0040
        cause-to r2
        set r3, service_table
        add r3, r3, r2
        load-at r3, r3, -1
        jump-at r3

service_table:
        .word say, number, two_digits

say:    load-at r2, r1, 0               ; three characters a word, the first on the left; a zero ends the text
        byte r3, r2, 2
        jump-if-zero r3, said
        write-port r3, printer
        byte r3, r2, 1
        jump-if-zero r3, said
        write-port r3, printer
        byte r3, r2, 0
        jump-if-zero r3, said
        write-port r3, printer
        add-number r1, r1, 1
        jump say
said:   resume-ticking

number: set r2, '+'
        set r3, 0
        jump-if-less r3, r1, sign
        jump-if-zero r1, sign
        set r2, '-'
        subtract r1, r3, r1
sign:   write-port r2, printer
        set r2, 0d_1000
number_1:
        divide r4, r1, r2
        add-number r4, r4, '0'
        write-port r4, printer
        remainder r1, r1, r2
        set r5, 0d_10
        divide r2, r2, r5
        jump-if-not-zero r2, number_1
        resume-ticking

two_digits:
        set r2, 0d_10
        divide r4, r1, r2
        add-number r4, r4, '0'
        write-port r4, printer
        remainder r1, r1, r2
        add-number r1, r1, '0'
        write-port r1, printer
        resume-ticking

; ---- the log
.at 0100
        set r0, -1
        store r0, last_minute
new_hour:
        set r0, 6
        store r0, readings
        set r0, 0
        store r0, sum
        set r0, -8000                   ; lower than any reading
        store r0, highest
        set r0, 7FFF                    ; higher than any
        store r0, lowest

wait:   tick-on
        load r0, ticks
        jump-if-zero r0, wait
        set r0, 0
        store r0, ticks

        read-port r6, clock
        load r0, last_minute
        jump-if-equal r6, r0, stands
        store r6, last_minute

        set r0, 0d_60                   ; hours and minutes
        divide r1, r6, r0
        service 3
        set r1, colon
        service 1
        set r0, 0d_60
        remainder r1, r6, r0
        service 3

        read-port r6, sea
        write-port r6, archive
        set r1, sea_text
        service 1
        add-number r1, r6, 0
        service 2
        set r1, line_end
        service 1

        load r0, sum
        add r0, r0, r6
        store r0, sum
        load r0, highest
        jump-if-less r6, r0, not_highest
        store r6, highest
not_highest:
        load r0, lowest
        jump-if-less r0, r6, not_lowest
        store r6, lowest
not_lowest:
        load r0, readings
        add-number r0, r0, -1
        store r0, readings
        jump-if-not-zero r0, wait

        set r1, mean_text
        service 1
        load r1, sum
        set r0, 6
        divide r1, r1, r0
        service 2
        set r1, highest_text
        service 1
        load r1, highest
        service 2
        set r1, lowest_text
        service 1
        load r1, lowest
        service 2
        set r1, line_end
        service 1
        jump new_hour

stands: set r1, stands_text
        service 1
        stop

tick_r0:        .word 0
ticks:          .word 0
last_minute:    .word 0
readings:       .word 0
sum:            .word 0
highest:        .word 0
lowest:         .word 0
colon:          .text ":", high
sea_text:       .text " SEA ", high
mean_text:      .text "MEAN ", high
highest_text:   .text " HIGHEST ", high
                .word 0
lowest_text:    .text " LOWEST ", high
line_end:       .text "\n", high
stands_text:    .text "CLOCK STANDS\n", high
