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
        write-port printer
        set 'A'
        write-port printer
        set 'D'
        write-port printer
        jump report

restarted:
        acc-to-link
        shift-right 14
        acc-to-bank
        set 'R'
        write-port printer
        set 'S'
        write-port printer
        set 'T'
        write-port printer

report:
        rearm
        set ' '
        write-port printer
        index-to-acc                    ; four digits of the address
        shift-right 11
        keep seven
        add digit
        write-port printer
        index-to-acc
        shift-right 6
        keep seven
        add digit
        write-port printer
        index-to-acc
        shift-right 3
        keep seven
        add digit
        write-port printer
        index-to-acc
        keep seven
        add digit
        write-port printer
        set ' '
        write-port printer
        extra-to-acc                    ; six digits of what was expected
        shift-right 17
        add digit
        write-port printer
        extra-to-acc
        shift-right 14
        keep seven
        add digit
        write-port printer
        extra-to-acc
        shift-right 11
        keep seven
        add digit
        write-port printer
        extra-to-acc
        shift-right 6
        keep seven
        add digit
        write-port printer
        extra-to-acc
        shift-right 3
        keep seven
        add digit
        write-port printer
        extra-to-acc
        keep seven
        add digit
        write-port printer
        set ' '
        write-port printer
        bank-to-acc                     ; what was got: its top four bits are in bank,
        shift-right 3                   ; one digit of a single bit,
        add digit
        write-port printer
        bank-to-acc                     ; one of the other three,
        keep seven
        add digit
        write-port printer
        link-to-acc                     ; and four digits in link
        shift-right 11
        add digit
        write-port printer
        link-to-acc
        shift-right 6
        keep seven
        add digit
        write-port printer
        link-to-acc
        shift-right 3
        keep seven
        add digit
        write-port printer
        link-to-acc
        keep seven
        add digit
        write-port printer
        set 12
        write-port printer
        stop

good:
        set 'G'
        write-port printer
        set 'O'
        write-port printer
        write-port printer
        set 'D'
        write-port printer
        set 12
        write-port printer
        stop

.let printer = 1
seven:  .word 7
digit:  .word '0'
