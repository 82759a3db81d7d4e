"""Two-port measures: what the amplifier does between given terminations, and between all passive ones."""

import numpy as np


def bench_transmission(z: np.ndarray, source_z, load: float, reference: float) -> np.ndarray:
    """S21 as an analyser shows it, with the dummy antenna in series with its port.

    Parameters
    ----------
    z : complex ndarray, shape (n_freq, 2, 2)
        Impedance matrix of the amplifier. [Ω]
    source_z : complex ndarray, shape (n_freq,)
        Everything between generator and input: port resistance and dummy antenna. [Ω]
    load : float
        Analyser's receiving port. [Ω]
    reference : float
        Analyser's sending port. [Ω]

    Returns
    -------
    s21 : complex ndarray, shape (n_freq,)

    Notes
    -----
    S21 = 2 √(R_s/R_L) V_out/V_generator, the definition of the transmission coefficient for real port resistances.
    """
    det = (z[:, 0, 0] + source_z) * (z[:, 1, 1] + load) - z[:, 0, 1] * z[:, 1, 0]
    return 2 * np.sqrt(reference / load) * z[:, 1, 0] * load / det


def scattering(z: np.ndarray, r1: float, r2: float) -> np.ndarray:
    """Scattering matrix for real port resistances r1 and r2 [Ω]; z and the result have shape (n_freq, 2, 2)."""
    det = (z[:, 0, 0] + r1) * (z[:, 1, 1] + r2) - z[:, 0, 1] * z[:, 1, 0]
    s = np.empty_like(z)
    s[:, 0, 0] = ((z[:, 0, 0] - r1) * (z[:, 1, 1] + r2) - z[:, 0, 1] * z[:, 1, 0]) / det
    s[:, 1, 1] = ((z[:, 0, 0] + r1) * (z[:, 1, 1] - r2) - z[:, 0, 1] * z[:, 1, 0]) / det
    s[:, 1, 0] = 2 * z[:, 1, 0] * np.sqrt(r1 * r2) / det
    s[:, 0, 1] = 2 * z[:, 0, 1] * np.sqrt(r1 * r2) / det
    return s


def stability_factors(s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Geometric stability factors over frequency; above one: stable with every passive termination at both ports.

    Parameters
    ----------
    s : complex ndarray, shape (n_freq, 2, 2)

    Returns
    -------
    mu_load, mu_source : ndarray, shape (n_freq,)
        Smallest distance from the centre of the Smith chart to the unstable region of loads, of sources.

    Notes
    -----
    Edwards and Sinsky, IEEE Trans. Microwave Theory Tech. 40 (1992) 2303-2311 (page from memory). They say something
    only if the amplifier is stable on its reference terminations, which the loop verdict shows first.
    """
    s11, s12, s21, s22 = s[:, 0, 0], s[:, 0, 1], s[:, 1, 0], s[:, 1, 1]
    delta = s11 * s22 - s12 * s21
    cross = np.abs(s12 * s21)
    load = (1 - np.abs(s11) ** 2) / (np.abs(s22 - delta * s11.conj()) + cross)
    source = (1 - np.abs(s22) ** 2) / (np.abs(s11 - delta * s22.conj()) + cross)
    return load, source


def return_loss_db(z_out: np.ndarray, line: float) -> np.ndarray:
    """Return loss of the output against a line of impedance `line` [Ω]; positive, larger is better. [dB]"""
    return -20 * np.log10(np.abs((z_out - line) / (z_out + line)))
