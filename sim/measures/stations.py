"""Stations near by as a scenario's antenna hears them, and which of their products matter."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.distortion.mixes import Mix, mixes
from sim.quantity import from_db_power

BAND_SHARE = 0.05
"""Products this near to a band's frequency count as falling into the band, whose segments a study does not name; own
choice, about what an amateur band is wide. [1]"""
SIDEBAND_HZ = 5e3
"""How far the sidebands of a product of modulated carriers reach; the audio bandwidth of broadcasting on medium wave,
common practice, no source. [Hz]"""
MOST_PRODUCTS = 8
"""Products of each order that are computed for a band: those of the strongest carriers."""


@dataclass(frozen=True)
class Station:
    """A strong carrier as the antenna hears it.

    Attributes
    ----------
    name : str
    freq_hz : float
        [Hz]
    emf : float
        Open-circuit voltage of the antenna, carrier alone, rms; NaN while it must still be found from `level_dbm`. [V]
    crest : float
        Peak of the modulated wave over that of the carrier alone. [1]
    level_dbm : float or None
        At the receiver, as it was measured. [dBm]
    """

    name: str
    freq_hz: float
    emf: float
    crest: float
    level_dbm: float | None = None

    @property
    def peak(self) -> float:
        """Largest voltage of the emf, modulation and all. [V]"""
        return math.sqrt(2) * self.emf * self.crest


def stations_of(study, antenna) -> tuple[Station, ...]:
    """A study's strong carriers, in its order.

    Parameters
    ----------
    study : Study
        Of one scenario.
    antenna : AntennaSource
        Its antenna, for the emf that belongs to a field.
    """
    found = []
    for words in study.strong:
        emf, field = words.emf, words.known_field
        if field is not None:
            emf = field * float(antenna.effective_height(np.array([words.frequency]))[0])
        name = words.name or f"{words.frequency / 1e3:.7g} kHz"
        found.append(Station(name, words.frequency, math.nan if emf is None else emf, words.crest, words.level))
    return tuple(found)


def known_emf(station: Station, receiver_volts: float, receiver: float) -> float:
    """Emf of a carrier that was given by its level at the receiver; any other's as it is. [V]

    Parameters
    ----------
    station : Station
    receiver_volts : float
        At the receiver for 1 V of emf, of the nominal unit at the carrier. [1]
    receiver : float
        Input resistance. [Ω]
    """
    if station.level_dbm is None:
        return station.emf
    return math.sqrt(1e-3 * float(from_db_power(station.level_dbm)) * receiver) / receiver_volts


def windows(bands_hz: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Lower and upper end of what counts as each band, sidebands of a product included. [Hz]"""
    return tuple(
        ((1 - BAND_SHARE) * band - SIDEBAND_HZ, (1 + BAND_SHARE) * band + SIDEBAND_HZ) for band in bands_hz
    )


def products_in_bands(stations: Sequence[Station], bands_hz: Sequence[float]) -> tuple[tuple[Mix, ...], ...]:
    """For each band the products that fall into it, those of the strongest carriers where there are many.

    Parameters
    ----------
    stations : sequence of Station
        With emf.
    bands_hz : sequence of float
        [Hz]

    Returns
    -------
    products : tuple of tuple of Mix
        At most :data:`MOST_PRODUCTS` of each order, in the order of their frequencies.
    """
    frequencies = [station.freq_hz for station in stations]

    def strength(mix: Mix) -> float:
        volts = math.prod(stations[index].emf ** abs(times) for index, times in mix.carriers)
        return -mix.coefficient * volts

    found = []
    for window in windows(bands_hz):
        inside = mixes(frequencies, [window])
        orders = ([mix for mix in inside if mix.order == order] for order in (2, 3))
        kept = [mix for own in orders for mix in sorted(own, key=strength)[:MOST_PRODUCTS]]
        found.append(tuple(sorted(kept, key=lambda mix: (mix.frequency_hz, mix.carriers))))
    return tuple(found)


def fallen(pair: Sequence[int], band_hz: float) -> tuple[tuple[Mix, ...], tuple[Mix, ...]]:
    """Products of one or two carriers as if they fell on a band, second order and third.

    Parameters
    ----------
    pair : sequence of int
        Positions of the carriers.
    band_hz : float
        [Hz]

    Returns
    -------
    second, third : tuple of Mix
        With the band for a frequency: what the carriers drive at their own frequencies is carried on at the band's.
    """
    if len(pair) == 1:
        return (Mix(band_hz, ((pair[0], 2),)),), (Mix(band_hz, ((pair[0], 3),)),)
    one, other = sorted(pair)
    third = (Mix(band_hz, ((one, 2), (other, -1))), Mix(band_hz, ((one, -1), (other, 2))))
    return (Mix(band_hz, ((one, 1), (other, 1))),), third


def mix_words(mix: Mix, stations: Sequence[Station]) -> str:
    """A product as people write it: "621 + 1215 kHz", "2 × 1215 - 621 kHz".

    Parameters
    ----------
    mix : Mix
    stations : sequence of Station
    """
    said = ""
    for index, times in sorted(mix.carriers, key=lambda entry: (entry[1] < 0, -abs(entry[1]), entry[0])):
        sign = (" \N{MINUS SIGN} " if times < 0 else " + ") if said else ("\N{MINUS SIGN}" if times < 0 else "")
        count = f"{abs(times)} \N{MULTIPLICATION SIGN} " if abs(times) > 1 else ""
        said += f"{sign}{count}{stations[index].freq_hz / 1e3:.7g}"
    return f"{said} kHz"
