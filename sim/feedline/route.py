"""All that lies between amplifier and receiver: sections of cable in series, and the bias tees at their ends."""

from dataclasses import dataclass
from functools import reduce

import numpy as np

from sim.constants import T0
from sim.feedline.cable import Cable
from sim.feedline.line import chain_matrix, loop_resistance
from sim.feedline.tee import Tee


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
    """

    sections: tuple[Section, ...]
    at_amplifier: Tee | None = None
    at_receiver: Tee | None = None

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
        parts += [chain_matrix(section.cable, section.length, freq_hz, T0) for section in self.sections]
        parts += [self.at_receiver.receiver_end(freq_hz)] if self.at_receiver else []
        return reduce(_product, parts)

    def supply_resistance(self) -> float:
        """DC resistance between supply and amplifier: both conductors of all sections, and the chokes. [Ω]"""
        lines = sum(float(loop_resistance(section.cable, section.length)) for section in self.sections)
        return lines + sum(tee.choke_resistance for tee in self.tees)


def _product(left, right) -> np.ndarray:
    """Product of two chain matrices at each frequency, written out to give the same bits for any number of them."""
    rows = [[left[..., i, 0] * right[..., 0, j] + left[..., i, 1] * right[..., 1, j] for j in (0, 1)] for i in (0, 1)]
    return np.stack([np.stack(row, -1) for row in rows], -2)
