"""Touchstone files; the only module that uses scikit-rf."""

import io
import re

import numpy as np

from sim.errors import shown

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


_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_OPTIONS = re.compile(rf"#(\s+([kmg]?hz|[syz]|ri|ma|db|r\s+{_NUMBER}))*\s*", re.IGNORECASE)
_DATA = re.compile(rf"{_NUMBER}\s+{_NUMBER}\s+{_NUMBER}")
_KEYWORDS = re.compile(
    r"\[version\]\s+(1\.0|1\.1|2\.0|2\.1)|\[number of ports\]\s+1|\[number of frequencies\]\s+\d{1,7}|"
    rf"\[reference\]\s+{_NUMBER}|\[matrix format\]\s+full|\[network data\]|\[end\]",
    re.IGNORECASE,
)


def read_one_port(text: str) -> tuple[np.ndarray, np.ndarray]:
    """Impedance out of the text of a one-port Touchstone file, version 1.0 to 2.1.

    Parameters
    ----------
    text : str
        S, Z or Y; real and imaginary parts, magnitude or decibels and degrees; any real reference resistance.

    Returns
    -------
    freq_hz : ndarray, shape (n_freq,)
        As in the file. [Hz]
    impedance : complex ndarray, shape (n_freq,)
        Not finite where the file says open circuit. [Ω]

    Raises
    ------
    ValueError
        With line number, what was found and what would do as its arguments.

    Notes
    -----
    Every line is held against what a one-port may contain before the library sees it: it would wait for ever for a
    number that is not there, and it takes comments for data. Values are taken as the library has them before it makes
    them scattering parameters, because scikit-rf 2.2.0 multiplies normalised admittances of version 1 by the reference
    where it ought to divide (Touchstone File Format Specification, version 2.0: y = Y R).
    """
    plain, data = _plain_lines(text)
    if not data:
        raise ValueError(None, "holds no line of data.", "Export the sweep once more as a one-port, .s1p.")
    import skrf

    file = io.StringIO("\n".join(plain) + "\n")
    file.name = "file.s1p"
    try:
        read = skrf.io.Touchstone(file)
    except (ValueError, IndexError, KeyError, TypeError) as error:
        raise ValueError(
            None, f"cannot be read: {error}.", "Export the sweep once more as a one-port, .s1p."
        ) from error
    values, reference = read.s_flat[:, 0], float(np.real(np.ravel(read.resistance)[0]))
    if not reference > 0:
        raise ValueError(None, f"has a reference of {reference:g} ohm.", "Write a resistance above zero behind R.")
    normalised = reference if read.version.startswith("1") else 1.0
    with np.errstate(divide="ignore", invalid="ignore"):
        if read.parameter == "s":
            impedance = reference * (1 + values) / (1 - values)
        elif read.parameter == "z":
            impedance = values * normalised
        else:
            impedance = normalised / values
    return np.asarray(read.f, dtype=float), impedance


def _plain_lines(text: str) -> tuple[list[str], int]:
    """Lines of a file without comments, all of a known kind, and how many of them are data."""
    kept, data, options, promised = [], 0, 0, None
    for number, line in enumerate(text.splitlines(), start=1):
        line = " ".join(line.partition("!")[0].split())
        if not line:
            continue
        if line.startswith("#"):
            options += 1
            if not _OPTIONS.fullmatch(line):
                raise ValueError(
                    number, f"{shown(line)} is no option line of a one-port.", 'Write, for example, "# MHz S RI R 50".'
                )
            line = _all_options(line)
        elif line.startswith("["):
            if not _KEYWORDS.fullmatch(line):
                raise ValueError(
                    number,
                    f"{shown(line)} is not known in a one-port.",
                    "Export the sweep as Touchstone 1.1, one port.",
                )
            word = line.lower()
            promised = int(word.split()[-1]) if word.startswith("[number of frequencies]") else promised
            # What 1.1 has beside 1.0 does not touch a one-port, and the library knows no normalised data of 1.1.
            line = "[Version] 1.0" if word == "[version] 1.1" else line
        elif _DATA.fullmatch(line):
            if not options:
                raise ValueError(
                    number, "stands before any option line.", 'Begin with, for example, "# MHz S RI R 50".'
                )
            data += 1
        else:
            raise ValueError(
                number,
                f"{shown(line)} is not three numbers.",
                "A one-port has a frequency and a pair of values a line.",
            )
        kept.append(line)
    if options > 1:
        raise ValueError(None, "has two option lines.", "Keep the first.")
    if promised is not None and promised != data:
        found = f"promises {promised} frequencies and holds {data}."
        raise ValueError(None, found, "Export the sweep once more: the file was cut off, or changed by hand.")
    return kept, data


def _all_options(line: str) -> str:
    """An option line with all its parts in the order that the library expects; what is left out is the standard's."""
    words = line[1:].lower().split()
    unit = next((word for word in words if word.endswith("hz")), "ghz")
    parameter = next((word for word in words if word in ("s", "y", "z")), "s")
    form = next((word for word in words if word in ("ri", "ma", "db")), "ma")
    reference = words[words.index("r") + 1] if "r" in words else "50"
    return f"# {unit} {parameter} {form} r {reference}"
