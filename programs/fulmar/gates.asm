; machine: fulmar
;
; The gate sequence of the Ravensholm barrier.
;
; Once a round it reads the two tide gauges and the position of the gates, decides, prints a line of the log,
; and drives the gates, one after the other. It rearms the watchdog every round and in every pause, so that a
; program that hangs, or a memory that fails, leads to a restart; restarts are counted in core and logged, and the
; motors are brought to rest first of all.
;
; Rope bank 0 (fixed, 6000 to 7777) holds the round itself; what it calls lies in banks 1 to 3, which it shows in
; the window 4000 to 5777 before each call: 1 decides, 2 prints, 3 drives. Variables lie in core from 0 on.
;
; Switch 1 of the panel (the rightmost bit) ends the program after the round.
; What the banks 1 to 3 hold stands in parts/gate-banks.asm. All plain numbers in this text are octal; decimal ones begin
; with 0d.

; ---- rope, bank 0: the round
.bank 0
.at 6000
        set 0                           ; whatever happened: motors at rest
        write-port motors
        skip-if-fresh
        jump again

        set 0                           ; power-up: nothing in core can be relied on
        store round
        store restarts
        store action
        set-bank bank(say)
        load hello
        call say
        jump next_round

again:  load restarts                   ; restart: count it and say so
        add one
        store restarts
        set 1
        write-port bell
        set-bank bank(say)
        load restarted
        call say
        load restarts
        call plain
        call end_line

next_round:
        rearm
        load round
        add one
        store round
        read-port sea_gauge
        store sea
        read-port basin_gauge
        store basin
        read-port gate_position
        store gates

        set-bank bank(decide)
        call decide
        set-bank bank(log_line)
        call log_line
        set-bank bank(drive)
        call drive

        read-port switches
        keep one
        jump-if-zero next_round

        set-bank bank(say)
        load farewell
        call say
        stop

one:            .word 1
hello:          .word hello_text
restarted:      .word restarted_text
farewell:       .word farewell_text

.at 7000
.include "parts/filler.asm"
.at 7774                                ; the bank's number, its complement, and what makes the bank's sum -0
        .word 0, 177777, 0, 175224

.include "parts/gate-banks.asm"
.include "parts/spare-banks.asm"
