* TESTAMP-B, made up for these tests: small-signal only. No noise, no supply current, nothing that clips or slews.
* PIN ORDER: IN+ IN- V+ V- OUT
.SUBCKT TESTAMP-B 1 2 3 4 5
.MODEL RQ RES (T_ABS=-273.15)
C1 1 2 2P
R1 1 2 RQ 1E9
G1 0 10 1 2 1M
R2 10 0 RQ 3E6
C2 10 0 1.6P
E1 11 0 10 0 1
R3 11 5 RQ 30
* rails are looked at by nothing but this
R4 3 4 RQ 1E12
.ENDS
