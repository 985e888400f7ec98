; machine: dunlin
;
; The registers and the reckoning, with as little of core as the machine allows.
;
; The instructions come from core, and so do the few constants; nothing is written. The keyboard and the typewriter
; are not used: the lamps `mark` show the number of the check that failed, or 17 (octal) when none did, and the other lamps
; show the registers.
;
; Finds:    bits of acc, rest, pointer and link that are stuck or tied together; faults of the adder, of carry and
;           of shifts.
; Destroys: nothing.
; Reports:  `mark` at the stop.

.at 0
bars:           .word 2525
rungs:          .word 5252
most:           .word 3777
one:            .word 1
ones:           .word 7777
seven:          .word 7
nine:           .word 11
halved:         .word 6525

.at 200
        set-page 0
        load bars                       ; 1: acc, rest
        acc-to-rest
        flip
        differ rungs
        jump-if-not-zero fail_1
        rest-to-acc
        differ bars
        jump-if-not-zero fail_1
        load rungs
        acc-to-rest
        set 0
        rest-to-acc
        differ rungs
        jump-if-not-zero fail_1

        load bars                       ; 2: pointer
        acc-to-pointer
        set -1
        pointer-to-acc
        differ bars
        jump-if-not-zero fail_2
        forward 17
        back 17
        load rungs
        acc-to-pointer
        set 0
        pointer-to-acc
        differ rungs
        jump-if-not-zero fail_2

        load bars                       ; 3: link
        acc-to-link
        set -1
        link-to-acc
        differ bars
        jump-if-not-zero fail_3
        load rungs
        acc-to-link
        set 0
        link-to-acc
        differ rungs
        jump-if-not-zero fail_3

        set 1                           ; 4: every bit of acc by itself, once round
walk:   turn-left 1
        acc-to-rest
        differ one
        jump-if-zero walked
        rest-to-acc
        jump walk
fail_1: stop 1
fail_2: stop 2
fail_3: stop 3
walked: set -1                          ; 5: the carry runs through all places
        add one
        jump-if-not-zero fail_5
        jump-if-carry carried
fail_5: stop 5
carried:
        subtract one
        differ ones
        jump-if-not-zero fail_5
        load most
        add one
        jump-if-carry fail_5
        negate                          ; the lowest number is its own negative
        jump-if-negative lowest
        stop 5
lowest: load bars                       ; 6: shifts, without sign and with
        shift-left 1
        differ rungs
        jump-if-not-zero fail_6
        load rungs
        shift-right 1
        differ bars
        jump-if-not-zero fail_6
        load rungs
        halve 1
        differ halved
        jump-if-not-zero fail_6
        jump done_6
fail_6: stop 6
done_6: aim seven                       ; 7: multiply, divide
        set -0d9
        multiply-at
        differ ones                     ; the left half of -63
        jump-if-not-zero fail_7
        rest-to-acc
        negate
        divide-at
        differ nine
        jump-if-not-zero fail_7
        rest-to-acc
        jump-if-not-zero fail_7
        stop 17
fail_7: stop 7
