; The frame of every dunlin self-test: its words, its report, its end.
;
; dunlin has one memory, so a test stands in the memory that it tests. It stands at `home` (a page boundary, named by
; the test before this file is included) and does not test its own two pages; a second test with another home looks
; there. What a fault does to the test itself cannot be promised: it may hang, stop or print nonsense.
;
; For every word that is not as it should be, one line is typed, up to eight:
;
;     BAD adr expected got      four octal digits each
;
; then GOOD if there was none, and the machine stops. The lamps `mark` show 0 for good, 1 for bad, 2 for more
; than eight bad words, upon which the test gave up.

.let typer = 1

.at home                                ; the page of variables and constants
want:           .word 0                 ; what the word should be
diff:           .word 0                 ; where it differs
where:          .word 0                 ; its address
printed:        .word 0                 ; what is being typed
back:           .word 0                 ; where the report returns to
left:           .word -0d8              ; lines left, counted up to zero
low:            .word 0000              ; the pair of words that a march writes
high:           .word 7777
zero:           .word 0
one:            .word 1
seven:          .word 7
digit:          .word '0'
all_left:       .word -0d8
bad_at:         .word bad
octal_at:       .word octal
good_at:        .word good
test_at:        .word test
first:          .word FIRST             ; the words to be tested: FIRST to LAST
last:           .word LAST
after_last:     .word LAST + 1 & 7777
before_first:   .word FIRST - 1 + 10000 & 7777

.at home + 200
.start begin
begin:  set-page home / 400
        load all_left
        store left
        point test_at
        jump-at

; bad: type a line about the word at `where`: `want` was expected, it differs in the bits of `diff`.
bad:    link-to-acc
        store back
        set 'B'
        write-port typer
        set 'A'
        write-port typer
        set 'D'
        write-port typer
        point octal_at
        load where
        call-at
        point octal_at
        load want
        call-at
        point octal_at
        load diff
        differ want
        call-at
        set 12
        write-port typer
        count-up left
        jump bad_1
        stop 2
bad_1:  load back
        acc-to-link
        point where
        return

; octal: type a blank and the accumulator in four digits.
octal:  store printed
        set ' '
        write-port typer
        load printed
        shift-right 11
        add digit
        write-port typer
        load printed
        shift-right 6
        keep seven
        add digit
        write-port typer
        load printed
        shift-right 3
        keep seven
        add digit
        write-port typer
        load printed
        keep seven
        add digit
        write-port typer
        return

good:   load left                       ; the end of every test
        differ all_left
        jump-if-zero good_1
        stop 1
good_1: set 'G'
        write-port typer
        set 'O'
        write-port typer
        write-port typer
        set 'D'
        write-port typer
        set 12
        write-port typer
        stop 0
