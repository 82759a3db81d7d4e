"""Atmospheric noise (distant lightning) at a few places, months and hours, from records.

The records stand in atmospheric.toml beside this module, with their source and quality. Between their frequencies
the level is a straight line over log frequency. The last lines go on for a twentieth past the ends, so that a whole
amateur band belongs to its table frequency; farther out there is no value.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from sim.noise.level import deviation_db

PAST_THE_ENDS = 1.05
"""Factor of frequency past a table's ends over which its last line is continued: 1.1 dB at the steepest. [1]"""
_FILE = Path(__file__).with_name("atmospheric.toml")


@dataclass(frozen=True)
class AtmosphericNoise:
    """One place, month and hour.

    Attributes
    ----------
    name, place, month, time : str
        The word of a study, and what it stands for; local time.
    freq_hz : tuple of float
        Rising. [Hz]
    median_db, upper_db, lower_db : tuple of float
        Fam at these frequencies, and the distances of its deciles over time. [dB]
    quality_db : float
        How far the median may be off, either way. [dB]
    """

    name: str
    place: str
    month: str
    time: str
    freq_hz: tuple[float, ...]
    median_db: tuple[float, ...]
    upper_db: tuple[float, ...]
    lower_db: tuple[float, ...]
    quality_db: float

    def inside(self, freq_hz) -> np.ndarray:
        """Whether each frequency lies within the table, ends included."""
        freq_hz = np.asarray(freq_hz, dtype=float)
        return (freq_hz >= self.freq_hz[0]) & (freq_hz <= self.freq_hz[-1])

    def reaches(self, freq_hz) -> np.ndarray:
        """Whether each frequency has a value: within the table or a twentieth past its ends."""
        freq_hz = np.asarray(freq_hz, dtype=float)
        return (freq_hz >= self.freq_hz[0] / PAST_THE_ENDS) & (freq_hz <= self.freq_hz[-1] * PAST_THE_ENDS)

    def level_db(self, freq_hz, share: float = 0.5) -> np.ndarray:
        """External noise figure at a share of the time.

        Parameters
        ----------
        freq_hz : array_like
            [Hz]
        share : float
            0.5 is the median. [1]

        Returns
        -------
        fa_db : ndarray, same shape
            NaN where the table does not reach. [dB]
        """
        freq_hz = np.asarray(freq_hz, dtype=float)
        at_table = np.asarray(self.median_db) + deviation_db(share, self.upper_db, self.lower_db)
        x, table = np.log(freq_hz), np.log(self.freq_hz)
        line = np.clip(np.searchsorted(table, x) - 1, 0, len(table) - 2)
        slope = np.diff(at_table) / np.diff(table)
        return np.where(self.reaches(freq_hz), at_table[line] + slope[line] * (x - table[line]), np.nan)


@cache
def atmospheric_records() -> tuple[AtmosphericNoise, ...]:
    """All records, in the order of the file."""
    data = tomllib.loads(_FILE.read_text(encoding="utf-8"))
    freq_hz = tuple(map(float, data["frequencies_hz"]))
    found = []
    for row in data["record"]:
        levels = {key: tuple(map(float, row[key])) for key in ("median_db", "upper_db", "lower_db")}
        words = {key: str(row[key]) for key in ("name", "place", "month", "time")}
        quality_db = float(data["quality_db"][row["time"]])
        found.append(AtmosphericNoise(freq_hz=freq_hz, quality_db=quality_db, **words, **levels))
    return tuple(found)


def atmospheric_noise(name: str) -> AtmosphericNoise:
    """The record of that name.

    Raises
    ------
    ValueError
        No such record; the message lists them.
    """
    for record in atmospheric_records():
        if record.name == name:
            return record
    raise ValueError(f"no atmospheric noise {name!r}; there are {', '.join(r.name for r in atmospheric_records())}")
