; counts tides in the rope, adds them up in core
        .let times = 3
        .at 0o100
begin:  set     -times          ; how often
        load    count
        call    add
        skip-if-zero
        jump    begin
        return
count:  .word   -times, here, bank(far), index(far)
        .fill   0o20, 0o7070
room:   .reserve 4
last:
        .include "table.asm"
        .align  0o10
add:    load    table
        far-jump far
        set     1
        .text   "ok"

        .bank   1
        .at     0o4000
        .reserve 2
far:    return
        .bank   2
        .at     0o4005
        jump    far
        .start  begin
