        .at 8
top:    load one, -0(sp)
        nudge two += -1
        branch top
        again 0d_200+
        halt
        .text "tide\n", high
        .in attic, 0d_14
        .word -1, ~0
