; machine: dunlin
;
; The tide table of a day: the height of the water at Ravensholm for every hour, in centimetres about the mean.
;
; The tide is reckoned as the sum of three waves, as tide offices have done since the first tide machines: the
; moon's (period 12.42 hours), the sun's (12.00) and the one that the moon's changing distance adds (12.66). An
; angle is a word: 4096 parts are a full turn, so that it comes round by itself. The sine is looked up in a table
; of 64 values, by the left six bits of the angle.
;
; The keys give the number of the day. The table is typed and the curve is plotted; then the machine stops with
; `mark` 0 and the day's highest water in the accumulator. Plain numbers in this text are octal, 0d marks decimal.

.let typer = 1
.let plotter = 2
.let keys = 3

.at 0
moon:           .word 0                 ; angles
sun:            .word 0
distance:       .word 0
moon_start:     .word 0d1342            ; angles of day 0, hour 0, and half a step of the sine table more
sun_start:      .word 0d652
distance_start: .word 0d2932
moon_day:       .word 0d3819            ; what they gain in a day,
distance_day:   .word 0d3670            ; (the sun gains nothing)
moon_hour:      .word 0d330             ; and in an hour
sun_hour:       .word 0d341
distance_hour:  .word 0d324
moon_size:      .word 0d312             ; twice the amplitude in centimetres
sun_size:       .word 0d104
distance_size:  .word 0d60
hour:           .word 0
day_length:     .word 0d24
level:          .word 0
highest:        .word 0
lowest_word:    .word -0d2048
days_left:      .word 0
minus_one:      .word -1
one:            .word 1
ten:            .word 0d10
hundred:        .word 0d100
digit:          .word '0'
sine_at:        .word sine
new_hour_at:    .word new_hour

.at 100
sine:   .word 0d0, 0d201, 0d399, 0d594, 0d783, 0d965, 0d1137, 0d1299
        .word 0d1447, 0d1582, 0d1702, 0d1805, 0d1891, 0d1959, 0d2008, 0d2037
        .word 0d2047, 0d2037, 0d2008, 0d1959, 0d1891, 0d1805, 0d1702, 0d1582
        .word 0d1447, 0d1299, 0d1137, 0d965, 0d783, 0d594, 0d399, 0d201
        .word 0d0, -0d201, -0d399, -0d594, -0d783, -0d965, -0d1137, -0d1299
        .word -0d1447, -0d1582, -0d1702, -0d1805, -0d1891, -0d1959, -0d2008, -0d2037
        .word -0d2047, -0d2037, -0d2008, -0d1959, -0d1891, -0d1805, -0d1702, -0d1582
        .word -0d1447, -0d1299, -0d1137, -0d965, -0d783, -0d594, -0d399, -0d201

.at 200
        set-page 0
        load moon_start
        store moon
        load sun_start
        store sun
        load distance_start
        store distance
        load lowest_word
        store highest
        set 0
        store hour

        read-port keys                  ; go on to the day asked for
        store days_left
days:   load days_left
        jump-if-zero new_hour
        add minus_one
        store days_left
        load moon
        add moon_day
        store moon
        load distance
        add distance_day
        store distance
        jump days

new_hour:
        load moon                       ; the left six bits of the angle choose the sine
        shift-right 6
        add sine_at
        acc-to-pointer
        load moon_size                  ; half of twice the amplitude times the sine
        multiply-at
        store level
        load sun
        shift-right 6
        add sine_at
        acc-to-pointer
        load sun_size
        multiply-at
        add level
        store level
        load distance
        shift-right 6
        add sine_at
        acc-to-pointer
        load distance_size
        multiply-at
        add level
        store level
        write-port plotter

        subtract highest                ; the levels are small: the difference always fits
        jump-if-negative not_higher
        load level
        store highest
not_higher:
        load hour                       ; the line: hour, sign, level
        aim ten
        divide-at
        add digit
        write-port typer
        rest-to-acc
        add digit
        write-port typer
        set ' '
        write-port typer
        load level
        jump-if-negative below
        set '+'
        jump sign
below:  load level
        negate
        store level
        set '-'
sign:   write-port typer
        load level
        aim hundred
        divide-at
        add digit
        write-port typer
        rest-to-acc
        aim ten
        divide-at
        add digit
        write-port typer
        rest-to-acc
        add digit
        write-port typer
        set '\n'
        write-port typer

        load moon                       ; an hour later
        add moon_hour
        store moon
        load sun
        add sun_hour
        store sun
        load distance
        add distance_hour
        store distance
        load hour
        add one
        store hour
        differ day_length
        jump-if-zero day_done
        point new_hour_at
        jump-at

day_done:
        load highest
        stop 0
