; March C- over the core words FIRST to LAST, for the pair of words `low` and `high` that stand at 4000 and 4001
; in the rope bank that `bank` shows:
;
;     either way: write low;  up: read low, write high;  up: read high, write low;
;     down: read low, write high;  down: read high, write low;  either way: read low
;
; Ends at `march_done`, which the test supplies. Uses acc, extra, index. Needs: before_first (FIRST - 1),
; after_last (LAST + 1), first, last as words in the rope.

.let low = 4000
.let high = 4001

march:                                  ; either way: write low
        rearm
        load first
        acc-to-index
clear:  load low
        store-indexed 0
        forward 1
        index-to-acc
        skip-if-equal after_last
        jump clear

        rearm                           ; up: read low, write high
        load low
        acc-to-extra
        load first
        acc-to-index
up_1:   load-indexed 0
        skip-if-equal low
        jump bad
        load high
        store-indexed 0
        forward 1
        index-to-acc
        skip-if-equal after_last
        jump up_1

        rearm                           ; up: read high, write low
        load high
        acc-to-extra
        load first
        acc-to-index
up_2:   load-indexed 0
        skip-if-equal high
        jump bad
        load low
        store-indexed 0
        forward 1
        index-to-acc
        skip-if-equal after_last
        jump up_2

        rearm                           ; down: read low, write high
        load low
        acc-to-extra
        load last
        acc-to-index
down_1: load-indexed 0
        skip-if-equal low
        jump bad
        load high
        store-indexed 0
        back 1
        index-to-acc
        skip-if-equal before_first
        jump down_1

        rearm                           ; down: read high, write low
        load high
        acc-to-extra
        load last
        acc-to-index
down_2: load-indexed 0
        skip-if-equal high
        jump bad
        load low
        store-indexed 0
        back 1
        index-to-acc
        skip-if-equal before_first
        jump down_2

        rearm                           ; either way: read low
        load low
        acc-to-extra
        load first
        acc-to-index
last_1: load-indexed 0
        skip-if-equal low
        jump bad
        forward 1
        index-to-acc
        skip-if-equal after_last
        jump last_1
        jump march_done
