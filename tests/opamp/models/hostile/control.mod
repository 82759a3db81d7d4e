* TESTAMP-L, made up: it brings a control section of its own.
.SUBCKT TESTAMP-L INP INN VCC VEE OUT
R1 INP INN 1MEG
R2 VCC VEE 5K
E1 OUT VEE INP INN 1E5
.ENDS
.control
shell echo hello > ran
.endc
