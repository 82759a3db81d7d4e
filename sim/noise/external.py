"""External noise of a site: by class, or a table of the builder's own measurements.

Classes are medians of ITU-R P.372, Fam = c - d log10 f_MHz, for man-made noise by environment and for
galactic noise. Man-made curves rest on surveys of the 1960s and 70s with short verticals near the ground; a
residential site of today can lie many dB above or below. Galactic noise reaches the ground only above the
critical frequency of the F2 layer (roughly 3-10 MHz). A class here is one noise by itself; sim.noise.site adds them.

Not covered: directions of arrival.
"""

from dataclasses import dataclass

import numpy as np

from sim.noise.density import fa_from_field, field_from_dbuv, field_from_fa
from sim.noise.level import deviation_db


@dataclass(frozen=True)
class NoiseClass:
    """One environment of ITU-R P.372.

    Attributes
    ----------
    name, meaning : str
        The word of a study, and what it stands for.
    c_db, d_db : float
        Median Fam = c - d log10 f_MHz. [dB]
    upper_db, lower_db : float
        Deciles of the variation with time, above and below the median. [dB]
    location_db : float
        Decile of the variation with place, the same up and down. [dB]
    low_hz, high_hz : float
        Where the curve holds. [Hz]
    reference : str
        Original source and how far it was verified.
    """

    name: str
    meaning: str
    c_db: float
    d_db: float
    upper_db: float
    lower_db: float
    location_db: float
    low_hz: float
    high_hz: float
    reference: str

    def valid(self, freq_hz):
        """Whether each frequency lies where the curve holds; values outside are computed all the same."""
        freq_hz = np.asarray(freq_hz, dtype=float)
        return (freq_hz >= self.low_hz) & (freq_hz <= self.high_hz)

    def fa_db(self, freq_hz):
        """Median external noise figure, c - d log10 f_MHz. [dB]"""
        return self.c_db - self.d_db * np.log10(np.asarray(freq_hz, dtype=float) / 1e6)

    def field(self, freq_hz):
        """Median field density. [V/m/√Hz]"""
        return field_from_fa(self.fa_db(freq_hz), freq_hz)

    def decile_db(self, side):
        """Decile of time and place together, as the root of the sum of squares.

        Parameters
        ----------
        side : str
            "upper" or "lower".

        Returns
        -------
        decile_db : float
            Distance from the median, positive. [dB]
        """
        time_db = {"upper": self.upper_db, "lower": self.lower_db}[side]
        return float(np.hypot(time_db, self.location_db))

    def level_db(self, freq_hz, share=0.5, any_place=False, place_share=0.5):
        """External noise figure at a share of the time.

        Parameters
        ----------
        freq_hz : array_like
            [Hz]
        share : float
            Share of the time in which the noise stays below; 0.5 is the median. [1]
        any_place : bool
            Whether the share is one of time and place together instead of time at one place.
        place_share : float
            Share of the places of this class that are quieter than this one; 0.5 is the median. Of no effect with
            ``any_place``. [1]

        Returns
        -------
        fa_db : ndarray, same shape
            [dB]
        """
        if any_place:
            return self.fa_db(freq_hz) + deviation_db(share, self.decile_db("upper"), self.decile_db("lower"))
        at_place = self.fa_db(freq_hz) + deviation_db(place_share, self.location_db, self.location_db)
        return at_place + deviation_db(share, self.upper_db, self.lower_db)


_P372 = (
    "ITU-R P.372, man-made noise table, constants unchanged from edition 8 to 17; c, d and time "
    "deciles as quoted in independent secondary sources, location deciles from memory"
)
_P372_GALACTIC = "ITU-R P.372, galactic noise; as quoted in secondary sources, frequency range from memory"

CLASSES = (
    NoiseClass("city", "city or business area", 76.8, 27.7, 11.0, 6.7, 8.4, 0.3e6, 250e6, _P372),
    NoiseClass("residential", "residential area", 72.5, 27.7, 10.6, 5.3, 5.8, 0.3e6, 250e6, _P372),
    NoiseClass("rural", "rural area", 67.2, 27.7, 9.2, 4.6, 6.8, 0.3e6, 250e6, _P372),
    # The deciles of quiet rural are taken as those of rural: the Recommendation gives none of its own.
    NoiseClass("quiet-rural", "chosen, quiet rural site", 53.6, 28.6, 9.2, 4.6, 6.8, 0.3e6, 250e6, _P372),
    NoiseClass("galactic", "sky only, above foF2", 52.0, 23.0, 2.0, 2.0, 0.0, 10e6, 100e6, _P372_GALACTIC),
)


@dataclass(frozen=True)
class MeasuredNoise:
    """The builder's own noise: a few points, straight lines between them over log frequency.

    Attributes
    ----------
    freq_hz : tuple of float
        Rising. [Hz]
    levels_db : tuple of float
        External noise figure at these frequencies. [dB]
    """

    freq_hz: tuple[float, ...]
    levels_db: tuple[float, ...]

    def __post_init__(self):
        """Refuse a table that is empty, uneven, falling or not finite."""
        freq, level = np.asarray(self.freq_hz, dtype=float), np.asarray(self.levels_db, dtype=float)
        if freq.ndim != 1 or freq.size == 0 or freq.shape != level.shape:
            raise ValueError(f"a noise table needs one level a frequency, not {freq.size} and {level.size}")
        if not (np.all(np.isfinite(freq)) and np.all(np.isfinite(level))):
            raise ValueError("a noise table needs finite numbers")
        if freq[0] <= 0 or np.any(np.diff(freq) <= 0):
            raise ValueError("the frequencies of a noise table must be above 0 and rise")

    def valid(self, freq_hz):
        """Whether each frequency lies within the table."""
        freq_hz = np.asarray(freq_hz, dtype=float)
        return (freq_hz >= self.freq_hz[0]) & (freq_hz <= self.freq_hz[-1])

    def fa_db(self, freq_hz):
        """External noise figure; NaN outside the table, as a measurement is not continued by guess. [dB]"""
        freq_hz = np.asarray(freq_hz, dtype=float)
        level = np.interp(np.log(freq_hz), np.log(self.freq_hz), self.levels_db)
        return np.where(self.valid(freq_hz), level, np.nan)

    def field(self, freq_hz):
        """Field density; NaN outside the table. [V/m/√Hz]"""
        return field_from_fa(self.fa_db(freq_hz), freq_hz)


def measured_fa(freq_hz, fa_db):
    """The builder's table of external noise figures.

    Parameters
    ----------
    freq_hz, fa_db : sequence of float, same length
        Rising frequencies and Fa there. [Hz, dB]

    Returns
    -------
    noise : MeasuredNoise

    Raises
    ------
    ValueError
        Lengths differ, no row, a number that is not finite, or frequencies that do not rise.
    """
    return MeasuredNoise(tuple(map(float, freq_hz)), tuple(map(float, fa_db)))


def measured_field(freq_hz, field_dbuv_per_m):
    """The builder's table of field strengths in a bandwidth of 1 Hz.

    Parameters
    ----------
    freq_hz : sequence of float
        Rising. [Hz]
    field_dbuv_per_m : sequence of float, same length
        Total vertical field at the ground, rms, bandwidth 1 Hz. [dB over 1 uV/m]

    Returns
    -------
    noise : MeasuredNoise

    Raises
    ------
    ValueError
        As `measured_fa`.
    """
    freq_hz, field_dbuv_per_m = tuple(map(float, freq_hz)), tuple(map(float, field_dbuv_per_m))
    if len(freq_hz) != len(field_dbuv_per_m):
        raise ValueError(
            f"a noise table needs one level a frequency, not {len(freq_hz)} and {len(field_dbuv_per_m)}"
        )
    if freq_hz and min(freq_hz) <= 0:
        raise ValueError("the frequencies of a noise table must be above 0 and rise")
    return MeasuredNoise(
        freq_hz, tuple(map(float, fa_from_field(field_from_dbuv(field_dbuv_per_m), freq_hz)))
    )


def noise_class(name):
    """The class of that name.

    Parameters
    ----------
    name : str
        One of `CLASSES`.

    Returns
    -------
    noise : NoiseClass

    Raises
    ------
    ValueError
        No such class; the message lists them.
    """
    for candidate in CLASSES:
        if candidate.name == name:
            return candidate
    raise ValueError(f"no noise class {name!r}; there are {', '.join(c.name for c in CLASSES)}")


def man_made(class_name, freq_hz):
    """Median external noise figure of a class.

    Parameters
    ----------
    class_name : str
        One of `CLASSES`, "galactic" included.
    freq_hz : array_like
        [Hz]

    Returns
    -------
    fa_db : ndarray, same shape
        [dB]

    Raises
    ------
    ValueError
        No such class.
    """
    return noise_class(class_name).fa_db(freq_hz)


def field_density(noise, freq_hz):
    """Field density of a site's noise.

    Parameters
    ----------
    noise : str, NoiseClass or MeasuredNoise
        A class by name, or the object itself.
    freq_hz : array_like
        [Hz]

    Returns
    -------
    field : ndarray, same shape
        Total vertical field at the ground, rms; NaN outside a measured table. [V/m/√Hz]

    Raises
    ------
    ValueError
        No class of that name.
    """
    return (noise_class(noise) if isinstance(noise, str) else noise).field(freq_hz)
