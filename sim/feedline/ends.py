"""What a feedline may end in, as a reflection."""

from dataclasses import dataclass

import numpy as np

from sim.constants import C0
from sim.feedline.line import input_impedance
from sim.feedline.tee import Tee

SHORT_OHM = 0.1
"""Resistance of a shorted far end: a plug and its solder are never zero. Common practice, no source. [Ω]"""
STUB_M, STUB_VELOCITY = 0.03, 0.66
"""An unplugged connector with its pigtail: 30 mm of open line filled with polyethylene. Common practice, no source."""

WORDS = ("open", "short", "matched", "half", "double", "unplugged")
"""Far ends that need no file, in the order of maps."""

_SHARES = {"matched": 1.0, "half": 0.5, "double": 2.0}


@dataclass(frozen=True)
class OnePort:
    """A measured one-port at the far end, such as the receiver's filter.

    Attributes
    ----------
    name : str
    freq_hz : tuple of float
        Rising. [Hz]
    reflection : tuple of complex
        Against `reference`. Below and above the measured range it is held at its outermost values.
    reference : float
        [Ω]
    """

    name: str
    freq_hz: tuple[float, ...]
    reflection: tuple[complex, ...]
    reference: float

    def impedance(self, freq_hz: np.ndarray) -> np.ndarray:
        """Linear in the reflection between the measured frequencies, so it stays passive. [Ω, complex]"""
        reflection = np.interp(freq_hz, self.freq_hz, self.reflection)
        with np.errstate(divide="ignore", invalid="ignore"):
            found = self.reference * (1 + reflection) / (1 - reflection)
        return np.where(np.isfinite(found), found, np.inf)


def end_impedance(end: "str | OnePort", z0: float, tee: Tee | None, freq_hz: np.ndarray) -> np.ndarray:
    """Impedance that the line's last section sees.

    Parameters
    ----------
    end : str or OnePort
        One of :data:`WORDS`, or a measured one-port.
    z0 : float
        The cable's nominal impedance, of which ``half`` is half. [Ω]
    tee : Tee or None
        Bias tee between line and far end; an unplugged line has lost it.
    freq_hz : ndarray, shape (n_freq,)

    Returns
    -------
    impedance : complex ndarray, shape (n_freq,)
        Infinite for an open end. [Ω]
    """
    if end == "unplugged":
        return stub_impedance(z0, freq_hz)
    if isinstance(end, OnePort):
        load = end.impedance(freq_hz)
    elif end == "open":
        load = np.full(len(freq_hz), np.inf, dtype=complex)
    else:
        load = np.full(len(freq_hz), SHORT_OHM if end == "short" else _SHARES[end] * z0, dtype=complex)
    return load if tee is None else input_impedance(tee.receiver_end(freq_hz), load)


def stub_impedance(z0: float, freq_hz: np.ndarray) -> np.ndarray:
    """An open stub of an unplugged connector. [Ω, complex]"""
    return -1j * z0 / np.tan(2 * np.pi * freq_hz * STUB_M / (STUB_VELOCITY * C0))


def reflection(impedance: np.ndarray, line: np.ndarray) -> np.ndarray:
    """(Z − Zc)/(Z + Zc): against the line's own complex impedance, so that exp(−2 γ l) is all the line does to it."""
    closed = np.where(np.isfinite(impedance), impedance, 0)
    return np.where(np.isfinite(impedance), (closed - line) / (closed + line), 1.0)
