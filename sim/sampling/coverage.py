"""What a sample promises of all that it was drawn from: limits for most units, and how sharp a share is.

Two ways to limits. The least and the largest of a sample need no assumption but that it is a sample (Wilks); of a few
real boards that is a weak promise, and the mean and some standard deviations promise more if values are spread
normally. Both hold for one quantity at one frequency, not for a whole curve, and neither knows of wrong inputs.
"""

import math
from functools import lru_cache

MOST_UNITS = 10_000_000
LEVEL = 0.95
"""Of confidence, and the share of units, where nothing else is said. [1]"""
_Z = 1.959963984540054
"""Of 95 %, two-sided: quantile of the normal law. [1]"""


def confidence_of_extremes(n: int, share: float, ends: int = 2) -> float:
    """How sure it is that the extremes of a sample enclose a share of all.

    Parameters
    ----------
    n : int
        Size of the sample.
    share : float
        Of all units. [1]
    ends : int
        2: between the least and the largest; 1: below the largest, or above the least.

    Returns
    -------
    confidence : float
        [1]

    Notes
    -----
    Wilks, Annals of Mathematical Statistics 12 (1941) 91: 1 − pⁿ for one end, 1 − n pⁿ⁻¹ + (n − 1) pⁿ for both; for any
    continuous law.
    """
    if n < ends:
        return 0.0
    if ends == 1:
        return 1 - share**n
    return 1 - n * share ** (n - 1) + (n - 1) * share**n


def units_for_extremes(share: float = LEVEL, confidence: float = LEVEL, ends: int = 2) -> int:
    """Smallest sample whose extremes enclose a share of all with a confidence; 93 for 95 % and 95 % at both ends.

    Parameters
    ----------
    share, confidence : float
        Between 0 and 1. [1]
    ends : int
        As in :func:`confidence_of_extremes`.
    """
    low, high = 0, 1
    while confidence_of_extremes(high, share, ends) < confidence:
        low, high = high, 2 * high
    while high - low > 1:  # the confidence rises with the sample
        middle = (low + high) // 2
        low, high = (middle, high) if confidence_of_extremes(middle, share, ends) < confidence else (low, middle)
    return high


def share_between_extremes(n: int, confidence: float = LEVEL) -> float:
    """Share of all units that lie between the least and the largest of a sample, with a confidence. [1]

    Parameters
    ----------
    n : int
        0 and 1 enclose nothing.
    confidence : float
        [1]

    Notes
    -----
    The share between the extremes has the beta distribution of n − 1 and 2 (Wilks 1941); its lower quantile.
    """
    from scipy.special import betaincinv

    return float(betaincinv(n - 1, 2, 1 - confidence)) if n > 1 else 0.0


@lru_cache
def normal_limit(n: int, share: float = LEVEL, confidence: float = LEVEL, ends: int = 2) -> float:
    """Standard deviations from the mean of a few values within which a share of all lies, with a confidence.

    Parameters
    ----------
    n : int
        Values that mean and standard deviation (with n − 1) are from; 2 or more.
    share, confidence : float
        [1]
    ends : int
        2: between mean − k s and mean + k s; 1: below mean + k s, or above mean − k s.

    Returns
    -------
    k : float
        [1]

    Notes
    -----
    For normally spread values. One end: the quantile of the non-central t distribution with n − 1 degrees of freedom
    and non-centrality z_p √n, over √n. Both ends: the k at which P(s k ≥ r(mean)) is the confidence, averaged over
    where the mean may lie, r(x) the half-width around x that holds the share: the exact integral, as tabulated in
    ISO 16269-6.
    """
    if n < 2:
        raise ValueError("One value has no spread.")
    import numpy as np
    from scipy.optimize import brentq
    from scipy.special import chdtrc, chndtrix, ndtri

    if ends == 1:
        from scipy.stats import nct

        return float(nct.ppf(confidence, n - 1, ndtri(share) * math.sqrt(n)) / math.sqrt(n))
    # Gauss and Legendre over where the mean lies, in its own standard deviations; beyond eight there is nothing.
    nodes, weights = np.polynomial.legendre.leggauss(96)
    shift = 4 * (nodes + 1)
    density = 8 * weights * np.exp(-(shift**2) / 2) / math.sqrt(2 * math.pi)
    needed = chndtrix(share, 1, shift**2 / n)  # square of r

    def missing(k: float) -> float:
        return float(density @ chdtrc(n - 1, (n - 1) * needed / k**2)) - confidence

    return float(brentq(missing, 1e-3, 1e6, xtol=1e-10, rtol=1e-12))


def share_half_width(share: float, n: int) -> float:
    """Half the width of the 95 % interval of a share counted on a sample. [1]

    Parameters
    ----------
    share : float
        As counted. [1]
    n : int
        Size of the sample, 1 or more.

    Notes
    -----
    Wilson, Journal of the American Statistical Association 22 (1927) 209. The exact interval that a yield is given with
    is a little wider.
    """
    return _Z / (1 + _Z**2 / n) * math.sqrt(share * (1 - share) / n + _Z**2 / (4 * n * n))


def units_for_half_width(share: float, half_width: float) -> int:
    """Smallest sample on which a share is known within ± `half_width`, 95 %; see :func:`share_half_width`.

    Parameters
    ----------
    share : float
        Expected. [1]
    half_width : float
        Above zero. [1]
    """
    low, high = 0, 1
    while share_half_width(share, high) > half_width and high < MOST_UNITS:
        low, high = high, 2 * high
    while high - low > 1:  # the width falls with the sample
        middle = (low + high) // 2
        low, high = (middle, high) if share_half_width(share, middle) > half_width else (low, middle)
    return high
