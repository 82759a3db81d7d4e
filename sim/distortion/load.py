"""What stands at the amplifier's output: the feedline with its receiver, or a resistor."""

from dataclasses import dataclass

import numpy as np

from sim.deck.chain import Chain, UnitValues
from sim.feedline.line import input_impedance
from sim.feedline.route import Route


@dataclass(frozen=True)
class OutputLoad:
    """Load of the amplifier's output.

    Attributes
    ----------
    receiver_ohm : float
        Resistance at the far end. [Ω]
    route : Route or None
        What is between output and far end; None where the resistor stands at the output itself.
    """

    receiver_ohm: float
    route: Route | None = None

    @property
    def line_ohm(self) -> float:
        """Into what the output's power is stated: the line's impedance, or the resistor. [Ω]"""
        return self.receiver_ohm if self.route is None else self.route.impedance

    def admittance(self, freq_hz) -> np.ndarray:
        """At the amplifier's output. [S, complex, (n_freq,)]

        Parameters
        ----------
        freq_hz : ndarray, shape (n_freq,)
            [Hz]
        """
        if self.route is None:
            return np.full(np.shape(freq_hz), 1 / self.receiver_ohm, dtype=complex)
        return 1 / input_impedance(self.route.chain_matrix(freq_hz), self.receiver_ohm)

    def share(self, freq_hz) -> np.ndarray:
        """Receiver's voltage over the output's. [V/V, complex, (n_freq,)]

        Parameters
        ----------
        freq_hz : ndarray, shape (n_freq,)
            [Hz]

        Notes
        -----
        V1 = A V2 + B I2 with I2 = V2/R: 1/(A + B/R).
        """
        if self.route is None:
            return np.ones(np.shape(freq_hz), dtype=complex)
        abcd = self.route.chain_matrix(freq_hz)
        return 1 / (abcd[:, 0, 0] + abcd[:, 0, 1] / self.receiver_ohm)


def line_load(chain: Chain, values: UnitValues, receiver_ohm: float) -> OutputLoad:
    """The unit's own feedline with the receiver.

    Parameters
    ----------
    chain : Chain
    values : UnitValues
    receiver_ohm : float
        [Ω]
    """
    return OutputLoad(receiver_ohm, values.outside.route or chain.route)
