"""Sweeps off an analyser: a two-port Touchstone file, or columns.

Columns: a CSV file whose first line names them: a frequency (frequency_hz, frequency_khz or frequency_mhz), the gain
(gain_db) and the phase (phase_deg), or both as gain_real and gain_imag. Lines that begin with # are comments. What an
analyser shows is S21 between its own ports.
"""

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.errors import Fault, SweepError, nearest, shown
from sim.measured.touchstone import MOST_POINTS, TwoPort, read_two_port

LARGEST_FILE = 20_000_000
"""Bytes of the largest sweep that is read."""
ENDINGS = (".s2p", ".ts", ".csv")
_UNITS = {"frequency_hz": 1.0, "frequency_khz": 1e3, "frequency_mhz": 1e6}
_PAIRS = (("gain_db", "phase_deg"), ("gain_real", "gain_imag"))


@dataclass(frozen=True)
class Sweep:
    """One sweep of one unit.

    Attributes
    ----------
    name : str
        Of the file, without folder and ending.
    file : str
        As the user named it.
    freq_hz : ndarray, shape (n_freq,)
        Rising. [Hz]
    gain : complex ndarray, shape (n_freq,)
        S21 between the analyser's ports.
    two_port : TwoPort or None
        All four parameters, where the file has them.
    """

    name: str
    file: str
    freq_hz: np.ndarray
    gain: np.ndarray
    two_port: TwoPort | None

    def gain_at(self, freq_hz) -> np.ndarray:
        """Gain at other frequencies: level and phase on straight lines between points, over the logarithm of frequency.

        Parameters
        ----------
        freq_hz : array_like
            Within the sweep. [Hz]

        Raises
        ------
        SweepError
            The sweep does not reach one of them.
        """
        freq_hz = np.asarray(freq_hz, dtype=float)
        low, high = self.freq_hz[0] * (1 - 1e-9), self.freq_hz[-1] * (1 + 1e-9)
        for one in np.ravel(freq_hz):
            if not low <= one <= high:
                found = f"reaches from {low / 1e6:.4g} to {high / 1e6:.4g} MHz and not to {one / 1e6:.4g} MHz."
                raise SweepError(Fault(self.file, None, None, found, "Sweep over all bands of the study."))
        place, own = np.log(freq_hz), np.log(self.freq_hz)
        level = np.interp(place, own, np.log(np.maximum(np.abs(self.gain), 1e-30)))
        return np.exp(level + 1j * np.interp(place, own, np.unwrap(np.angle(self.gain))))


def read_sweep(name: str) -> Sweep:
    """A sweep out of its file.

    Parameters
    ----------
    name : str
        Path; .s2p or .ts for Touchstone, .csv for columns.

    Raises
    ------
    SweepError
        No such file, another ending, or text that is no sweep.
    """
    path = Path(name)
    if path.suffix.lower() not in ENDINGS:
        found = "is no sweep by its ending."
        raise SweepError(Fault(name, None, None, found, "Name a two-port Touchstone file (.s2p), or columns (.csv)."))
    text = _text(path, name)
    if path.suffix.lower() == ".csv":
        freq_hz, gain = _columns(text, name)
        return Sweep(path.stem, name, freq_hz, gain, None)
    try:
        two_port = read_two_port(text)
    except ValueError as error:
        line, found, remedy = error.args
        raise SweepError(Fault(name, line, None, found, remedy)) from error
    return Sweep(path.stem, name, two_port.freq_hz, two_port.s[:, 1, 0], two_port)


def read_sweeps(names: Iterable[str]) -> list[Sweep]:
    """Sweeps out of their files, all that is wrong with any of them told at once.

    Parameters
    ----------
    names : iterable of str
        Paths, as for :func:`read_sweep`.

    Raises
    ------
    SweepError
        With the faults of all files.
    """
    sweeps, faults = [], []
    for name in names:
        try:
            sweeps.append(read_sweep(name))
        except SweepError as error:
            faults += error.faults
    if faults:
        raise SweepError(faults)
    return sweeps


def _text(path: Path, name: str) -> str:
    remedy = "Name an existing sweep."
    try:
        if path.is_dir() or (path.exists() and not path.is_file()):
            raise SweepError(Fault(name, None, None, "is no plain file.", remedy))
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise SweepError(Fault(name, None, None, f"cannot be read: {reason}.", remedy)) from error
    if len(raw) > LARGEST_FILE:
        raise SweepError(Fault(name, None, None, "is larger than 20 MB.", "Export fewer points."))
    # Analysers write comments in whatever letters they have; data are plain ASCII.
    return raw.decode("utf-8-sig", errors="replace")


def _columns(text: str, name: str) -> tuple[np.ndarray, np.ndarray]:
    def refuse(line: int | None, found: str, remedy: str):
        return SweepError(Fault(name, line, None, found, remedy))

    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if len(lines) < 3:
        remedy = "The first line names the columns, frequency_hz,gain_db,phase_deg; two points or more follow."
        raise refuse(None, "holds fewer than two points.", remedy)
    if len(lines) > MOST_POINTS:
        raise refuse(None, f"holds more than {MOST_POINTS} points.", "Export fewer points.")
    head = [word.strip().lower() for word in lines[0][1].split(",")]
    frequency = [word for word in head if word in _UNITS]
    pair = next((pair for pair in _PAIRS if all(word in head for word in pair)), None)
    if len(frequency) != 1 or pair is None or len(set(head)) < len(head):
        known = [*_UNITS, *_PAIRS[0], *_PAIRS[1]]
        odd = next((word for word in head if word not in known), None)
        hint = f" Nearest to {shown(odd)}: {nearest(odd, known)}." if odd else ""
        if ";" in lines[0][1] or "\t" in lines[0][1]:
            hint = " Columns are parted by commas, and decimals take a point: 1830000,10.7,-3.2."
        remedy = f"Name the columns frequency_hz,gain_db,phase_deg or frequency_hz,gain_real,gain_imag.{hint}"
        raise refuse(lines[0][0], f"has the columns {shown(', '.join(head))}.", remedy)
    places = [head.index(frequency[0]), *(head.index(word) for word in pair)]
    rows = []
    for number, line in lines[1:]:
        try:
            words = next(csv.reader([line]))
            row = [float(words[place]) for place in places]
        except (ValueError, IndexError, csv.Error):
            raise refuse(number, f"{shown(line)} is no line of {len(head)} numbers.", "Write plain numbers.") from None
        if not all(map(math.isfinite, row)):
            found = f"{shown(line)} holds no finite number where one is needed."
            raise refuse(number, found, "Leave out lines of nan or inf.")
        rows.append(row)
    table = np.array(rows)
    freq_hz = table[:, 0] * _UNITS[frequency[0]]
    if np.any(np.diff(freq_hz) <= 0) or freq_hz[0] <= 0:
        raise refuse(None, "has frequencies that do not rise.", "Sort them, each once, above zero.")
    if pair[0] == "gain_db":
        return freq_hz, 10 ** (table[:, 1] / 20) * np.exp(1j * np.deg2rad(table[:, 2]))
    return freq_hz, table[:, 1] + 1j * table[:, 2]
