"""Touchstone files; the only module that uses scikit-rf."""

from pathlib import Path

import numpy as np

from sim.errors import Fault, StudyError, shown

REFERENCE = 75.0
"""Reference resistance of files that are written. [Ω]"""


def one_port_scattering(impedance, reference: float = REFERENCE) -> np.ndarray:
    """Reflection of a one-port, (Z − R)/(Z + R).

    Parameters
    ----------
    impedance : complex ndarray, shape (n_freq,)
        [Ω]
    reference : float
        [Ω]

    Returns
    -------
    s : complex ndarray, shape (n_freq, 1, 1)
    """
    impedance = np.asarray(impedance, dtype=complex)
    return ((impedance - reference) / (impedance + reference))[:, None, None]


def two_port_scattering(abcd, reference: float = REFERENCE) -> np.ndarray:
    """Scattering matrix of a reciprocal two-port's chain matrix (textbook conversion, one reference at both ports).

    Parameters
    ----------
    abcd : complex ndarray, shape (n_freq, 2, 2)
        [[1, Ω], [S, 1]], AD − BC = 1. Were it computed, it would be lost in the digits of a long line.
    reference : float
        [Ω]

    Returns
    -------
    s : complex ndarray, shape (n_freq, 2, 2)
        Port 1 is the left side of the chain matrix.
    """
    a, b, c, d = abcd[:, 0, 0], abcd[:, 0, 1] / reference, abcd[:, 1, 0] * reference, abcd[:, 1, 1]
    total = a + b + c + d
    rows = [[a + b - c - d, 2 * np.ones_like(a)], [2 * np.ones_like(a), -a + b - c + d]]
    return np.stack([np.stack([value / total for value in row], -1) for row in rows], -2)


def touchstone_text(freq_hz, s, comments: str = "", reference: float = REFERENCE) -> str:
    """A scattering matrix as the text of a Touchstone file, real and imaginary parts with all their digits.

    Parameters
    ----------
    freq_hz : ndarray, shape (n_freq,)
        Rising. [Hz]
    s : complex ndarray, shape (n_freq, n, n)
    comments : str
        Lines for the head of the file; what is not ASCII is left out.
    reference : float
        [Ω]
    """
    # Imported here: it takes a second, which only writing such a file should cost.
    import skrf

    network = skrf.Network(
        frequency=skrf.Frequency.from_f(np.asarray(freq_hz, dtype=float), unit="hz"),
        s=s,
        z0=reference,
        comments=comments.encode("ascii", "ignore").decode("ascii"),
    )
    number = "{:.17g}"
    return network.write_touchstone(
        "text",
        return_string=True,
        skrf_comment=False,
        form="ri",
        format_spec_A=number,
        format_spec_B=number,
        format_spec_freq=number,
    )


LARGEST_FILE = 4_000_000
"""Bytes of the largest file that is read."""


def one_port(path: Path, name: str, study_file: str, line: int | None) -> tuple[np.ndarray, np.ndarray, float]:
    """Reflection of a measured one-port out of a Touchstone file.

    Parameters
    ----------
    path : Path
    name, study_file, line
        For messages: the file as the study names it, the study's file and line.

    Returns
    -------
    freq_hz : ndarray, shape (n_freq,)
        Rising, above zero. [Hz]
    reflection : complex ndarray, shape (n_freq,)
    reference : float
        [Ω]

    Raises
    ------
    StudyError
        It is too large, no Touchstone file of a one-port, or has fewer than two frequencies.
    """
    import io

    def refused(found: str, remedy: str) -> StudyError:
        return StudyError(Fault(study_file, line, "stability.far_ends", f"{shown(name)} {found}", remedy))

    try:
        with open(path, "rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except OSError as error:
        reason = (error.strerror or "unknown").lower()
        raise refused(f"cannot be read: {reason}.", "Name a file that is there.") from error
    if len(raw) > LARGEST_FILE:
        raise refused("is larger than 4 MB.", "Measure fewer points.")
    import skrf

    try:
        text = io.StringIO(raw.decode("latin-1"))
        text.name = "end.s1p"
        network = skrf.Network(text)
        freq_hz, s, z0 = network.f, network.s, network.z0
    # The reader raises whatever its parsing happens to stumble over.
    except Exception as error:
        remedy = "Save it from the analyser as Touchstone, one port (.s1p)."
        raise refused("is no Touchstone file of a one-port.", remedy) from error
    if s.shape[1:] != (1, 1) or len(freq_hz) < 2 or not np.all(np.isfinite(s)) or np.any(np.diff(freq_hz) <= 0):
        remedy = "Save it as one port (.s1p), two frequencies or more, rising."
        raise refused("is no Touchstone file of a one-port.", remedy)
    above = freq_hz > 0
    return freq_hz[above], s[above, 0, 0], float(np.real(z0[0, 0]))
