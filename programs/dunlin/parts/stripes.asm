; Fill core with a pattern of two words, pause, look at it, then the same with the two words exchanged.
;
; `choose` (in the test) sets `want` to `low` or `high`, whichever belongs where `pointer` points; `pause` waits.
; `choose_at` and `pause_at` hold where they are.

.include "parts/frame.asm"

test:   point first
fill:   pointer-to-acc
        store where
        point choose_at
        call-at
        point where
        load want
        store-at
        forward 1
        pointer-to-acc
        differ after_last
        jump-if-not-zero fill
        point pause_at
        call-at
        point last
look:   pointer-to-acc
        store where
        point choose_at
        call-at
        point where
        load-at
        differ want
        jump-if-zero look_ok
        store diff
        point bad_at
        call-at
look_ok:
        back 1
        pointer-to-acc
        differ before_first
        jump-if-not-zero look
        load low                        ; the other way round, once
        store diff
        load high
        store low
        load diff
        store high
        load round
        differ one
        store round
        jump-if-not-zero test
        point good_at
        jump-at

.at home + 100
round:          .word 0
choose_at:      .word choose
pause_at:       .word pause
