"""What an antenna is here: a Thevenin source between two terminals.

The open-circuit voltage is ``effective_height(f) * E``, with E the total vertical field at the ground (direct
plus reflected: over perfect ground twice the incident field at low angles; noise fields of ITU-R P.372 and
readings of field-strength meters are this total field). Behind it stands ``impedance(f)``, which the deck
carries as a passive one-port of R, L and C.

Radiation resistances are noiseless in the deck (``noisy=0``): the noise they stand for is the external noise,
which enters as a field. Loss resistances, such as the ground connection, keep their thermal noise.

Not covered: mutual coupling between antennas, the change of the elevation pattern with frequency.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import ClassVar

import numpy as np


@dataclass(frozen=True, kw_only=True)
class AntennaSource(ABC):
    """A one-port with an open-circuit voltage proportional to the field.

    Attributes
    ----------
    name : str
        The model's name in a study.
    low_hz, high_hz : float
        Where the model was checked; values outside are computed all the same. [Hz]
    shunt_capacitance : float
        Stray across the terminals, in no other figure here: the deck adds it. [F]
    cautions : tuple of str
        What a reader of the results should know, for instance dimensions outside the fit.
    sharpness : int
        How many times more points a decade the simulation needs to follow the impedance; above 1 for resonant wires.
    """

    name: str
    low_hz: float
    high_hz: float
    shunt_capacitance: float = 0.0
    cautions: tuple[str, ...] = ()
    sharpness: int = 1
    single_ended: ClassVar[bool] = True
    """Whether it may feed an amplifier with one input; what may feed one with two is a :class:`BalancedSource`."""

    def valid(self, freq_hz):
        """Whether each frequency lies inside the model's range.

        Parameters
        ----------
        freq_hz : array_like
            [Hz]

        Returns
        -------
        valid : ndarray of bool, same shape
        """
        freq_hz = np.asarray(freq_hz, dtype=float)
        return (freq_hz >= self.low_hz) & (freq_hz <= self.high_hz)

    @abstractmethod
    def impedance(self, freq_hz):
        """Source impedance without the stray across the terminals.

        Parameters
        ----------
        freq_hz : array_like
            Above zero. [Hz]

        Returns
        -------
        impedance : complex ndarray, same shape
            [Ω]
        """

    @abstractmethod
    def effective_height(self, freq_hz):
        """Open-circuit voltage per total vertical field, without the stray.

        Parameters
        ----------
        freq_hz : array_like
            Above zero. [Hz]

        Returns
        -------
        height : ndarray, same shape
            NaN where the source receives no field. [m]
        """

    def external_emf(self, freq_hz, field):
        """External noise as an emf: the field route, unless a model knows better.

        Parameters
        ----------
        freq_hz : array_like
            [Hz]
        field : array_like, same shape
            Total vertical field at the ground, rms. [V/m/√Hz]

        Returns
        -------
        emf : ndarray, same shape
            NaN where the source receives no field. [V/√Hz]
        """
        return np.asarray(field) * self.effective_height(freq_hz)

    def ambient_emf(self, freq_hz, temperature_k):
        """Thermal noise of losses that the deck holds as noiseless resistors, as an emf; none by default.

        Parameters
        ----------
        freq_hz : array_like
            [Hz]
        temperature_k : float
            [K]

        Returns
        -------
        emf : ndarray, shape of `freq_hz`
            [V/√Hz]
        """
        return np.zeros(np.shape(freq_hz))

    @abstractmethod
    def netlist(self, top, bottom, prefix):
        """Cards of the passive one-port between two nodes.

        Parameters
        ----------
        top, bottom : str
            Node names; the node `top` may have no DC path through the antenna.
        prefix : str
            Begins the names of all elements (after the type letter) and of all inner nodes.

        Returns
        -------
        cards : tuple of str
            Values with all their digits; every inner node has a DC path.
        """


class BalancedSource(AntennaSource):
    """A source that can feed an amplifier with two inputs: two equal legs that meet at a centre.

        in_p o--[ leg ]--( + emf/2 )--+--( - emf/2 )--[ leg ]--o in_n
                                      |
                                 [ centre ]
                                      |
                                    ground        what both legs together have to ground

    Between the terminals both legs are in series: that is `impedance`. Its stray capacitance across the terminals is
    made of twice that from each terminal to ground. Driven alike (common mode) the legs are in parallel, in series with
    what is between the centre and ground.

    Not covered: legs that differ. What an amplifier does to the common mode is then its own unequal parts' doing.
    """

    @abstractmethod
    def leg(self, terminal, centre, prefix):
        """Cards of one leg between its terminal and the centre.

        Parameters
        ----------
        terminal, centre : str
            Node names.
        prefix : str
            Begins the names of all elements (after the type letter) and of all inner nodes.

        Returns
        -------
        cards : tuple of str
            As :meth:`netlist`; the node `terminal` may have no DC path through the leg.
        """

    def centre_to_ground(self, centre, ground, prefix):
        """Cards between centre and ground, a DC path among them; a wire by default: an earthed centre tap.

        Parameters
        ----------
        centre, ground : str
            Node names.
        prefix : str
            As in :meth:`leg`.

        Returns
        -------
        cards : tuple of str
        """
        return (f"V{prefix}_tap {centre} {ground} dc 0",)
