"""A short horizontal dipole above soil: what reaches it from the sky, and what the soil takes.

Theory of operation
-------------------
The field of the dipole is a spectrum of plane waves, and each comes back from the soil with its Fresnel coefficient;
the waves that do not propagate (s > 1) are the near field, which heats the soil. With s the transverse wave number
over k, c = sqrt(1 - s^2) and phi its direction from the wire,

    R/R0 = 1 + (3/2) < int_0^inf Re[(s/c) (sin^2 phi Gh - cos^2 phi c^2 Gv) exp(-2jkHc)] g(s cos phi)^2 ds >

averaged over phi; R0 = eta0 k^2 h^2/(6 pi) is the radiation resistance of the same dipole in free space, and
g(x) = sinc^2(x k l/2) the spectrum of its current, which falls evenly from the middle to the ends of both legs of
length l. For a point dipole (g = 1) this is the published integral (Chance, Prock and Silbey, Adv. Chem. Phys. 37,
1978; Novotny and Hecht, Principles of Nano-Optics; from memory, texts not at hand); g is an own addition. Against NEC-2
(nec2c 1.3, Sommerfeld ground) it was within 1 % at 5 and 8 m over two soils, and within 2 % at 2 and 10 m.

The part that hears the sky is, as for any antenna,

    R_sky = eta0/(4 lambda^2) int (|h_theta|^2 + |h_phi|^2) dOmega      over the upper hemisphere

and what is left of R is soil at ambient temperature.

Not covered: layered soil, masts and guys, legs that are not level.
"""

from functools import cache, lru_cache

import numpy as np

from sim.antenna.earth_line import Soil, reflection
from sim.constants import C0


def plane_wave_heights(soil: Soil, wire_height: float, freq_hz, azimuth, elevation):
    """Open-circuit voltage per incident field and per metre of effective height in free space, for both polarisations.

    Parameters
    ----------
    soil : Soil
    wire_height : float
        Of the wire above the soil. [m]
    freq_hz, azimuth, elevation : array_like, broadcast together
        Of the wave; the azimuth from the direction of the wire. [Hz, rad, rad]

    Returns
    -------
    vertical, horizontal : complex ndarray
        [1]

    Notes
    -----
    Direct wave and the one from the ground, with the Fresnel coefficients Gv, Gh (textbook images over real ground).
    """
    k, sine = 2 * np.pi * np.asarray(freq_hz, dtype=float) / C0, np.sin(elevation)
    gv, gh = reflection(soil, freq_hz, elevation)
    mirrored = np.exp(-2j * k * wire_height * sine)
    return sine * np.cos(azimuth) * (1 - gv * mirrored), np.sin(azimuth) * (1 + gh * mirrored)


@lru_cache(maxsize=64)
def sky_share(soil: Soil, wire_height: float, freq_hz: tuple) -> np.ndarray:
    """Share of the free-space radiation resistance that hears the upper hemisphere.

    Parameters
    ----------
    soil : Soil
    wire_height : float
        [m]
    freq_hz : tuple of float
        [Hz]

    Returns
    -------
    share : ndarray, shape (n_freq,)
        R_sky/R0; up to 4 where wave and image add.
    """
    freq = np.asarray(freq_hz)[:, None, None]
    # Fringes of the image: about one for every half wavelength of height.
    nodes, weights = _gauss(32 + int(8 * wire_height * max(freq_hz) / C0))
    psi, phi = (nodes + 1) * np.pi / 4, (np.arange(12) + 0.5) * np.pi / 24
    v, h = plane_wave_heights(soil, wire_height, freq, phi[None, None, :], psi[None, :, None])
    over_phi = (np.abs(v) ** 2 + np.abs(h) ** 2).mean(axis=2) * 2 * np.pi
    heard = over_phi @ (weights * np.pi / 4 * np.cos(psi))
    # eta0/(4 lambda^2) over R0 of the same height: 3/(8 pi).
    return 3 / (8 * np.pi) * heard


@lru_cache(maxsize=64)
def whole_share(soil: Soil, wire_height: float, leg: float, freq_hz: tuple) -> np.ndarray:
    """Resistance at the terminals, sky and soil, as a share of the free-space radiation resistance.

    Parameters
    ----------
    soil : Soil
    wire_height, leg : float
        Height above the soil; length of one leg. [m]
    freq_hz : tuple of float
        [Hz]

    Returns
    -------
    share : ndarray, shape (n_freq,)
        R/R0.
    """
    return np.array([_whole_share(soil, wire_height, leg, f) for f in freq_hz])


@cache
def _gauss(count: int):
    """Nodes and weights of Gauss and Legendre on -1 to 1."""
    return np.polynomial.legendre.leggauss(count)


def _whole_share(soil: Soil, height: float, leg: float, freq_hz: float) -> float:
    k = 2 * np.pi * freq_hz / C0
    n2 = soil.index_squared(freq_hz)
    nodes, weights = _gauss(64 + int(2 * k * height))
    t = (nodes + 1) * np.pi / 4
    # s = sin t where waves propagate; s = cosh u beyond, to where exp(-2kH sinh u) has died away.
    total = _spectrum(np.sin(t), np.cos(t), np.cos(t), k, height, leg, n2) @ (weights * np.pi / 4)
    end = np.arcsinh(5 + 20 / (k * height))
    nodes, weights = _gauss(160)
    u = (nodes + 1) * end / 2
    total += _spectrum(np.cosh(u), -1j * np.sinh(u), np.sinh(u), k, height, leg, n2) @ (weights * end / 2)
    return float(1 + 1.5 * total.real)


def _spectrum(s, c, step, k, height, leg, n2):
    """The integrand, averaged over a quarter of the directions and times ds."""
    phi = ((np.arange(16) + 0.5) * np.pi / 32)[:, None]
    q = np.sqrt(n2 - s**2 + 0j)
    # Waves in the soil die away downwards.
    q = np.where(q.imag > 0, -q, q)
    gh, gv = (c - q) / (c + q), (n2 * c - q) / (n2 * c + q)
    current = np.sinc(k * s * np.cos(phi) * leg / (2 * np.pi)) ** 2
    waves = (np.sin(phi) ** 2 * gh - np.cos(phi) ** 2 * c**2 * gv) * current**2
    return (s / c * np.exp(-2j * k * height * c) * step) * waves.mean(axis=0)
