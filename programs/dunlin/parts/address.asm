; The address in its own word, upward; then its complement, downward.

.include "parts/frame.asm"

test:   point first
fill_1: pointer-to-acc
        store-at
        forward 1
        pointer-to-acc
        differ after_last
        jump-if-not-zero fill_1

        point first
look_1: pointer-to-acc
        store want
        store where
        load-at
        differ want
        jump-if-zero look_1_ok
        store diff
        point bad_at
        call-at
look_1_ok:
        forward 1
        pointer-to-acc
        differ after_last
        jump-if-not-zero look_1

        point last
fill_2: pointer-to-acc
        flip
        store-at
        back 1
        pointer-to-acc
        differ before_first
        jump-if-not-zero fill_2

        point last
look_2: pointer-to-acc
        store where
        flip
        store want
        load-at
        differ want
        jump-if-zero look_2_ok
        store diff
        point bad_at
        call-at
look_2_ok:
        back 1
        pointer-to-acc
        differ before_first
        jump-if-not-zero look_2
        point good_at
        jump-at
