; every word from 200 up: its own address, read back
        .let first = 200
begin:  spot-to first
fill:   read-spot
        put-spot
        forward
        read-spot
        if-nought read
        goto fill
read:   spot-to first
next:   read-spot
        unlike-spot
        if-nought right
        put     wrong
        constant 'B'
        type
        get     wrong
        rest
right:  forward
        read-spot
        if-nought good
        goto    next
good:   constant 'G'
        type
        constant 0
        rest
wrong:  .word 0
