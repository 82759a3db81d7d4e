"""Quantile functions: where a uniform number falls in a distribution.

All take u in (0, 1) and give the value below which the share u lies, so one uniform number an item and name is all the
randomness there is.
"""

import numpy as np


def uniform(u, low, high):
    """Uniform between two ends; standard deviation (high − low)/√12."""
    return low + (high - low) * np.asarray(u)


def truncated_normal(u, low, high, sigma):
    """Normal around 0, cut off at both ends; a maker's limit holds at delivery, so what lies outside is drawn again.

    Parameters
    ----------
    u : array_like
    low, high : array_like
        Ends, in the unit of `sigma`; low ≤ high, and equal ends leave that one value.
    sigma : float
        Standard deviation before the cut; 0 leaves 0 where the ends allow it.
    """
    # Half of the time that a command needs to start, where nothing is drawn.
    from scipy.special import ndtr, ndtri

    # A part of 0 % has sigma 0: any scale then does, since what is scaled is nothing.
    scale = sigma if sigma > 0 else 1.0
    below, above = ndtr(np.asarray(low) / scale), ndtr(np.asarray(high) / scale)
    return np.clip(sigma * ndtri(below + np.asarray(u) * (above - below)), low, high)


def lognormal(u, sigma, most=3.0):
    """Factor around 1 whose logarithm is normal with `sigma`, cut off at ± `most` sigma."""
    return np.exp(truncated_normal(u, -most * sigma, most * sigma, sigma))
