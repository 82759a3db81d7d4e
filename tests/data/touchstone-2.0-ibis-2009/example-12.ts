! source: Touchstone File Format Specification, version 2.0, IBIS Open Forum 2009, example 12 (numbers by way of scikit-rf's tests)
! the same in version 2.0, not normalised
[Version] 2.0
# kHz H MA R 1
[Number of Ports] 2
[Two-Port Data Order] 21_12
[Number of Frequencies] 1
[Matrix Format] Full
[Network Data]
2 .95 -26 3.57 157 .04 76 .66 -14
[End]
