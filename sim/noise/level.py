"""How far a noise stands from its median at a given share of the time.

ITU-R P.372 gives, beside a median, an upper and a lower decile of the variation in dB. Each side is taken as half of a
normal law in dB (log-normal in power), so a side's standard deviation is its decile over 1.2816. The deciles
themselves are data; what lies beyond them rests on that law alone.
"""

from statistics import NormalDist

import numpy as np

LEVELS = {"median": 0.5, "lower-decile": 0.1, "upper-decile": 0.9}
"""Words for a level, and the share of the time in which the noise stays below it. [1]"""
LOWEST_SHARE, HIGHEST_SHARE = 0.01, 0.99
DECILE_SIGMAS = NormalDist().inv_cdf(0.9)
"""Standard deviations from the median to a decile of a normal law. [1]"""


def share_of(level: str) -> float:
    """Share of the time in which the noise stays below a level.

    Parameters
    ----------
    level : str
        "median", "lower-decile", "upper-decile", or a percentile such as "10 %".

    Returns
    -------
    share : float
        From 0.01 to 0.99. [1]

    Raises
    ------
    ValueError
        No such word, no percentage, or a share too near to 0 or 1.
    """
    if level in LEVELS:
        return LEVELS[level]
    number, mark, rest = level.partition("%")
    try:
        share = float(number) / 100.0 if mark and not rest.strip() else float("nan")
    except ValueError:
        share = float("nan")
    if not LOWEST_SHARE <= share <= HIGHEST_SHARE:
        raise ValueError(f"{level!r} is no level of noise")
    return share


def deviation_db(share: float, upper_db, lower_db) -> np.ndarray:
    """Distance from the median at a share of the time, after the deciles of both sides.

    Parameters
    ----------
    share : float
        Above 0 and below 1; 0.1 is the lower decile. [1]
    upper_db, lower_db : array_like
        Distances of the deciles from the median, positive. [dB]

    Returns
    -------
    deviation_db : ndarray
        Below zero for shares below 0.5. [dB]
    """
    decile = np.asarray(upper_db if share >= 0.5 else lower_db, dtype=float)
    return NormalDist().inv_cdf(share) / DECILE_SIGMAS * decile
