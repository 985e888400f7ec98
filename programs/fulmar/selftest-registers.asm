; machine: fulmar
;
; The registers and the reckoning, without core and without the printer.
;
; Only the rope is used, from which the instructions come anyway. What is found is shown on the panel: the number of
; the check that failed, or 177777, all lamps lit, when nothing did. The other lamps show the registers.
;
; Finds:    bits of acc, extra, index, link and bank that are stuck or tied together; faults of the adder, of the end-around
;           carry, of shifts and of multiplication.
; Destroys: nothing.
; Reports:  panel and stop. After a restart the panel shows the last check begun, and `extra` 1000.

.at 6000
        skip-if-fresh
        jump restarted

        set 1                           ; 1: all zeros and all ones through acc and extra
        show
        load ones
        acc-to-extra
        load zeros
        extra-to-acc
        skip-if-equal ones
        stop
        load zeros
        acc-to-extra
        load ones
        extra-to-acc
        skip-if-equal zeros
        stop

        set 2                           ; 2: every bit of acc and extra by itself, once round
        show
        set 1
walk:   turn-left 1
        acc-to-extra
        set 0
        exchange
        skip-if-equal one
        jump walk
        turn-left 1
        skip-if-equal two
        stop

        set 3                           ; 3: index, both ways
        show
        load stripes
        acc-to-index
        index-to-acc
        skip-if-equal stripes
        stop
        load bars
        acc-to-index
        index-to-acc
        skip-if-equal bars
        stop
        forward 377
        back 377
        index-to-acc
        skip-if-equal bars
        stop

        set 4                           ; 4: link
        show
        load stripes
        acc-to-link
        link-to-acc
        skip-if-equal stripes
        stop
        load bars
        acc-to-link
        link-to-acc
        skip-if-equal bars
        stop

        set 5                           ; 5: bank
        show
        load small_stripes
        acc-to-bank
        bank-to-acc
        skip-if-equal small_stripes
        stop
        load small_bars
        acc-to-bank
        bank-to-acc
        skip-if-equal small_bars
        stop

        set 6                           ; 6: end-around carry: -0 + 1 is 1, all the way through
        show
        load ones
        add one
        skip-if-equal one
        stop
        load ones
        add ones
        skip-if-equal ones
        stop
        load zeros
        subtract zeros
        skip-if-equal ones
        stop

        set 7                           ; 7: the worked example of an Internet checksum (RFC 1071, section 3)
        show
        load part_1
        add part_2
        add part_3
        add part_4
        skip-if-equal folded
        stop

        set 10                          ; 10: overflow is noticed, and only overflow
        show
        skip-if-fits
        jump cleared
cleared:
        load ones
        add one
        skip-if-fits
        stop
        load largest
        add one
        skip-if-fits
        jump noticed
        stop
noticed:
        set 11                          ; 11: shifts
        show
        load part_3
        shift-left 4
        shift-right 10
        skip-if-equal middle
        stop
        load part_3
        halve 10
        skip-if-equal halved
        stop

        set 12                          ; 12: multiply, then divide
        show
        load seven
        acc-to-extra
        load minus_nine
        multiply
        skip-if-equal ones              ; the left half of -63
        stop
        extra-to-acc
        skip-if-equal minus_63
        stop
        load seven
        acc-to-extra
        load minus_63
        divide
        skip-if-equal minus_nine
        stop

        load ones                       ; nothing found
        show
        stop

restarted:
        set 1000
        acc-to-extra
        stop

zeros:          .word 000000
ones:           .word 177777
one:            .word 1
two:            .word 2
seven:          .word 7
stripes:        .word 2525
bars:           .word 5252
small_stripes:  .word 25
small_bars:     .word 12
largest:        .word 077777
part_1:         .word 0x0001
part_2:         .word 0xf203
part_3:         .word 0xf4f5
part_4:         .word 0xf6f7
folded:         .word 0xddf2
middle:         .word 0x4f
halved:         .word 0xfff4
minus_nine:     .word -0d9
minus_63:       .word -0d63
