; March C- once, with all zeros and all ones.

.include "parts/frame.asm"

test:
.include "parts/march-c.asm"
        jump good
