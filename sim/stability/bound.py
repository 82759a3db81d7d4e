"""How near the loop can come to −1 over all terminations of a disc of reflection coefficients, in closed form."""

import numpy as np


def least_over_disc(size: np.ndarray, a: np.ndarray, b: np.ndarray, radius: np.ndarray) -> np.ndarray:
    """Smallest |f (1 − a Γ)/(1 − b Γ)| over |Γ| ≤ radius.

    Parameters
    ----------
    size : ndarray
        |f|. [1]
    a, b : complex ndarray, broadcast with `size`
    radius : ndarray, broadcast with them

    Returns
    -------
    least : ndarray
        0 where the disc holds a zero.

    Notes
    -----
    A Möbius map takes the disc's rim to a circle about (1 − a b* r²)/(1 − |b|² r²) of radius r |a − b|/|1 − |b|² r²|
    (textbook). With |1 − a b* r²|² − r² |a − b|² = (1 − |a|² r²)(1 − |b|² r²) its distance from zero is
    (1 − |a|² r²)/(|1 − a b* r²| + r |a − b|), on either side of |b| r = 1.
    """
    square = radius * radius
    mixed = a * np.conj(b)
    rim = np.sqrt((1 - mixed.real * square) ** 2 + (mixed.imag * square) ** 2) + radius * np.abs(a - b)
    return size * np.maximum(1 - (a.real**2 + a.imag**2) * square, 0) / rim
