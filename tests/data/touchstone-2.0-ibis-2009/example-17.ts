! source: Touchstone File Format Specification, version 2.0, IBIS Open Forum 2009, example 17 (numbers by way of scikit-rf's tests)
! scattering parameters and noise data, defaults of the option line, a reference for each port
[Version] 2.0
#
[Number of Ports] 2
[Two-Port Data Order] 21_12
[Number of Frequencies] 2
[Number of Noise Frequencies] 2
[Reference] 50 25.0
[Network Data]
2 .95 -26 3.57 157 .04 76 .66 -14
22 .60 -144 1.30 40 .14 40 .56 -85
[Noise Data]
4 .7 .64 69 19
18 2.7 .46 -33 20
[End]
