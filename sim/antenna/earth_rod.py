"""Rods driven into the soil as an earth electrode: one, or two side by side, joined at the top.

    R1 = (ln(4l/b) - 1)/(2 pi sigma l)                                                    one rod
    Rm = (asinh(2l/s) - sqrt(1 + (s/2l)^2) + s/2l)/(2 pi sigma l)                         what one adds to the other
    R2 = (R1 + Rm)/2                                                                      two rods
    C  = eps_r eps0/(sigma R)                                                             in parallel with either

l is a rod's length, b its radius, s the distance between two. The potential of a rod with an even current, averaged
over itself or over its neighbour, with the image above the ground: Dwight, Calculation of resistances to ground,
Trans. AIEE 55, 1936; Sunde, Earth Conduction Effects in Transmission Systems, 1949. Dwight's series for two rods, l/s
(1 - l^2/3s^2 + 2l^4/5s^4), is the expansion of Rm for rods far apart. The capacitor follows by putting sigma + j w
eps in sigma's place.

Valid for rods shorter than half the skin depth of the soil, in soil that is the same down to well below them. Nothing
here was compared with a measurement or with NEC-2, which cannot connect a wire to real ground: an estimate, and soil
near a rod dries, freezes and shrinks from it.
"""

import math
from dataclasses import dataclass

import numpy as np

from sim.antenna.earth_line import Soil
from sim.constants import C0, EPS0


@dataclass(frozen=True)
class Rods:
    """One rod, or two.

    Attributes
    ----------
    count : int
        1 or 2.
    length, radius : float
        Of each. [m]
    spacing : float
        Between two. [m]
    soil : Soil
    """

    count: int
    length: float
    radius: float
    spacing: float
    soil: Soil

    def __post_init__(self):
        if self.count not in (1, 2) or not 0 < self.radius < self.length / 4 or not self.spacing > 2 * self.radius:
            raise ValueError("earth rods are one or two, longer than four radii and not in one another")

    def resistance(self):
        """To earth, towards zero frequency. [Ω]"""
        own = math.log(4 * self.length / self.radius) - 1
        if self.count == 2:
            ratio = self.spacing / (2 * self.length)
            own = (own + math.asinh(1 / ratio) - math.hypot(1, ratio) + ratio) / 2
        return own / (2 * math.pi * self.soil.conductivity * self.length)

    def capacitance(self):
        """In parallel with the resistance. [F]"""
        return self.soil.permittivity * EPS0 / (self.soil.conductivity * self.resistance())

    def impedance(self, freq_hz):
        """To earth. [Ω, complex]"""
        omega = 2 * np.pi * np.asarray(freq_hz, dtype=float)
        return 1 / (1 / self.resistance() + 1j * omega * self.capacitance())

    def skin_depth(self, freq_hz):
        """At which a wave in the soil has lost a neper. [m]"""
        freq_hz = np.asarray(freq_hz, dtype=float)
        return -C0 / (2 * np.pi * freq_hz * np.sqrt(self.soil.index_squared(freq_hz)).imag)

    def too_long(self, freq_hz):
        """Whether a rod is longer than half the skin depth of the soil, shape of `freq_hz`."""
        return self.length > 0.5 * self.skin_depth(freq_hz)

    def cards(self, top, bottom, prefix):
        """Resistor, which makes thermal noise as soil does, and capacitor.

        Parameters
        ----------
        top, bottom : str
            Nodes.
        prefix : str
            Begins the names of elements, after the type letter.
        """
        return (
            f"R{prefix}_rod {top} {bottom} {self.resistance()!r}",
            f"C{prefix}_rod {top} {bottom} {self.capacitance()!r}",
        )
