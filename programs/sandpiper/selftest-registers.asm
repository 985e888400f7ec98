; machine: sandpiper
;
; The eight registers and the reckoning, with as little of memory as the machine allows.
;
; Only instructions come from memory; nothing is read or written as data, and the printer is used once, at the end. On a
; failure the machine stops: the lamps `cause` show the number of the check that failed. It prints OK and stops
; with `cause` 0FF when nothing was found.
;
; Finds:    bits of the registers that are stuck or tied together; faults of the adder, of shifts, of comparison, of
;           multiplication.
; Destroys: nothing.
; Reports:  `cause` at the stop.

.at 0040                                ; the service that every check ends with, good or bad
        stop

.at 0100
        set r0, 5555                    ; 1: stripes in every register, passed on from one to the next
        set-left r0, 55
        add-number r1, r0, 0
        add-number r2, r1, 0
        add-number r3, r2, 0
        add-number r4, r3, 0
        add-number r5, r4, 0
        add-number r6, r5, 0
        add-number r7, r6, 0
        jump-if-unequal r7, r0, fail_1
        add r1, r0, r0                  ; the stripes between
        add-number r2, r1, 0
        add-number r3, r2, 0
        add-number r4, r3, 0
        add-number r5, r4, 0
        add-number r6, r5, 0
        add-number r7, r6, 0
        add-number r0, r7, 0
        jump-if-unequal r0, r1, fail_1
        jump check_2
fail_1: service 1

check_2:
        set r0, 1                       ; 2: every register keeps its own number
        set r1, 2
        set r2, 4
        set r3, 8
        set r4, 10
        set r5, 20
        set r6, 40
        set r7, 80
        add r0, r0, r1
        add r0, r0, r2
        add r0, r0, r3
        add r0, r0, r4
        add r0, r0, r5
        add r0, r0, r6
        add r0, r0, r7
        set r1, 0FF
        jump-if-unequal r0, r1, fail_2
        jump check_3
fail_2: service 2

check_3:
        set r0, -1                      ; 3: the carry runs through all places, and out
        set r1, 1
        add r2, r0, r1
        jump-if-not-zero r2, fail_3
        subtract r2, r2, r1
        jump-if-unequal r2, r0, fail_3
        jump check_4
fail_3: service 3

check_4:
        set r2, 1                       ; 4: a one goes round through all 24 places
        set r1, 1
        set r3, 0d_24
walk:   turn-left r2, r2, r1
        count-down r3, walk
        jump-if-unequal r2, r1, fail_4
        set r2, -8                      ; shifts with sign and without
        set r1, 2
        halve r3, r2, r1
        set r4, -2
        jump-if-unequal r3, r4, fail_4
        shift-right r3, r2, r1
        shift-left r3, r3, r1
        jump-if-unequal r3, r2, fail_4
        jump check_5
fail_4: service 4

check_5:
        set r0, -1                      ; 5: comparison
        set r1, 1
        less r2, r0, r1
        jump-if-unequal r2, r1, fail_5
        below r2, r0, r1
        jump-if-not-zero r2, fail_5
        jump-if-less r1, r0, fail_5
        jump check_6
fail_5: service 5

check_6:
        set r0, -0d_123                 ; 6: multiply and divide
        set r1, 0d_45
        multiply r2, r0, r1
        set r3, -0d_5535
        jump-if-unequal r2, r3, fail_6
        multiply-high r2, r0, r1
        set r4, -1
        jump-if-unequal r2, r4, fail_6
        divide r2, r3, r1
        jump-if-unequal r2, r0, fail_6
        add-number r3, r3, -7
        remainder r2, r3, r1
        set r4, -7
        jump-if-unequal r2, r4, fail_6
        set r0, 'O'
        write-port r0, 1
        set r0, 'K'
        write-port r0, 1
        set r0, '\n'
        write-port r0, 1
        service 0FF
fail_6: service 6
