"""A fit of tanks that ring no longer than an antenna does, for an impedance over several of its resonances.

The network is a capacitor and tanks in series (:mod:`sim.antenna.tanks`), each tank one of the antenna's parallel
resonances. Its resistance falls with the square of the frequency below the lowest resonance, as that of an antenna
does, which a fit of the ladder of :mod:`sim.antenna.ladder` would lose in its error.
"""

import numpy as np

from sim.antenna.tanks import Tanks

QUALITY = (0.3, 15.0)
"""Least and largest quality of a tank."""


def fit_resonances(freq_hz, impedance, start, weight=None):
    """Least-squares fit of tanks to an impedance.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
        [Hz]
    impedance : complex ndarray, shape (n_freq,)
        With a real part above zero. [Ω]
    start : Tanks
        Elements to begin with: a capacitor and tanks alone; their number stays.
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
        rows = np.stack([reactance * quality, reactance / omega, 1.0 / (reactance * omega)], axis=1)
        return Tanks(0.0, 0.0, float(values[0]), tuple(map(tuple, rows.tolist())))

    def misfit(logs):
        z = made(logs).impedance(freq_hz)
        error = (z / wanted - 1.0) * weight
        return np.concatenate([error.real, error.imag, 0.1 * (z.real / wanted.real - 1.0)])

    r, inductance, c = np.array(start.tanks).T
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
