"""How many spares: boards by yield alone, parts lost at the bench, op-amps for the years to come."""

import math

LEAST_ATTRITION = 2
ATTRITION_SHARE = 0.05
"""Parts beyond those that are soldered in: this share, and at least this many; common practice, no source."""


def at_least_probability(wanted: int, boards: int, share: float) -> float:
    """Chance that at least so many of the boards are good, each by itself.

    Parameters
    ----------
    wanted, boards : int
    share : float
        Of boards that are good. [1]

    Notes
    -----
    Upper tail of the binomial distribution by the incomplete beta function I_p(k, n − k + 1).
    """
    from scipy.special import betainc

    if wanted <= 0:
        return 1.0
    if boards < wanted:
        return 0.0
    return float(betainc(wanted, boards - wanted + 1, share))


def independent_boards(wanted: int, share: float, confidence: float, most: int) -> int | None:
    """Boards to build for so many good ones, if every board were good or bad by itself.

    Parameters
    ----------
    wanted : int
        Good boards, 1 or more.
    share : float
        Of boards that are good. [1]
    confidence : float
        Least chance of having them. [1]
    most : int
        Where to give up.

    Returns
    -------
    boards : int or None
        None where even `most` are too few.
    """
    return next((n for n in range(wanted, most + 1) if at_least_probability(wanted, n, share) >= confidence), None)


def life_stock(lost_a_year: float, years: float, confidence: float = 0.95) -> int:
    """Pieces that last for so many years with the confidence, if boards are lost at random.

    Parameters
    ----------
    lost_a_year : float
        Boards, on average.
    years : float
    confidence : float
        [1]

    Notes
    -----
    Smallest k with P(X ≤ k) ≥ confidence of a Poisson count X of mean lost_a_year · years, by the incomplete gamma
    function Q(k + 1, mean).
    """
    from scipy.special import gammaincc

    mean, stock = lost_a_year * years, 0
    if mean == 0:
        return 0
    while gammaincc(stock + 1, mean) < confidence:
        stock += 1
    return stock


def attrition(soldered: int) -> int:
    """Parts to have beyond those that are soldered in: lost on the floor, soldered twice, broken.

    Parameters
    ----------
    soldered : int
    """
    return max(LEAST_ATTRITION, math.ceil(ATTRITION_SHARE * soldered - 1e-9)) if soldered else 0
