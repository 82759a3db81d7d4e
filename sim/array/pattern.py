"""Pattern, directivity and sensitivities of an array of short vertical elements.

Theory of operation
-------------------
A wave from the unit vector u reaches the element at r with the phase k r·u: nearer to its source it is earlier. With
the complex weight w_n of everything between field and summing point, and the pattern g of one element over its
ground,

    F(u) = g(elevation) · sum w_n exp(j k r_n·u)

The average of |F|² over the upper hemisphere is <g²> wᴴC w, where C_mn is the correlation of two elements in noise that
comes from all of the sky alike: the integral of g² J0(k d cos e) cos e over the elevations e, divided by that of
g² cos e (azimuths integrate to the Bessel function). Over a perfect ground g = cos e and C has the closed form of the
mutual over the self radiation resistance of two short dipoles (antenna textbooks). From it, without integration over
directions,

    directivity = g² |sum w v|² / (<g²> wᴴC w)     noise penalty P = sum |w|² / wᴴC w
    error sensitivity K = sum |w|² / |sum w v|²    in the wanted direction, v_n = exp(j k r_n·u)

P is what the noise of the elements' own amplifiers gains on noise from the sky by adding without correlation; random
errors of variance s² on every element lift a null to s² K below the wanted signal.

Two averages are in use: over the whole sphere, with nothing from below the ground (a short vertical on perfect ground
then has 4.77 dB), and over the hemisphere, 3.01 dB less. The first is the default here.

Not covered: coupling between elements, losses of combiner and delay lines, elements that are not alike.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import j0

from sim.antenna.earth_line import Soil, reflection
from sim.constants import C0

HEMISPHERE_DB = 10 * np.log10(2)
"""What an average over the sphere gives more than one over the hemisphere. [dB]"""
_NODES = 96  # of the quadrature over elevations: 1e-10 for spacings up to ten wavelengths


@dataclass(frozen=True)
class Ground:
    """What the elements stand on.

    Attributes
    ----------
    soil : Soil or None
        None: a perfect conductor. With soil, the element's pattern is that of the sky wave with the plane-wave
        reflection coefficient.
    """

    soil: Soil | None = None

    def element(self, elevation, freq_hz: float) -> np.ndarray:
        """Voltage pattern of one short vertical: cos e · |1 + Gv|/2, over a perfect ground cos e.

        Parameters
        ----------
        elevation : array_like
            [rad]
        freq_hz : float
            [Hz]
        """
        elevation = np.asarray(elevation, dtype=float)
        if self.soil is None:
            return np.cos(elevation)
        vertical, _ = reflection(self.soil, freq_hz, elevation)
        return np.cos(elevation) * np.abs(1 + vertical) / 2


@dataclass(frozen=True)
class Elements:
    """Places of an array's elements at one frequency.

    Attributes
    ----------
    positions : ndarray, shape (n_element, 2)
        East and north. [m]
    freq_hz : float
        [Hz]
    ground : Ground
    correlation : ndarray, shape (n_element, n_element)
        C of the module's head.
    mean_square : float
        Average of g² over the hemisphere.
    """

    positions: np.ndarray
    freq_hz: float
    ground: Ground
    correlation: np.ndarray
    mean_square: float

    @property
    def wave_number(self) -> float:
        """Wave number k. [rad/m]"""
        return 2 * np.pi * self.freq_hz / C0

    def phases(self, bearing, elevation) -> np.ndarray:
        """v_n: phase of a wave at every element.

        Parameters
        ----------
        bearing, elevation : array_like, one shape
            Where the wave comes from; the bearing clockwise from north. [rad]

        Returns
        -------
        v : complex ndarray, shape (..., n_element)
        """
        bearing, elevation = np.asarray(bearing, dtype=float), np.asarray(elevation, dtype=float)
        east, north = np.cos(elevation) * np.sin(bearing), np.cos(elevation) * np.cos(bearing)
        path = east[..., None] * self.positions[:, 0] + north[..., None] * self.positions[:, 1]
        return np.exp(1j * self.wave_number * path)


def elements(positions, freq_hz: float, ground: Ground | None = None) -> Elements:
    """Elements at one frequency, with the correlation of the sky's noise between them.

    Parameters
    ----------
    positions : array_like, shape (n_element, 2)
        East and north. [m]
    freq_hz : float
        [Hz]
    ground : Ground, optional
        Perfect where it is left out.
    """
    ground = ground or Ground()
    positions = np.asarray(positions, dtype=float)
    apart = np.hypot(*(positions[:, None] - positions[None]).transpose(2, 0, 1))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    # Over the elevation itself: in sin e the Bessel function has a root singularity at the zenith.
    elevation = (nodes + 1) * np.pi / 4
    share = weights * np.pi / 4 * ground.element(elevation, freq_hz) ** 2 * np.cos(elevation)
    reach = 2 * np.pi * freq_hz / C0 * np.cos(elevation)
    correlation = np.sum(share * j0(apart[..., None] * reach), axis=-1) / share.sum()
    return Elements(positions, freq_hz, ground, correlation, float(share.sum()))


@dataclass(frozen=True)
class Look:
    """Where an array listens.

    Attributes
    ----------
    bearing, elevation : float
        The bearing clockwise from north. [rad]
    """

    bearing: float
    elevation: float

    @property
    def behind(self) -> "Look":
        """The same elevation, half a turn away."""
        return Look(self.bearing + np.pi, self.elevation)


def response(at: Elements, weights, bearing, elevation) -> np.ndarray:
    """Voltage response F.

    Parameters
    ----------
    at : Elements
    weights : complex array_like, shape (..., n_element)
        Of one array, or of many.
    bearing, elevation : array_like, one shape (n_direction,) or none
        [rad]

    Returns
    -------
    f : complex ndarray, shape (..., n_direction)
        Without the last axis where one direction is asked for.
    """
    v = at.phases(bearing, elevation)
    g = at.ground.element(elevation, at.freq_hz)
    return g * np.einsum("...n,dn->...d" if v.ndim == 2 else "...n,n->...", np.asarray(weights), v)


def directivity(at: Elements, weights, look: Look) -> np.ndarray:
    """Response in one direction over the average over the sphere, as powers, shape of `weights` without its last axis.

    Notes
    -----
    :data:`HEMISPHERE_DB` less where the average is taken over the hemisphere.
    """
    forward = np.abs(response(at, weights, look.bearing, look.elevation)) ** 2
    return 2 * forward / (at.mean_square * _heard(at, weights))


def noise_penalty(at: Elements, weights) -> np.ndarray:
    """P: what the elements' own noise gains on that of the sky, as a ratio of powers."""
    return _square(weights) / _heard(at, weights)


def error_sensitivity(at: Elements, weights, look: Look) -> np.ndarray:
    """K: power of a random error of the elements over that of the wanted signal, for errors of variance 1."""
    forward = np.abs(np.asarray(weights) @ at.phases(look.bearing, look.elevation)) ** 2
    return _square(weights) / forward


def _square(weights) -> np.ndarray:
    return np.sum(np.abs(np.asarray(weights)) ** 2, axis=-1)


def _heard(at: Elements, weights) -> np.ndarray:
    """wᴴC w."""
    weights = np.asarray(weights)
    return np.einsum("...m,mn,...n->...", weights.conj(), at.correlation, weights).real


def best_weights(at: Elements, look: Look, sensitivity: float) -> np.ndarray:
    """Weights of the greatest directivity among those that are no more sensitive to errors.

    Parameters
    ----------
    at : Elements
    look : Look
    sensitivity : float
        Largest K that is allowed.

    Returns
    -------
    weights : complex ndarray, shape (n_element,)
        The sum of squares is 1.

    Notes
    -----
    w = (C + m I)⁻¹ v*, the maximum of the directivity under a bound on the sum of |w|² (constrained optimum of the
    antenna literature; Lagrange multiplier m). K falls steadily as m grows, from that of the greatest directivity of
    all to 1/N, where all elements add in phase; a bound below that gets these weights.
    """
    v = at.phases(look.bearing, look.elevation)
    values, vectors = np.linalg.eigh(at.correlation)
    values = np.maximum(values, 1e-13 * values[-1])

    def weights(multiplier: float) -> np.ndarray:
        found = vectors @ ((vectors.conj().T @ v.conj()) / (values + multiplier))
        return found / np.linalg.norm(found)

    def excess(exponent: float) -> float:
        return float(np.log(error_sensitivity(at, weights(10.0**exponent), look) / sensitivity))

    low, high = -14.0, 6.0
    if excess(low) <= 0:
        return weights(0.0)
    if excess(high) >= 0:
        return weights(10.0**high)
    return weights(10.0 ** brentq(excess, low, high, xtol=1e-9))
