"""The mask: what good units may show on this bench, gain and phase together, over all frequencies at once.

At each frequency the deviation of a sweep from the middle of the good units, level and phase together, is measured in
standard deviations of the good units and of the measurement (Mahalanobis distance in the plane). A curve counts by its
largest distance; the good units' own curves, each with a measurement's errors added, are ranked by it, and the mask is
where 99 in 100 of them stay. So the share holds for whole curves and not for each frequency by itself.
"""

import math
from dataclasses import dataclass

import numpy as np

from sim.diagnosis.bench import BenchSetup
from sim.diagnosis.fit import NEPER_DB, difference, noise_of
from sim.inspection.cloud import Cloud

INNER, OUTER = 0.95, 0.99
"""Shares of good units inside the inner mask and inside the mask. [1]"""
MATCH_SIGMA = 0.005
"""Standard deviation of each part of a measured reflection coefficient: a directivity near 40 dB; estimate. [1]"""


@dataclass(frozen=True)
class Mask:
    """Where good units lie, in a plane at each frequency.

    Attributes
    ----------
    middle : ndarray, shape (2, n_freq)
    covariance : ndarray, shape (2, 2, n_freq)
        Of good units and measurement together.
    inner, outer : float
        Largest distances that :data:`INNER` and :data:`OUTER` of the good units keep. [1]
    units : int
        Out of which they were ranked.
    """

    middle: np.ndarray
    covariance: np.ndarray
    inner: float
    outer: float
    units: int

    def distances(self, points: np.ndarray, more: float = 0.0) -> np.ndarray:
        """Distance from the middle at each frequency, in standard deviations.

        Parameters
        ----------
        points : ndarray, shape (..., 2, n_freq)
        more : float
            Standard deviation that is added to both axes.
        """
        a, b, c = self.covariance[0, 0] + more**2, self.covariance[0, 1], self.covariance[1, 1] + more**2
        x, y = points[..., 0, :] - self.middle[0], points[..., 1, :] - self.middle[1]
        # Of a 2 × 2 inverse, written out.
        return np.sqrt((c * x * x - 2 * b * x * y + a * y * y) / (a * c - b * b))

    def half_width(self, axis: int) -> np.ndarray:
        """How far from the middle the mask reaches along one axis, shape (n_freq,)."""
        return self.outer * np.sqrt(self.covariance[axis, axis])


def gain_mask(cloud: Cloud, places: np.ndarray) -> Mask:
    """Mask of level [Np] and phase [rad], both from the nominal unit.

    Parameters
    ----------
    cloud : Cloud
    places : int ndarray, shape (n_place,)
        Frequencies that are compared.
    """
    bench, nominal, freq_hz = cloud.bench, cloud.nominal[places], cloud.freq_hz[places]
    clean = np.array([plane(gain, nominal, bench) for gain in cloud.gain[:, places]])
    point = noise_of(nominal, bench).reshape(2, -1)
    common = np.array([np.full(len(places), bench.level_sigma_db / NEPER_DB), _turn(freq_hz, bench)])
    rng = np.random.default_rng(0x6D61736B)
    together = rng.standard_normal((len(clean), 2, 1)) * common
    seen = clean + together + rng.standard_normal(clean.shape) * point
    return _ranked(clean, np.sqrt(point**2 + common**2), seen)


def match_mask(cloud: Cloud, places: np.ndarray) -> Mask:
    """Mask of the output's reflection coefficient, real and imaginary part, from the nominal unit's.

    Parameters
    ----------
    cloud : Cloud
    places : int ndarray, shape (n_place,)
    """
    away = cloud.match[:, places] - cloud.nominal_match[places]
    clean = np.stack([away.real, away.imag], axis=1)
    rng = np.random.default_rng(0x6D617463)
    sigma = np.full((2, len(places)), MATCH_SIGMA)
    # A directivity error turns slowly over the sweep: one for all frequencies is the harder case.
    return _ranked(clean, sigma, clean + MATCH_SIGMA * rng.standard_normal((len(clean), 2, 1)))


def plane(gain: np.ndarray, nominal: np.ndarray, bench: BenchSetup) -> np.ndarray:
    """Level [Np] and phase [rad] of a curve from the nominal unit's, shape (2, n_freq).

    Parameters
    ----------
    gain, nominal : complex ndarray, shape (n_freq,)
    bench : BenchSetup
        Its floor softens what lies near it.
    """
    return difference(gain, nominal, bench).reshape(2, -1)


def _turn(freq_hz: np.ndarray, bench: BenchSetup) -> np.ndarray:
    """Standard deviation of the phase that all points share: as much as of the level, and a path not calibrated."""
    return np.hypot(bench.level_sigma_db / NEPER_DB, 2 * math.pi * freq_hz * bench.delay_sigma_s)


def _ranked(clean: np.ndarray, sigma: np.ndarray, seen: np.ndarray) -> Mask:
    count = len(clean)
    middle = clean.mean(axis=0)
    away = clean - middle
    total = np.einsum("uaf,ubf->abf", away, away)
    # Each unit is held against all others and not against itself, as a new one is: without it, everything, in closed
    # form (a mean and a sum of squares, less one of count).
    more = count / (count - 1)
    a, b, c = (
        (total[i, j] - more * away[:, i] * away[:, j]) / (count - 2) + (sigma[i] ** 2 if i == j else 0.0)
        for i, j in ((0, 0), (0, 1), (1, 1))
    )
    x, y = np.moveaxis(seen - middle + away / (count - 1), 1, 0)
    ranked = np.sort(np.sqrt((c * x * x - 2 * b * x * y + a * y * y) / (a * c - b * b)).max(axis=-1))
    covariance = total / (count - 1)
    covariance[0, 0] += sigma[0] ** 2
    covariance[1, 1] += sigma[1] ** 2
    return Mask(middle, covariance, _held(ranked, INNER), _held(ranked, OUTER), count)


def _held(ranked: np.ndarray, share: float) -> float:
    """The distance that one more unit like these keeps with this probability: an order statistic, no shape assumed."""
    place = math.ceil(share * (len(ranked) + 1))
    return float(ranked[min(place, len(ranked)) - 1])
