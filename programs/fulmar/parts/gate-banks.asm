; What the gate sequence keeps in core, and its rope banks 1 to 3: decide, print, drive. See gates.asm.
;
; The last words of every bank are its number, the complement of that, and a word that makes the ones'
; complement sum of the bank negative zero (177777): the self-tests rely on it.

; ---- ports
.let printer = 1
.let motors = 2
.let bell = 3
.let sea_gauge = 4
.let basin_gauge = 5
.let gate_position = 6
.let switches = 7

; ---- core
.at 0
round:          .reserve 1              ; number of the round
sea:            .reserve 1              ; centimetres above the datum, sea side
basin:          .reserve 1              ; the same, basin side
gates:          .reserve 1              ; how far open, 0 to 100
action:         .reserve 1              ; 0 rest, 1 raise, 2 lower
restarts:       .reserve 1              ; how often the machine has restarted
value:          .reserve 1              ; what is being printed
log_back:       .reserve 1              ; where the log line returns to
drive_back:     .reserve 1              ; where the drive returns to
gate:           .reserve 1              ; gate being driven, 0 to 3

; ---- rope, bank 1: what to do
; The gates shut when the sea is high, whatever the basin. They open again only when the sea has fallen well
; below that and no longer stands above the basin, so that water runs out and not in. Between the two levels
; they stay as they are, or they would swing to and fro with every wave.
.bank 1
.at 4000
decide: load sea
        skip-if-less shut_level
        jump must_shut                  ; the sea is at shut_level or above
        load sea
        skip-if-less open_level
        jump rest                       ; between the levels
        load basin
        skip-if-less sea
        jump may_open                   ; the basin is as high as the sea or higher
rest:   set 0
        store action
        return

must_shut:
        load gates
        jump-if-zero rest               ; shut already
        set 2
        store action
        return

may_open:
        load gates
        skip-if-equal wide_open
        jump raise
        jump rest
raise:  set 1
        store action
        return

shut_level:     .word 0d150
open_level:     .word 0d110
wide_open:      .word 0d100

.at 5000
.include "parts/filler.asm"
.at 5774
        .word 1, 177777 - 1, 0, 134571

; ---- rope, bank 2: the log
.bank 2
.at 4000

; say: print the text whose address is in the accumulator, up to a zero word.
say:    acc-to-index
say_1:  load-indexed 0
        jump-if-zero said
        write-port printer
        forward 1
        jump say_1
said:   return

; number: print the accumulator with its sign and three decimal digits. plain: without sign.
number: store value
        jump-if-negative minus
        set '+'
        jump sign
minus:  flip
        store value
        set '-'
sign:   write-port printer
        load value
plain:  store value
        load hundred
        acc-to-extra
        load value
        divide
        add digit
        write-port printer
        extra-to-acc
        store value
        load ten
        acc-to-extra
        load value
        divide
        add digit
        write-port printer
        extra-to-acc
        add digit
        write-port printer
        return

end_line:
        set '\n'
        write-port printer
        return

; log_line: the line of this round.
log_line:
        link-to-acc
        store log_back
        load round
        call plain
        load sea_label
        call say
        load sea
        call number
        load basin_label
        call say
        load basin
        call number
        load gates_label
        call say
        load gates
        call plain
        load action
        acc-to-index
        load-indexed action_labels
        call say
        call end_line
        load log_back
        acc-to-link
        return

digit:          .word '0'
ten:            .word 0d10
hundred:        .word 0d100
sea_label:      .word sea_text
basin_label:    .word basin_text
gates_label:    .word gates_text
action_labels:  .word rest_text, raise_text, lower_text

hello_text:     .text "RAVENSHOLM GATES\n"
                .word 0
restarted_text: .text "RESTART "
                .word 0
farewell_text:  .text "END\n"
                .word 0
sea_text:       .text " SEA "
                .word 0
basin_text:     .text " BASIN "
                .word 0
gates_text:     .text " GATES "
                .word 0
rest_text:      .text " REST"
                .word 0
raise_text:     .text " RAISE"
                .word 0
lower_text:     .text " LOWER"
                .word 0

.at 5000
.include "parts/filler.asm"
.at 5774
        .word 2, 177777 - 2, 0, 161336

; ---- rope, bank 3: the motors
; One gate moves at a time, the outer ones first, or the supply would not stand it.
.bank 3
.at 4000
drive:  link-to-acc
        store drive_back
        load action
        jump-if-zero driven
        set 3
        store gate
drive_1:
        load action                     ; four motor words for each action
        shift-left 2
        add gate
        acc-to-index
        load-indexed motor_words
        write-port motors
        call pause
        load gate
        jump-if-zero driven
        subtract gate_step
        store gate
        jump drive_1
driven: set 0
        write-port motors
        load drive_back
        acc-to-link
        return

; pause: five milliseconds (the model gates are quick), the watchdog held off.
pause:  rearm
        load pause_length
        acc-to-index
pause_1:
        loop pause_1
        return

gate_step:      .word 1
pause_length:   .word 0d499
motor_words:    .word 0, 0, 0, 0                ; rest
                .word 0b100, 0b10000, 1, 0b1000000      ; raise gates 4, 1, 3, 2 (used from right to left)
                .word 0b1000, 0b100000, 0b10, 0b10000000 ; lower them in the same order

.at 5000
.include "parts/filler.asm"
.at 5774
        .word 3, 177777 - 3, 0, 126145
