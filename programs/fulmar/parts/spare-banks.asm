; Rope banks 4 to 27 (octal), which no program needs yet. They are not left blank: a blank bank would tell little
; about its wires. Each half of a bank is a strand of wires of its own, so each half holds words in which any two
; bits differ somewhere: filler, then stretches of 64 words drawn at random.
;
; The bank ends with its number, the complement of that, and the word that makes its sum negative zero.

.bank 4
.at 4000
.include "parts/filler.asm"
        .fill 100, 170511
        .fill 100, 073474
        .fill 100, 170504
        .fill 100, 121265
        .fill 100, 131646
        .fill 100, 131411
        .fill 100, 132200
.at 5000
.include "parts/filler.asm"
        .fill 100, 065435
        .fill 100, 152365
        .fill 100, 056423
        .fill 100, 166556
        .fill 100, 021217
        .fill 100, 071016
        .fill 74, 137013
        .word 4, 177777 - 4, 0, 056462
.bank 5
.at 4000
.include "parts/filler.asm"
        .fill 100, 115342
        .fill 100, 037370
        .fill 100, 007121
        .fill 100, 124445
        .fill 100, 145106
        .fill 100, 110465
        .fill 100, 060242
.at 5000
.include "parts/filler.asm"
        .fill 100, 113453
        .fill 100, 013424
        .fill 100, 040146
        .fill 100, 111642
        .fill 100, 106241
        .fill 100, 155011
        .fill 74, 144023
        .word 5, 177777 - 5, 0, 021620
.bank 6
.at 4000
.include "parts/filler.asm"
        .fill 100, 113123
        .fill 100, 015643
        .fill 100, 144371
        .fill 100, 137652
        .fill 100, 174070
        .fill 100, 005515
        .fill 100, 002540
.at 5000
.include "parts/filler.asm"
        .fill 100, 016655
        .fill 100, 040510
        .fill 100, 124747
        .fill 100, 162575
        .fill 100, 167612
        .fill 100, 114637
        .fill 74, 105007
        .word 6, 177777 - 6, 0, 102715
.bank 7
.at 4000
.include "parts/filler.asm"
        .fill 100, 113631
        .fill 100, 072205
        .fill 100, 151032
        .fill 100, 025576
        .fill 100, 155313
        .fill 100, 154467
        .fill 100, 050656
.at 5000
.include "parts/filler.asm"
        .fill 100, 150620
        .fill 100, 133640
        .fill 100, 057362
        .fill 100, 174615
        .fill 100, 051602
        .fill 100, 174614
        .fill 74, 046772
        .word 7, 177777 - 7, 0, 147706
.bank 10
.at 4000
.include "parts/filler.asm"
        .fill 100, 072025
        .fill 100, 056370
        .fill 100, 045656
        .fill 100, 005417
        .fill 100, 127556
        .fill 100, 171603
        .fill 100, 014126
.at 5000
.include "parts/filler.asm"
        .fill 100, 125545
        .fill 100, 012520
        .fill 100, 057676
        .fill 100, 100630
        .fill 100, 021603
        .fill 100, 117640
        .fill 74, 060332
        .word 10, 177777 - 10, 0, 156377
.bank 11
.at 4000
.include "parts/filler.asm"
        .fill 100, 170307
        .fill 100, 157506
        .fill 100, 071515
        .fill 100, 057565
        .fill 100, 116551
        .fill 100, 045257
        .fill 100, 127164
.at 5000
.include "parts/filler.asm"
        .fill 100, 127771
        .fill 100, 077646
        .fill 100, 010007
        .fill 100, 077046
        .fill 100, 020012
        .fill 100, 175727
        .fill 74, 053566
        .word 11, 177777 - 11, 0, 056677
.bank 12
.at 4000
.include "parts/filler.asm"
        .fill 100, 152430
        .fill 100, 121713
        .fill 100, 042345
        .fill 100, 001461
        .fill 100, 100047
        .fill 100, 141515
        .fill 100, 114724
.at 5000
.include "parts/filler.asm"
        .fill 100, 070475
        .fill 100, 055306
        .fill 100, 052734
        .fill 100, 136635
        .fill 100, 024304
        .fill 100, 110201
        .fill 74, 121456
        .word 12, 177777 - 12, 0, 120104
.bank 13
.at 4000
.include "parts/filler.asm"
        .fill 100, 012406
        .fill 100, 147223
        .fill 100, 056462
        .fill 100, 024167
        .fill 100, 054704
        .fill 100, 176417
        .fill 100, 126361
.at 5000
.include "parts/filler.asm"
        .fill 100, 063203
        .fill 100, 001427
        .fill 100, 001515
        .fill 100, 141016
        .fill 100, 014434
        .fill 100, 073317
        .fill 74, 156047
        .word 13, 177777 - 13, 0, 006436
.bank 14
.at 4000
.include "parts/filler.asm"
        .fill 100, 072374
        .fill 100, 113537
        .fill 100, 047776
        .fill 100, 166513
        .fill 100, 064026
        .fill 100, 027564
        .fill 100, 031054
.at 5000
.include "parts/filler.asm"
        .fill 100, 025541
        .fill 100, 030437
        .fill 100, 136605
        .fill 100, 040457
        .fill 100, 044323
        .fill 100, 050735
        .fill 74, 140606
        .word 14, 177777 - 14, 0, 172350
.bank 15
.at 4000
.include "parts/filler.asm"
        .fill 100, 051215
        .fill 100, 124215
        .fill 100, 075466
        .fill 100, 006236
        .fill 100, 131604
        .fill 100, 072016
        .fill 100, 113217
.at 5000
.include "parts/filler.asm"
        .fill 100, 151103
        .fill 100, 021522
        .fill 100, 145206
        .fill 100, 037714
        .fill 100, 046131
        .fill 100, 037650
        .fill 74, 154316
        .word 15, 177777 - 15, 0, 110622
.bank 16
.at 4000
.include "parts/filler.asm"
        .fill 100, 121644
        .fill 100, 013633
        .fill 100, 066600
        .fill 100, 165447
        .fill 100, 133404
        .fill 100, 030475
        .fill 100, 110132
.at 5000
.include "parts/filler.asm"
        .fill 100, 052045
        .fill 100, 073507
        .fill 100, 035063
        .fill 100, 010122
        .fill 100, 162056
        .fill 100, 072767
        .fill 74, 047354
        .word 16, 177777 - 16, 0, 175236
.bank 17
.at 4000
.include "parts/filler.asm"
        .fill 100, 121366
        .fill 100, 136634
        .fill 100, 055703
        .fill 100, 073301
        .fill 100, 041330
        .fill 100, 045151
        .fill 100, 146024
.at 5000
.include "parts/filler.asm"
        .fill 100, 175054
        .fill 100, 134266
        .fill 100, 031163
        .fill 100, 057007
        .fill 100, 027612
        .fill 100, 076525
        .fill 74, 143345
        .word 17, 177777 - 17, 0, 154106
.bank 20
.at 4000
.include "parts/filler.asm"
        .fill 100, 170401
        .fill 100, 012110
        .fill 100, 172135
        .fill 100, 054165
        .fill 100, 141372
        .fill 100, 064005
        .fill 100, 136605
.at 5000
.include "parts/filler.asm"
        .fill 100, 115631
        .fill 100, 164121
        .fill 100, 075440
        .fill 100, 051467
        .fill 100, 172242
        .fill 100, 157351
        .fill 74, 152465
        .word 20, 177777 - 20, 0, 105712
.bank 21
.at 4000
.include "parts/filler.asm"
        .fill 100, 064164
        .fill 100, 123707
        .fill 100, 131607
        .fill 100, 103423
        .fill 100, 111443
        .fill 100, 011203
        .fill 100, 030066
.at 5000
.include "parts/filler.asm"
        .fill 100, 033117
        .fill 100, 103735
        .fill 100, 131252
        .fill 100, 003275
        .fill 100, 175446
        .fill 100, 062034
        .fill 74, 016050
        .word 21, 177777 - 21, 0, 022334
.bank 22
.at 4000
.include "parts/filler.asm"
        .fill 100, 104722
        .fill 100, 160470
        .fill 100, 050557
        .fill 100, 115266
        .fill 100, 161634
        .fill 100, 064627
        .fill 100, 055723
.at 5000
.include "parts/filler.asm"
        .fill 100, 112523
        .fill 100, 007141
        .fill 100, 103110
        .fill 100, 136577
        .fill 100, 132736
        .fill 100, 040711
        .fill 74, 113304
        .word 22, 177777 - 22, 0, 071665
.bank 23
.at 4000
.include "parts/filler.asm"
        .fill 100, 127710
        .fill 100, 042550
        .fill 100, 061633
        .fill 100, 153670
        .fill 100, 045361
        .fill 100, 177606
        .fill 100, 151103
.at 5000
.include "parts/filler.asm"
        .fill 100, 075101
        .fill 100, 154313
        .fill 100, 044740
        .fill 100, 153463
        .fill 100, 030071
        .fill 100, 033612
        .fill 74, 121541
        .word 23, 177777 - 23, 0, 006324
.bank 24
.at 4000
.include "parts/filler.asm"
        .fill 100, 170511
        .fill 100, 062331
        .fill 100, 130046
        .fill 100, 113262
        .fill 100, 072527
        .fill 100, 122615
        .fill 100, 137573
.at 5000
.include "parts/filler.asm"
        .fill 100, 174376
        .fill 100, 156060
        .fill 100, 050070
        .fill 100, 017036
        .fill 100, 130267
        .fill 100, 136726
        .fill 74, 057531
        .word 24, 177777 - 24, 0, 165703
.bank 25
.at 4000
.include "parts/filler.asm"
        .fill 100, 046416
        .fill 100, 037023
        .fill 100, 174425
        .fill 100, 137244
        .fill 100, 135575
        .fill 100, 154770
        .fill 100, 062655
.at 5000
.include "parts/filler.asm"
        .fill 100, 031171
        .fill 100, 074337
        .fill 100, 034422
        .fill 100, 015444
        .fill 100, 123262
        .fill 100, 174315
        .fill 74, 114274
        .word 25, 177777 - 25, 0, 110425
.bank 26
.at 4000
.include "parts/filler.asm"
        .fill 100, 045472
        .fill 100, 113012
        .fill 100, 027567
        .fill 100, 174010
        .fill 100, 057103
        .fill 100, 165765
        .fill 100, 113453
.at 5000
.include "parts/filler.asm"
        .fill 100, 143350
        .fill 100, 116750
        .fill 100, 167644
        .fill 100, 133027
        .fill 100, 021532
        .fill 100, 122446
        .fill 74, 101055
        .word 26, 177777 - 26, 0, 150146
.bank 27
.at 4000
.include "parts/filler.asm"
        .fill 100, 060213
        .fill 100, 030771
        .fill 100, 125472
        .fill 100, 006562
        .fill 100, 145132
        .fill 100, 171270
        .fill 100, 137353
.at 5000
.include "parts/filler.asm"
        .fill 100, 115151
        .fill 100, 003331
        .fill 100, 040240
        .fill 100, 030664
        .fill 100, 102467
        .fill 100, 100714
        .fill 74, 022406
        .word 27, 177777 - 27, 0, 100327
