"""The same units with one part and with another: differences of every measure that a substitution is judged by.

All draws but the die's own numbers are common to both, and the die's hidden variables too, as they are drawn by the
device's name; so differences are taken unit by unit, and their interval is that of paired values.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sim.columns import MEASURES
from sim.quantity import Limit
from sim.summary.collect import Gathered, responses
from sim.summary.matching import Matches
from sim.summary.mixed import SEEN, wrapped

ALWAYS = (*SEEN, "noise_margin_db", "stability_margin", "stable", "current_ma")
"""Measures that are compared even where the study does not limit them."""
_TURNS = ("phase_deg", "system_phase_deg")


@dataclass(frozen=True)
class Difference:
    """One measure of a candidate against the reference, at one band or without.

    Attributes
    ----------
    measure : str
    frequency_hz : float
        NaN where the measure has none. [Hz]
    limit : Limit or None
        Of the study.
    reference, nominal : float
        Of the nominal unit.
    step : float
        Difference of the two; of a phase within half a turn, of a match that of its size.
    mean, low, high : float
        Mean over pairs, and its 95 % interval; NaN where there are too few pairs.
    pairs : int
        Drawn units that have the measure with both parts.
    """

    measure: str
    frequency_hz: float
    limit: Limit | None
    reference: float
    nominal: float
    step: float
    mean: float
    low: float
    high: float
    pairs: int

    @property
    def unit(self) -> str:
        """Of all its numbers."""
        return MEASURES[self.measure].unit


def differences(
    gathered: Gathered, bands_hz, matches: Matches, reference: int, candidate: int, limits: Mapping[str, Limit]
) -> tuple[Difference, ...]:
    """Differences of all limited measures and of those of :data:`ALWAYS`.

    Parameters
    ----------
    gathered : Gathered
    bands_hz : sequence of float, length n_band
        [Hz]
    matches : Matches
    reference, candidate : int
        Positions of the two scenarios.
    limits : mapping of measure to Limit
    """
    found = []
    pairs = zip(*(responses(gathered, bands_hz, matches, place) for place in (reference, candidate)), strict=True)
    nominal = np.flatnonzero(gathered.units == 0)
    for old, new in pairs:
        if new.measure not in limits and new.measure not in ALWAYS:
            continue
        each = new.values - old.values
        each = wrapped(each) if new.measure in _TURNS else each
        # Deviations from a mean are zero on average with any part: what differs is how large they are.
        each = np.abs(new.values) - np.abs(old.values) if new.measure.startswith("match_") else each
        first = [float(values[nominal[0]]) if nominal.size else math.nan for values in (old.values, new.values, each)]
        drawn = each[(gathered.units > 0) & np.isfinite(each)]
        found.append(
            Difference(
                new.measure, new.frequency_hz, limits.get(new.measure), *first, *mean_interval(drawn), len(drawn)
            )
        )
    return tuple(found)


def mean_interval(values: np.ndarray, level: float = 0.95) -> tuple[float, float, float]:
    """Mean of values and the confidence interval of the mean.

    Parameters
    ----------
    values : ndarray, shape (n,)
    level : float
        Of confidence. [1]

    Returns
    -------
    mean, low, high : float
        NaN for what so few values cannot say.

    Notes
    -----
    Student's t (Student, Biometrika 6 (1908) 1). It takes units as independent, though those of a build share lots:
    in a difference between two op-amps the lots cancel, and intervals taken over builds were 0.9 to 1.2 times as wide.
    """
    from scipy.special import stdtrit

    n = len(values)
    if n == 0:
        return math.nan, math.nan, math.nan
    mean = float(np.mean(values))
    if n == 1:
        return mean, math.nan, math.nan
    half = float(stdtrit(n - 1, (1 + level) / 2)) * float(np.std(values, ddof=1)) / math.sqrt(n)
    return mean, mean - half, mean + half
