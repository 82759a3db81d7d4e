"""A horizontal wire near lossy earth as a transmission line: impedance and admittance per metre, fields at the ground.

    n2  = eps_r - j sigma/(w eps0)                     eta = sqrt(k^2 (1 - n2)), real part > 0
    Z'  = Zi + (j w mu0/2 pi) (ln(2h/a) + J1)          J1 = int 2 exp(-2hs)/(s + sqrt(s^2 + eta^2)) ds
    Y'  = j w 2 pi eps0/(ln(2h/b) + ln(b/a)/eps_i + J2)    J2 = int 2 exp(-2hs)/(n2 s + sqrt(s^2 + eta^2)) ds

Two such wires side by side at a distance D, joined at both ends, carry half the current each. What one adds to the
other is (Carson and Wise, as above)

    Zm' = (j w mu0/2 pi) (ln(D'/D) + J1m)      J1m = int 2 exp(-2hs) cos(Ds)/(s + sqrt(s^2 + eta^2)) ds
    Pm' = ln(D'/D) + J2m                       D' = sqrt(4h^2 + D^2), J2m likewise

and the pair is a line of (Z' + Zm')/2 and of half the sum of the two brackets below the bar of Y'. A pair was compared
with closed forms only, not with NEC-2: take it as an estimate.

h is the height of the axis, a the conductor's radius, b and eps_i radius and permittivity of its insulation. J1:
Carson, Bell Syst. Tech. J. 5, 1926; Sunde, Earth Conduction Effects in Transmission Systems, 1949. J2: Wise, Bell
Syst. Tech. J. 13, 1934; Wait, Radio Sci. 7, 1972. Both are integrated numerically. Quasi-TEM: h below about a
fiftieth of a wavelength; radiation is neglected. Against NEC-2 over 27 cases Z0 was 0 to 7 % high, the velocity 0.2
to 3.6 %, the attenuation within 24 %.
"""

from dataclasses import dataclass

import numpy as np

from sim.constants import C0, EPS0, MU0

COPPER = 5.8e7
"""Conductivity of copper at 20 °C, rounded (IEC 60028). [S/m]"""


@dataclass(frozen=True)
class Soil:
    """Electrical constants of soil.

    Attributes
    ----------
    name : str
    permittivity : float
        Relative. [1]
    conductivity : float
        [S/m]
    meaning, reference : str
        In words, and where the numbers come from.
    """

    name: str
    permittivity: float
    conductivity: float
    meaning: str
    reference: str

    def index_squared(self, freq_hz):
        """Square of the complex refractive index, eps_r - j sigma/(w eps0). [1]"""
        omega = 2.0 * np.pi * np.asarray(freq_hz, dtype=float)
        return self.permittivity - 1j * self.conductivity / (omega * EPS0)


_COMMON = "common practice, no source; ITU-R P.527 and P.832 give such ranges (from memory)"
SOILS = (
    Soil("poor", 5.0, 1e-3, "dry sand, rock, city ground", _COMMON),
    Soil("pasture-dry", 10.0, 2e-3, "pasture after weeks without rain", _COMMON),
    Soil("average", 13.0, 5e-3, "pasture and farmland, neither dry nor wet", _COMMON),
    Soil("pasture-wet", 20.0, 15e-3, "pasture soaked by rain", _COMMON),
    Soil("good", 20.0, 30e-3, "heavy wet soil, marsh of fresh water", _COMMON),
)


@dataclass(frozen=True)
class EarthLine:
    """A wire near the ground, per metre.

    Attributes
    ----------
    radius : float
        Of the conductor. [m]
    insulation_radius : float
        Outer one; equal to `radius` for a bare wire. [m]
    insulation_permittivity : float
        Relative. [1]
    height : float
        Of the axis above the soil. [m]
    soil : Soil
    beside : float, optional
        Distance to a second wire like it, joined with it at both ends; None for a single wire. [m]
    """

    radius: float
    insulation_radius: float
    insulation_permittivity: float
    height: float
    soil: Soil
    beside: float | None = None

    def characteristic(self, freq_hz):
        """Propagation constant and characteristic impedance.

        Parameters
        ----------
        freq_hz : array_like
            [Hz]

        Returns
        -------
        gamma : complex ndarray
            [1/m]
        z0 : complex ndarray
            [Ω]
        """
        freq_hz = np.asarray(freq_hz, dtype=float)
        omega = 2.0 * np.pi * freq_hz
        n2 = self.soil.index_squared(freq_hz)
        eta = np.sqrt((omega / C0) ** 2 * (1.0 - n2))
        j1, j2 = _ground_integrals(self.height, eta, n2)
        h, a, b = self.height, self.radius, self.insulation_radius
        inner = (1 + 1j) * np.sqrt(omega * MU0 / (2.0 * COPPER)) / (2.0 * np.pi * a)
        series = inner + 1j * omega * MU0 / (2.0 * np.pi) * (np.log(2.0 * h / a) + j1)
        elastance = np.log(2.0 * h / b) + np.log(b / a) / self.insulation_permittivity + j2
        if self.beside is not None:
            m1, m2 = _ground_integrals(h, eta, n2, self.beside)
            apart = np.log(np.hypot(2.0 * h, self.beside) / self.beside)
            series = (series + 1j * omega * MU0 / (2.0 * np.pi) * (apart + m1)) / 2.0
            elastance = (elastance + apart + m2) / 2.0
        shunt = 1j * omega * 2.0 * np.pi * EPS0 / elastance
        gamma = np.sqrt(series * shunt)
        return gamma, series / gamma


def _ground_integrals(height, eta, n2, beside=0.0):
    """J1 and J2 of the module's head, by the trapezoidal rule in the logarithm of s; `beside` gives J1m and J2m."""
    low, high = np.log(1e-5 * np.abs(eta).min()), np.log(20.0 / height)
    # The cosine turns fast: steps of 0.005 follow it as far as it counts, to distances of hundreds of heights.
    t = np.linspace(low, high, 4000 if beside else 400)
    s = np.exp(t)
    root = np.sqrt(s**2 + np.asarray(eta)[..., None] ** 2)
    weight = 2.0 * np.exp(-2.0 * height * s) * s * (t[1] - t[0])
    if beside:
        weight *= np.cos(beside * s)
    # Below the lowest point both integrands are constant: the first point stands for the rest, once over.
    weight[0] *= 0.5
    head = 2.0 * s[0] / root[..., 0]
    first = (weight / (s + root)).sum(axis=-1) + head
    return first, (weight / (np.asarray(n2)[..., None] * s + root)).sum(axis=-1) + head


def reflection(soil, freq_hz, elevation):
    """Fresnel coefficients of the ground for vertical and horizontal polarisation.

    Parameters
    ----------
    soil : Soil
    freq_hz : array_like
        [Hz]
    elevation : array_like, broadcast with it
        Of the direction of arrival. [rad]

    Returns
    -------
    vertical, horizontal : complex ndarray
    """
    n2 = soil.index_squared(freq_hz)
    sine = np.sin(elevation)
    q = np.sqrt(n2 - np.cos(elevation) ** 2)
    return (n2 * sine - q) / (n2 * sine + q), (sine - q) / (sine + q)
