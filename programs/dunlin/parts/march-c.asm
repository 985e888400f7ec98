; March C- with the words `low` and `high`:
;
;     either way: write low;  up: read low, write high;  up: read high, write low;
;     down: read low, write high;  down: read high, write low;  either way: read low
;
; Then the test goes on at `march_done`.

march:  point first                     ; either way: write low
clear:  load low
        store-at
        forward 1
        pointer-to-acc
        differ after_last
        jump-if-not-zero clear

        load low                        ; up: read low, write high
        store want
        point first
up_1:   load-at
        differ want
        jump-if-zero up_1_ok
        store diff
        pointer-to-acc
        store where
        point bad_at
        call-at
up_1_ok:
        load high
        store-at
        forward 1
        pointer-to-acc
        differ after_last
        jump-if-not-zero up_1

        load high                       ; up: read high, write low
        store want
        point first
up_2:   load-at
        differ want
        jump-if-zero up_2_ok
        store diff
        pointer-to-acc
        store where
        point bad_at
        call-at
up_2_ok:
        load low
        store-at
        forward 1
        pointer-to-acc
        differ after_last
        jump-if-not-zero up_2

        load low                        ; down: read low, write high
        store want
        point last
down_1: load-at
        differ want
        jump-if-zero down_1_ok
        store diff
        pointer-to-acc
        store where
        point bad_at
        call-at
down_1_ok:
        load high
        store-at
        back 1
        pointer-to-acc
        differ before_first
        jump-if-not-zero down_1

        load high                       ; down: read high, write low
        store want
        point last
down_2: load-at
        differ want
        jump-if-zero down_2_ok
        store diff
        pointer-to-acc
        store where
        point bad_at
        call-at
down_2_ok:
        load low
        store-at
        back 1
        pointer-to-acc
        differ before_first
        jump-if-not-zero down_2

        load low                        ; either way: read low
        store want
        point first
look:   load-at
        differ want
        jump-if-zero look_ok
        store diff
        pointer-to-acc
        store where
        point bad_at
        call-at
look_ok:
        forward 1
        pointer-to-acc
        differ after_last
        jump-if-not-zero look
