; The beginning of every fulmar self-test, and its report.
;
; The report needs no word of core: it works in registers only, so that it can be believed when core cannot.
; It prints one line and stops the machine:
;
;     BAD adr expected got      a word was not what had been written
;     RST adr expected got      the machine restarted while it was busy with that word
;     GOOD                      nothing was found
;
; adr is the right four octal digits of `index`, expected is what stands in `extra`, got in the accumulator:
; every self-test keeps these three up to date. After a restart they are as the restart found them.

.at 6000
        skip-if-fresh
        jump restarted
        jump test

bad:                                    ; acc: got, extra: expected, index: address
        acc-to-link                     ; hide the 16 bits of acc: 12 in link,
        shift-right 14                  ; 4 in bank
        acc-to-bank
        set 'B'
        write-port paper
        set 'A'
        write-port paper
        set 'D'
        write-port paper
        jump report

restarted:
        acc-to-link
        shift-right 14
        acc-to-bank
        set 'R'
        write-port paper
        set 'S'
        write-port paper
        set 'T'
        write-port paper

report:
        rearm
        set ' '
        write-port paper
        index-to-acc                    ; four digits of the address
        shift-right 11
        keep seven
        add digit_0
        write-port paper
        index-to-acc
        shift-right 6
        keep seven
        add digit_0
        write-port paper
        index-to-acc
        shift-right 3
        keep seven
        add digit_0
        write-port paper
        index-to-acc
        keep seven
        add digit_0
        write-port paper
        set ' '
        write-port paper
        extra-to-acc                    ; six digits of what was expected
        shift-right 17
        add digit_0
        write-port paper
        extra-to-acc
        shift-right 14
        keep seven
        add digit_0
        write-port paper
        extra-to-acc
        shift-right 11
        keep seven
        add digit_0
        write-port paper
        extra-to-acc
        shift-right 6
        keep seven
        add digit_0
        write-port paper
        extra-to-acc
        shift-right 3
        keep seven
        add digit_0
        write-port paper
        extra-to-acc
        keep seven
        add digit_0
        write-port paper
        set ' '
        write-port paper
        bank-to-acc                     ; what was got: its top four bits are in bank,
        shift-right 3                   ; one digit of a single bit,
        add digit_0
        write-port paper
        bank-to-acc                     ; one of the other three,
        keep seven
        add digit_0
        write-port paper
        link-to-acc                     ; and four digits in link
        shift-right 11
        add digit_0
        write-port paper
        link-to-acc
        shift-right 6
        keep seven
        add digit_0
        write-port paper
        link-to-acc
        shift-right 3
        keep seven
        add digit_0
        write-port paper
        link-to-acc
        keep seven
        add digit_0
        write-port paper
        set 12
        write-port paper
        stop

good:
        set 'G'
        write-port paper
        set 'O'
        write-port paper
        write-port paper
        set 'D'
        write-port paper
        set 12
        write-port paper
        stop

.let paper = 1
seven:  .word 7
digit_0: .word '0'
