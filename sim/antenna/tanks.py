"""A passive network for the impedance of an antenna over several resonances: a capacitor and tanks in series.

    top o---C1---+---+---+---- ... ---+---+---+---o bottom
                 |   |   |            |   |   |
                 L   C   R            L   C   R
                 |   |   |            |   |   |
                 +---+---+---- ... ---+---+---+

Foster's form: each tank is one of the antenna's parallel resonances. With one tank it is the network of a short
vertical. The resistance falls with the square of the frequency below the lowest resonance, as that of an antenna
does, which a fit of the ladder of :mod:`sim.antenna.ladder` would lose in its error. All elements are positive by
construction, so the network is passive at every frequency; its resistors stand for radiation and make no noise.

Not covered: impedances that need negative elements. How well it fits is measured and must be looked at.
"""

from dataclasses import dataclass

import numpy as np

QUALITY = (0.3, 15.0)
"""Least and largest quality of a tank."""


@dataclass(frozen=True)
class Tanks:
    """Elements of the drawing.

    Attributes
    ----------
    capacitance : float
        C1. [F]
    tanks : tuple of (float, float, float)
        L, C, R of each tank. [H, F, Ω]
    """

    capacitance: float
    tanks: tuple[tuple[float, float, float], ...]

    def impedance(self, freq_hz):
        """Of the network. [Ω, complex]"""
        s = 2j * np.pi * np.asarray(freq_hz, dtype=float)
        z = 1.0 / (s * self.capacitance)
        for inductance, c, r in self.tanks:
            z = z + 1.0 / (1.0 / (s * inductance) + s * c + 1.0 / r)
        return z

    def cards(self, top, bottom, prefix):
        """Netlist of the network, noiseless; the inductors are the DC path of all inner nodes.

        Parameters
        ----------
        top, bottom : str
            Nodes.
        prefix : str
            Begins the names of elements, after the type letter, and of inner nodes.
        """
        lines = [f"C{prefix}_1 {top} {prefix}_t1 {self.capacitance!r}"]
        for k, (inductance, c, r) in enumerate(self.tanks, start=1):
            a, b = f"{prefix}_t{k}", f"{prefix}_t{k + 1}" if k < len(self.tanks) else bottom
            lines += [
                f"L{prefix}_t{k} {a} {b} {inductance!r}",
                f"C{prefix}_t{k} {a} {b} {c!r}",
                f"R{prefix}_rad{k} {a} {b} {r!r} noisy=0",
            ]
        return tuple(lines)


def fit_tanks(freq_hz, impedance, start, weight=None):
    """Least-squares fit of tanks to an impedance.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
        [Hz]
    impedance : complex ndarray, shape (n_freq,)
        With a real part above zero. [Ω]
    start : Tanks
        Elements to begin with; their number stays.
    weight : ndarray, shape (n_freq,), optional
        How much each frequency counts.

    Returns
    -------
    tanks : Tanks

    Notes
    -----
    Logarithms of C1 and of each tank's frequency, reactance and quality are varied, so no element can become negative,
    and no tank ring longer than an antenna does. The relative error of the impedance counts, and with a tenth of its
    weight that of the resistance alone, which hides under the reactance.
    """
    from scipy.optimize import least_squares

    wanted = np.asarray(impedance)
    weight = np.ones(len(wanted)) if weight is None else weight

    def made(logs):
        values = np.exp(logs)
        omega, reactance, quality = values[1:].reshape(-1, 3).T
        rows = np.stack([reactance / omega, 1.0 / (reactance * omega), reactance * quality], axis=1)
        return Tanks(float(values[0]), tuple(map(tuple, rows.tolist())))

    def misfit(logs):
        z = made(logs).impedance(freq_hz)
        error = (z / wanted - 1.0) * weight
        return np.concatenate([error.real, error.imag, 0.1 * (z.real / wanted.real - 1.0)])

    inductance, c, r = np.array(start.tanks).T
    reactance = np.sqrt(inductance / c)
    tanks = np.stack([1.0 / np.sqrt(inductance * c), reactance, np.clip(r / reactance, *QUALITY)], axis=1)
    first = np.log([start.capacitance, *np.ravel(tanks)])
    low, high = np.full(len(first), -80.0), np.full(len(first), 40.0)
    top = 2 * np.pi * np.max(freq_hz)
    low[1::3], high[1::3] = np.log(0.01 * top), np.log(10.0 * top)
    low[3::3], high[3::3] = np.log(QUALITY)
    first = np.clip(first, low + 1e-6, high - 1e-6)
    found = least_squares(
        misfit, first, bounds=(low, high), method="trf", max_nfev=100, ftol=1e-6, xtol=1e-7, x_scale="jac"
    )
    return made(found.x)
