"""A measured impedance as a file has it: one-port Touchstone, or a table of frequency, resistance and reactance.

A table is text with commas between its columns. Its first line names them; what follows # is a remark:

    frequency_mhz, r_ohm, x_ohm, state, effective_height_m
    1.8,           4.2,   -1709, wet,   3.0

The first column may be frequency_hz, frequency_khz or frequency_mhz. `state` and `effective_height_m` are optional:
several states, such as dry and wet, may stand in one file.
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.errors import Fault, RecordError, nearest, shown
from sim.measured.touchstone import read_one_port

LARGEST_FILE = 1_000_000
"""Bytes; a sweep of ten thousand points has half of it."""
_FREQUENCY = {"frequency_hz": 1.0, "frequency_khz": 1e3, "frequency_mhz": 1e6}
_COLUMNS = (*_FREQUENCY, "r_ohm", "x_ohm", "state", "effective_height_m")


@dataclass(frozen=True)
class OnePort:
    """An impedance at some frequencies.

    Attributes
    ----------
    name : str
        Of the file, as the study names it.
    freq_hz : ndarray, shape (n_freq,)
        Rising, above zero. [Hz]
    impedance : complex ndarray, shape (n_freq,)
        [Ω]
    height : ndarray, shape (n_freq,), or None
        Effective height, where a table has it. [m]
    """

    name: str
    freq_hz: np.ndarray
    impedance: np.ndarray
    height: np.ndarray | None = None


def load_one_port(name: str, folder, state: str | None = None) -> OnePort:
    """Read a measured impedance.

    Parameters
    ----------
    name : str
        Ends in ".s1p" or ".csv"; that it lies in the study's folder was checked with the study.
    folder : path-like
        What a relative path starts from.
    state : str, optional
        Which rows of a table with a column `state` are meant.

    Returns
    -------
    OnePort

    Raises
    ------
    RecordError
        The file cannot be read, is no such file, or does not have that state.
    """
    text = _text(Path(folder) / name, name)
    if name.lower().endswith(".csv"):
        freq_hz, impedance, height = _table(text, name, state)
    elif state is not None:
        raise _fault(name, None, f"holds one state, and the study asks for {shown(state)}.", _STATES)
    else:
        try:
            (freq_hz, impedance), height = read_one_port(text), None
        except ValueError as error:
            raise _fault(name, *error.args) from error
    return _checked(name, freq_hz, impedance, height)


_STATES = "Take state out, or give a table (.csv) with a column state."
_SAVE = "Save it as plain text: Touchstone (.s1p), or a table with commas (.csv)."


def _fault(name: str, line: int | None, found: str, remedy: str) -> RecordError:
    return RecordError(Fault(name, line, None, found, remedy))


def _text(path: Path, name: str) -> str:
    try:
        with open(path, "rb") as file:
            raw = file.read(LARGEST_FILE + 1)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise _fault(name, None, f"cannot be read: {reason}.", "Name an existing file beside the study.") from error
    if len(raw) > LARGEST_FILE:
        raise _fault(
            name, None, "is larger than 1 MB.", "Export fewer points: a few hundred around the bands are plenty."
        )
    if b"\0" in raw:
        raise _fault(name, None, "is no text.", _SAVE)
    # Comments of analysers come in any code page; numbers and keywords are ASCII in all of them.
    return raw.decode("utf-8-sig", "replace")


def _table(text: str, name: str, state: str | None):
    """Frequencies, impedances and heights of a table's state."""
    head, rows = None, []
    for number, line in enumerate(text.splitlines(), start=1):
        cells = [cell.strip() for cell in line.partition("#")[0].split(",")]
        if not any(cells):
            continue
        if head is None:
            head = _head(cells, name, number)
            continue
        if len(cells) != len(head):
            found = f"has {len(cells)} value{'s' * (len(cells) != 1)}; the table has {len(head)} columns."
            raise _fault(name, number, found, "Put a comma between the columns, and a point into the numbers: 1.83.")
        rows.append(_row(dict(zip(head, cells, strict=True)), name, number))
    if not rows:
        raise _fault(
            name, None, "holds no row of data.", "Write a head line, then a row a frequency; see docs/own-antenna.md."
        )
    return _of_state(rows, "state" in head, "effective_height_m" in head, name, state)


def _head(cells, name: str, number: int) -> list[str]:
    head = [cell.lower() for cell in cells]
    for cell in head:
        if cell not in _COLUMNS:
            remedy = f"Nearest known column: {nearest(cell, _COLUMNS)}. Known: {', '.join(_COLUMNS)}."
            raise _fault(name, number, f"{shown(cell)} is not a column of a table of impedance.", remedy)
    if len(set(head)) < len(head):
        raise _fault(name, number, "a column is there twice.", "Keep one of them.")
    frequencies = [cell for cell in head if cell in _FREQUENCY]
    if len(frequencies) != 1 or not {"r_ohm", "x_ohm"} <= set(head):
        raise _fault(name, number, "a column is missing.", 'Write, for example, "frequency_mhz, r_ohm, x_ohm".')
    return head


def _row(cells: dict[str, str], name: str, number: int):
    """State, frequency, impedance and height of a row."""
    values = {}
    for column, cell in cells.items():
        if column == "state":
            continue
        try:
            values[column] = float(cell)
        except ValueError:
            raise _fault(
                name, number, f"{column} is {shown(cell)}, no number.", "Write plain numbers, no units."
            ) from None
        if not np.isfinite(values[column]):
            raise _fault(name, number, f"{column} is {shown(cell)}.", "Write a finite number, or take the row out.")
    scale = next(column for column in values if column in _FREQUENCY)
    height = values.get("effective_height_m", np.nan)
    if height <= 0:
        raise _fault(name, number, f"an effective height of {height:g} m.", "Write a height above zero.")
    return cells.get("state"), values[scale] * _FREQUENCY[scale], complex(values["r_ohm"], values["x_ohm"]), height


def _of_state(rows, has_states: bool, has_heights: bool, name: str, state: str | None):
    """The rows of one state, as arrays."""
    states = list(dict.fromkeys(str(row[0]) for row in rows))
    if state is not None and not has_states:
        raise _fault(name, None, f"has no column state, and the study asks for {shown(state)}.", _STATES)
    if state is None and has_states and len(states) > 1:
        raise _fault(name, None, f"holds the states {', '.join(states)}.", f"Say which: state = {shown(states[0])}.")
    if state is not None and state not in states:
        raise _fault(name, None, f"has no state {shown(state)}.", f"Known: {', '.join(states)}.")
    mine = [row for row in rows if state is None or row[0] == state]
    _, freq_hz, impedance, height = zip(*mine, strict=True)
    return np.array(freq_hz), np.array(impedance), np.array(height) if has_heights else None


def _checked(name: str, freq_hz, impedance, height) -> OnePort:
    """Rising frequencies above zero with finite impedances, two or more."""
    if np.any(freq_hz < 0):
        raise _fault(name, None, f"has a frequency of {freq_hz.min():g} Hz.", "Write frequencies above zero.")
    order = np.argsort(freq_hz, kind="stable")
    # A sweep may begin at zero, where there is nothing to be measured.
    order = order[freq_hz[order] > 0]
    freq_hz, impedance = freq_hz[order], impedance[order]
    if len(freq_hz) < 2:
        raise _fault(name, None, "holds fewer than two frequencies.", "Measure around every band; five points or more.")
    twice = np.flatnonzero(np.diff(freq_hz) == 0)
    if len(twice):
        raise _fault(name, None, f"holds {freq_hz[twice[0]]:g} Hz twice.", "Keep one of them, or name a state.")
    bad = np.flatnonzero(~np.isfinite(impedance) | (np.abs(impedance) > 1e9) | (np.abs(impedance) < 1e-6))
    if len(bad):
        found = f"says open or short circuit at {freq_hz[bad[0]]:g} Hz."
        raise _fault(name, None, found, "Take that point out; was the antenna connected, the analyser calibrated?")
    return OnePort(name, freq_hz, impedance, None if height is None else height[order])
