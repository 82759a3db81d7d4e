"""A bias tee: supply and signal on one conductor.

    amplifier end   amplifier ── block ──┬── cable
                                       choke
                                         │ supply, at signal frequencies ground
    receiver end        cable ──┬── block ── receiver
                              choke

The choke is (R + j w L) || C || Rp: its winding, its own capacitance and what its core loses. A choke in shunt costs
20 log|1 + Z0/(2 Zc)|, a block in series 20 log|1 + Zb/(2 Z0)|. Both resistances are as warm as the line, so their
thermal noise is part of what :func:`sim.feedline.line.through_line` adds for any passive reciprocal network.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Tee:
    """Parts of one bias tee.

    Attributes
    ----------
    choke : float
        Inductance at the supply current. [H]
    choke_capacitance : float
        Parallel to it: with the inductance it makes the self-resonance. [F]
    choke_loss : float
        Parallel resistance of the core. [Ω]
    choke_resistance : float
        Of the winding, in the supply's way. [Ω]
    block : float
        Blocking capacitor. [F]
    """

    choke: float
    choke_capacitance: float
    choke_loss: float
    choke_resistance: float
    block: float

    def choke_impedance(self, freq_hz) -> np.ndarray:
        """Impedance of the choke. [Ω, complex, shape of `freq_hz`]"""
        omega = 2.0 * np.pi * np.asarray(freq_hz, dtype=float)
        winding = 1.0 / (self.choke_resistance + 1j * omega * self.choke)
        return 1.0 / (winding + 1j * omega * self.choke_capacitance + 1.0 / self.choke_loss)

    def block_impedance(self, freq_hz) -> np.ndarray:
        """Impedance of the blocking capacitor. [Ω, complex, shape of `freq_hz`]"""
        return 1.0 / (2j * np.pi * np.asarray(freq_hz, dtype=float) * self.block)

    def amplifier_end(self, freq_hz) -> np.ndarray:
        """Chain matrix from the amplifier into the cable, block first. [shape (n_freq, 2, 2)]"""
        series, shunt = self.block_impedance(freq_hz), 1.0 / self.choke_impedance(freq_hz)
        return _matrix(1.0 + series * shunt, series, shunt, np.ones_like(series))

    def receiver_end(self, freq_hz) -> np.ndarray:
        """Chain matrix from the cable into the receiver, choke first. [shape (n_freq, 2, 2)]"""
        series, shunt = self.block_impedance(freq_hz), 1.0 / self.choke_impedance(freq_hz)
        return _matrix(np.ones_like(series), series, shunt, 1.0 + series * shunt)


def _matrix(a, b, c, d) -> np.ndarray:
    return np.stack([np.stack([a, b], -1), np.stack([c, d], -1)], -2)
