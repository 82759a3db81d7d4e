"""A unit's responses without the load and the source that it was simulated with.

The circuit is linear around its operating point, so one set of responses (each source of the deck at 1, everything
read) says what it does without them: its Thevenin source at the output and its impedance matrix, without approximation.
"""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Responses:
    """Small-signal responses of one unit.

    Attributes
    ----------
    freq_hz : ndarray, shape (n_freq,)
    values : complex ndarray, shape (n_drive, n_read, n_freq)
        Drives: (voltage, current) of each probe, of two inputs 1 V in the leg at in_p alone, 1 A into the output, 1 V
        of antenna emf. Reads: input voltage, current into the emf source, output voltage, then for each probe the
        voltage of its receiving side and its current, of two inputs the voltage at in_p and the current into its leg's
        source.
    stray : float
        Capacitance across the input terminals. [F]
    load : float
        Load that was connected. [Ω]
    """

    freq_hz: np.ndarray
    values: np.ndarray
    stray: float
    load: float

    @property
    def output_impedance(self) -> np.ndarray:
        """Impedance into the output with the load taken away. [Ω, complex, (n_freq,)]"""
        with_load = self.values[-2, 2]
        return with_load / (1 - with_load / self.load)

    @property
    def open_circuit_gain(self) -> np.ndarray:
        """Output voltage without load for 1 V of emf. [V/V, complex, (n_freq,)]"""
        return self.values[-1, 2] * (1 + self.output_impedance / self.load)

    def two_port(self) -> np.ndarray:
        """Impedance matrix of the amplifier between its input terminals and its output.

        Returns
        -------
        z : complex ndarray, shape (n_freq, 2, 2)
            Without the antenna, its stray capacitance and the load. [Ω]
        """
        drives = self.values[[-1, -2]]
        v_in, i_emf, v_out = drives[:, 0], drives[:, 1], drives[:, 2]
        omega = 2 * np.pi * self.freq_hz
        i_in = -i_emf - 1j * omega * self.stray * v_in
        i_out = np.array([np.zeros_like(v_out[0]), np.ones_like(v_out[0])]) - v_out / self.load
        v = np.array([v_in, v_out]).transpose(2, 0, 1)
        i = np.array([i_in, i_out]).transpose(2, 0, 1)
        # V = Z I for both drives side by side, so Z = V I⁻¹; 2 × 2, written out to be the same for any batch.
        det = i[:, 0, 0] * i[:, 1, 1] - i[:, 0, 1] * i[:, 1, 0]
        inverse = np.empty_like(i)
        inverse[:, 0, 0], inverse[:, 1, 1] = i[:, 1, 1], i[:, 0, 0]
        inverse[:, 0, 1], inverse[:, 1, 0] = -i[:, 0, 1], -i[:, 1, 0]
        z = np.empty_like(v)
        for a in (0, 1):
            for b in (0, 1):
                z[:, a, b] = (v[:, a, 0] * inverse[:, 0, b] + v[:, a, 1] * inverse[:, 1, b]) / det
        return z

    def two_inputs_output(self, leg_z: np.ndarray, load: float) -> np.ndarray:
        """Output voltage for 1 V of emf between two other legs, with another load; of a circuit with two inputs.

        Parameters
        ----------
        leg_z : complex ndarray, shape (n_freq,)
            Impedance of each leg to an earthed centre. [Ω]
        load : float
            [Ω]

        Returns
        -------
        v_out : complex ndarray, shape (n_freq,)

        Notes
        -----
        Drives are mixed so that the voltages at in_p, in_n and out are what the new legs and the new load make of the
        currents there: three equations a frequency.
        """
        drives = self.values[-3:]
        between, through, v_out = drives[:, 0], drives[:, 1], drives[:, 2]
        v_p, i_p = drives[:, -2], drives[:, -1]
        v_n, i_n = v_p - between, i_p - 2 * through
        # Twice the stray across the terminals lies from each of them to ground; it is no part of the amplifier.
        stray = 2j * np.pi * self.freq_hz * 2 * self.stray
        into_p, into_n = -i_p - stray * v_p, -i_n - stray * v_n
        into_out = np.array([[0.0], [1.0], [0.0]]) - v_out / self.load
        rows = np.array([v_p + leg_z * into_p, v_n + leg_z * into_n, v_out + load * into_out])
        wanted = np.zeros((len(self.freq_hz), 3, 1), dtype=complex)
        wanted[:, :2, 0] = (0.5, -0.5)
        mixed = np.linalg.solve(rows.transpose(2, 0, 1), wanted)[:, :, 0]
        return (mixed.T * v_out).sum(axis=0)

    def common_mode_rejection(self, most: float) -> np.ndarray:
        """Gain for an emf between the legs over gain for the same emf in both alike; of a circuit with two inputs.

        Parameters
        ----------
        most : float
            Where the second is less than this part of the first, or nothing, it counts as this much.

        Returns
        -------
        ratio : ndarray, shape (n_freq,)
            [1]
        """
        between, one_leg = self.values[-1, 2], self.values[-3, 2]
        # An emf in one leg alone is itself between the legs, and half of it in both alike.
        alike = np.abs(2 * (one_leg - between))
        return np.abs(between) / np.maximum(alike, np.abs(between) / most)
