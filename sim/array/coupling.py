"""How strongly short elements of an array hear each other: an estimate, for a caution only.

Two short vertical dipoles over a perfect ground have the mutual impedance R_rad (C(x) + j X(x)) at x = k d, with
C = (3/2)(sin x/x + cos x/x² − sin x/x³), X = (3/2)(cos x/x − sin x/x² − cos x/x³) and R_rad = 40 π² (h/λ)² (antenna
textbooks). The neighbour's current is largest with its terminals shorted, as the input of a transimpedance stage does;
then it changes an element's signal by |Z12|/|Z11|. Good for spacings above two heights; no full-wave check of it is at
hand.
"""

import numpy as np

from sim.constants import C0


def coupling(height: float, impedance, distance: float, freq_hz):
    """Largest change of an element's signal by one neighbour, as a share of it.

    Parameters
    ----------
    height : float
        Of the elements. [m]
    impedance : complex array_like
        Of one element. [Ω]
    distance : float
        Between the two. [m]
    freq_hz : array_like
        [Hz]
    """
    freq_hz = np.asarray(freq_hz, dtype=float)
    x = 2 * np.pi * freq_hz * distance / C0
    real = np.sin(x) / x + np.cos(x) / x**2 - np.sin(x) / x**3
    imag = np.cos(x) / x - np.sin(x) / x**2 - np.cos(x) / x**3
    resistance = 40 * np.pi**2 * (height * freq_hz / C0) ** 2
    return 1.5 * resistance * np.hypot(real, imag) / np.abs(impedance)
