"""All that lies between amplifier and receiver: sections of cable in series, and the bias tees at their ends.

Signal and noise are computed at 290 K. The volts that the line carries follow the temperature: copper has 0.39 %/K, and
records state resistances at 20 °C. The cable and the tee at the amplifier are as warm as the unit, the tee at the
receiver stands indoors at 20 °C.
"""

from dataclasses import dataclass
from functools import reduce

import numpy as np

from sim.constants import T0
from sim.feedline.cable import Cable
from sim.feedline.line import RESISTANCE_PER_KELVIN, chain_matrix, characteristic, line_matrix, loop_resistance
from sim.feedline.tee import Tee

DC_REFERENCE_C = 20.0
"""Temperature at which DC resistances are stated (IEC 60028, IEC 60228). [°C]"""


@dataclass(frozen=True)
class Section:
    """A length of one cable.

    Attributes
    ----------
    cable : Cable
    length : float
        [m]
    """

    cable: Cable
    length: float


@dataclass(frozen=True)
class Route:
    """A whole feedline.

    Attributes
    ----------
    sections : tuple of Section
        One or more, from the amplifier to the receiver.
    at_amplifier, at_receiver : Tee or None
        Bias tees; None where there is none.
    stretch : float
        Length of what was cut against what was meant, all sections alike. [1]
    velocity : float
        Wave velocity against that of the records. It acts on the phase along the line; that the impedance changes by
        as much with the density of the foam is left out. [1]
    """

    sections: tuple[Section, ...]
    at_amplifier: Tee | None = None
    at_receiver: Tee | None = None
    stretch: float = 1.0
    velocity: float = 1.0

    @property
    def length(self) -> float:
        """Of all sections as they were meant. [m]"""
        return sum(section.length for section in self.sections)

    @property
    def tees(self) -> tuple[Tee, ...]:
        """Bias tees that are there."""
        return tuple(tee for tee in (self.at_amplifier, self.at_receiver) if tee is not None)

    @property
    def impedance(self) -> float:
        """Nominal impedance of the cable at the amplifier. [Ω]"""
        return self.sections[0].cable.z0

    def chain_matrix(self, freq_hz) -> np.ndarray:
        """Chain matrix from amplifier to receiver at 290 K.

        Parameters
        ----------
        freq_hz : ndarray, shape (n_freq,)
            Above zero. [Hz]

        Returns
        -------
        abcd : complex ndarray, shape (n_freq, 2, 2)
            Product of the matrices of all parts, [[1, Ω], [S, 1]]. All parts are passive, reciprocal and equally warm,
            so the product also carries the noise of each of them, see :func:`sim.feedline.line.through_line`.
        """
        parts = [self.at_amplifier.amplifier_end(freq_hz)] if self.at_amplifier else []
        parts += [self._section(section, freq_hz) for section in self.sections]
        parts += [self.at_receiver.receiver_end(freq_hz)] if self.at_receiver else []
        return reduce(_product, parts)

    def _section(self, section: Section, freq_hz) -> np.ndarray:
        if self.stretch == self.velocity == 1.0:
            return chain_matrix(section.cable, section.length, freq_hz, T0)
        gamma, zc = characteristic(section.cable, freq_hz, T0)
        return line_matrix(gamma.real + 1j * gamma.imag / self.velocity, zc, section.length * self.stretch)

    def supply_resistance(self, temperature_c: float = DC_REFERENCE_C) -> float:
        """DC resistance between supply and amplifier: both conductors of all sections, and the chokes.

        Parameters
        ----------
        temperature_c : float
            Of the unit, which cable and nearer choke share. [°C]

        Returns
        -------
        resistance : float
            [Ω]
        """
        warm = 1.0 + RESISTANCE_PER_KELVIN * (temperature_c - DC_REFERENCE_C)
        lines = sum(float(loop_resistance(section.cable, section.length)) for section in self.sections)
        near = self.at_amplifier.choke_resistance if self.at_amplifier else 0.0
        far = self.at_receiver.choke_resistance if self.at_receiver else 0.0
        return (lines * self.stretch + near) * warm + far


def _product(left, right) -> np.ndarray:
    """Product of two chain matrices at each frequency, written out to give the same bits for any number of them."""
    rows = [[left[..., i, 0] * right[..., 0, j] + left[..., i, 1] * right[..., 1, j] for j in (0, 1)] for i in (0, 1)]
    return np.stack([np.stack(row, -1) for row in rows], -2)
