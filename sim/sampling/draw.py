"""The draws of a build.

A uniform number is made from the seed, the unit's number and the name of what is drawn, and from nothing else: adding
a part or a scenario, or running other units beside it, moves no draw. The generator is Philox, keyed by a hash of seed
and name, with the unit's number as its counter.

Model of a part (tolerance t, words of the study):

    value = nominal · (1 + L + U) · (1 + TC · (T − 25 °C))

With the word "lot" all units of a build share L, uniform over 0.7 of the tolerance; U is normal with a tenth of
the tolerance (two tenths for thick film and X7R), cut so that the sum keeps the tolerance. Without it there is no L
and U is uniform over the tolerance; with the word "normal" it is normal with 2 sigma at the tolerance. The split
into lot and unit is an assumption (from memory, no source); measured values of a reel should replace it.

Model of an op-amp die: two hidden variables, stage current I (4 %) and capacitance C; gain-bandwidth I/C (together
8 %, as a maker's note on ±20 % suggests, never beyond ±25 % at 25 °C: C is cut to what I leaves of that), slew rate
I/C and 5 % of its own, noise I^-½ and 3.5 % of its own, quiescent current I. Both spread and temperature
coefficients are typical statements of makers and common practice, not data of a part.
"""

import hashlib
import math
from dataclasses import dataclass, replace

import numpy as np

from sim.quantity import PartValue
from sim.sampling.shapes import lognormal, truncated_normal, uniform

LOT_SHARE = 0.7
"""Share of the tolerance over which lots spread: assumption, from memory."""
_UNIT_SIGMA = {"thick-film": 0.2, "x7r": 0.2}
_UNIT_SIGMA_ELSE = 0.1

# kind: mean temperature coefficient, its spread from lot to lot, its spread within a lot [1/K]; makers' data sheets
# state limits of this size, tracking within a lot after a resistor maker's note; film, mica and wound from memory.
_COEFFICIENTS = {
    "thick-film": (0.0, 100e-6, 25e-6),
    "thin-film": (0.0, 25e-6, 15e-6),
    "c0g": (0.0, 30e-6, 5e-6),
    # Class 2 keeps within 15 % from −55 to +125 °C; taken as a straight line of either slope that does so at 125 °C,
    # 100 K away, with the spread within the lot added.
    "x7r": (0.0, 0.13 / 100, 0.02 / 100),
    "film": (-200e-6, 100e-6, 20e-6),
    "mica": (50e-6, 50e-6, 10e-6),
    "electrolytic": (4e-3, 2e-3, 1e-3),
    "wound": (300e-6, 200e-6, 50e-6),
    "ferrite": (7.5e-3, 2.5e-3, 1e-3),
}
X7R_AGEING = 0.025
"""Capacitance lost in a decade of time. [1]"""
REFERENCE_HOURS = 1000.0
HOURS_A_YEAR = 8766.0
REFERENCE_C = 25.0
_SLOWEST, _FASTEST = 0.75, 1.25  # gain-bandwidth against typical
_MOST_SIGMA = 3.0
_LONGEST_GAP = 64  # unit numbers further apart are drawn apart, so that few units far from each other cost little
GBW_PER_KELVIN = -2e-3
"""Fall of gain-bandwidth and slew rate with temperature: middle of what two data sheets' limits imply. [1/K]"""
IQ_PER_KELVIN = 1.5e-3
"""Rise of the quiescent current: common practice, no source. [1/K]"""
FET_BIAS_DOUBLES_K = 10.0
"""Warming that doubles the bias current of a FET input, a junction's leakage: TL072 data sheet (TI). [K]"""


_CURRENT_SIGMA = 0.04
IQ_LEAST, IQ_MOST = math.exp(-_MOST_SIGMA * _CURRENT_SIGMA), math.exp(_MOST_SIGMA * _CURRENT_SIGMA)
"""Ends of the spread of a die's quiescent current, against the typical. [1]"""


def standard_draws(seed: int, units, name: str) -> np.ndarray:
    """Uniform numbers in (0, 1) by seed, unit and name.

    Parameters
    ----------
    seed : int
    units : int ndarray, shape (n_unit,)
        Any unit numbers from 0, in any order.
    name : str
        Of what is drawn.

    Returns
    -------
    u : ndarray, shape (n_unit,)
    """
    units = np.asarray(units, dtype=np.int64)
    if units.size == 0:
        return np.empty(0)
    key = np.frombuffer(hashlib.blake2b(f"{seed}\n{name}".encode(), digest_size=16).digest(), dtype="<u8")
    numbers, place = np.unique(units, return_inverse=True)
    runs = np.split(numbers, np.flatnonzero(np.diff(numbers) > _LONGEST_GAP) + 1)
    bits = np.concatenate([_words(key, run) for run in runs])
    return ((bits[place] >> np.uint64(11)) + 0.5) * 2.0**-53


def _words(key: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    """One random word a number, for rising numbers not far apart."""
    first, last = int(numbers[0]), int(numbers[-1])
    # One counter step yields four words; the first of them is the unit's.
    return np.random.Philox(key=key, counter=[first, 0, 0, 0]).random_raw(4 * (last - first + 1))[::4][numbers - first]


def _builds(units, build: int) -> np.ndarray:
    """Number of the build that each unit belongs to; unit 0 is alone in build 0."""
    units = np.asarray(units)
    return np.where(units > 0, (units - 1) // build + 1, 0)


def draw_part(
    part: PartValue, name: str, seed: int, units, build: int, temperature_c: np.ndarray | None = None
) -> np.ndarray:
    """Values of one part in many units.

    Parameters
    ----------
    part : PartValue
        With a tolerance, or None for a part without spread.
    name : str
    seed : int
    units : int ndarray, shape (n_unit,)
        Unit 0 gets the nominal value.
    build : int
        Units made together; they share what the word "lot" is about.
    temperature_c : ndarray, shape (n_unit,), optional
        [°C]

    Returns
    -------
    values : ndarray, shape (n_unit,)
        [SI]
    """
    units = np.asarray(units)
    deviation = np.zeros(units.shape)
    kind = next((word for word in part.words if word in _COEFFICIENTS), None)
    lot = "lot" in part.words
    batch = _builds(units, build) if lot else units
    if part.tolerance is not None:
        low, high = part.tolerance.low, part.tolerance.high
        u = standard_draws(seed, units, name)
        if lot:
            shared = uniform(standard_draws(seed, batch, f"{name}|lot"), LOT_SHARE * low, LOT_SHARE * high)
            sigma = _UNIT_SIGMA.get(kind, _UNIT_SIGMA_ELSE) * (high - low) / 2
            deviation = shared + truncated_normal(u, low - shared, high - shared, sigma)
        elif "normal" in part.words:
            deviation = truncated_normal(u, low, high, (high - low) / 4)
        else:
            deviation = uniform(u, low, high)
    values = part.value * (1 + deviation)
    if kind is not None and temperature_c is not None:
        mean, spread, within = _COEFFICIENTS[kind]
        coefficient = mean + uniform(standard_draws(seed, batch, f"{name}|tc"), -spread, spread)
        coefficient = coefficient + uniform(standard_draws(seed, units, f"{name}|tc unit"), -within, within)
        values = values * np.maximum(1 + coefficient * (temperature_c - REFERENCE_C), 0.05)
    return np.where(units == 0, part.value, values)


def aged(part: PartValue, hours: float) -> float:
    """Share of its value that a part still has so long after it was last heated: soldering makes X7R young again. [1]

    Parameters
    ----------
    part : PartValue
    hours : float
        Up to 1000, the age that a value is sold for, nothing is lost. [h]

    Notes
    -----
    1 − a log₁₀(t / 1000 h) with a = 2.5 % for X7R: the logarithmic law of dielectric makers, IEC 60384-21 and -22,
    annex (print not at hand).
    """
    if "x7r" not in part.words:
        return 1.0
    return 1 - X7R_AGEING * math.log10(max(hours, REFERENCE_HOURS) / REFERENCE_HOURS)


def draw_for_build(part: PartValue, name: str, seed: int, units, build: int) -> np.ndarray:
    """Values of something of which a whole build has one, such as the jig that all its units are measured on.

    Parameters
    ----------
    part : PartValue
        With the word "normal" 2 sigma are at the tolerance, else it is uniform; other words change nothing.
    name : str
    seed : int
    units : int ndarray, shape (n_unit,)
        Unit 0 gets the nominal value.
    build : int
        Units that share it.

    Returns
    -------
    values : ndarray, shape (n_unit,)
        Equal within a build. [SI]
    """
    units = np.asarray(units)
    if part.tolerance is None:
        return np.full(units.shape, part.value)
    low, high = part.tolerance.low, part.tolerance.high
    u = standard_draws(seed, _builds(units, build), f"{name}|build")
    normal = "normal" in part.words
    deviation = truncated_normal(u, low, high, (high - low) / 4) if normal else uniform(u, low, high)
    return np.where(units == 0, part.value, part.value * (1 + deviation))


@dataclass(frozen=True)
class DieDraws:
    """Spread of one op-amp over many units; factors on the typical value unless said otherwise, shape (n_unit,) each.

    ``aol_db`` is added [dB], ``vos`` is a share of the data sheet's maximum with its sign.
    """

    gbw: np.ndarray
    slew: np.ndarray
    en: np.ndarray
    inoise: np.ndarray
    corner: np.ndarray
    aol_db: np.ndarray
    iq: np.ndarray
    vos: np.ndarray
    ib: np.ndarray
    cin: np.ndarray
    ro: np.ndarray
    fp2: np.ndarray


def draw_die(name: str, seed: int, units) -> DieDraws:
    """Draw the dies of one op-amp; unit 0 is typical in everything.

    Parameters
    ----------
    name : str
        Of the device in the circuit; the same name draws the same die whatever part sits there.
    seed : int
    units : int ndarray, shape (n_unit,)
    """
    units = np.asarray(units)

    def u(what):
        return standard_draws(seed, units, f"{name}.{what}")

    current = lognormal(u("current"), _CURRENT_SIGMA, _MOST_SIGMA)
    sigma = 0.0693
    least = np.maximum(np.log(current / _FASTEST), -_MOST_SIGMA * sigma)
    most = np.minimum(np.log(current / _SLOWEST), _MOST_SIGMA * sigma)
    speed = current / np.exp(truncated_normal(u("capacitance"), least, most, sigma))
    draws = DieDraws(
        gbw=speed,
        slew=speed * lognormal(u("slew"), 0.05),
        en=current**-0.5 * lognormal(u("en"), 0.035),
        inoise=lognormal(u("in"), 0.10),
        corner=lognormal(u("corner"), 0.43),
        aol_db=uniform(u("aol"), -6.0, 3.0),
        iq=current,
        vos=truncated_normal(u("vos"), -1.0, 1.0, 1 / 3),
        ib=lognormal(u("ib"), 0.20),
        cin=uniform(u("cin"), 0.8, 1.2),
        ro=uniform(u("ro"), 0.7, 1.3),
        fp2=uniform(u("fp2"), 0.85, 1.15),
    )
    typical = units == 0
    neutral = {"aol_db": 0.0, "vos": 0.0}
    return DieDraws(**{key: np.where(typical, neutral.get(key, 1.0), values) for key, values in vars(draws).items()})


def die_at(die: DieDraws, temperature_c: np.ndarray, fet_input: bool = False) -> DieDraws:
    """The same dies at their units' temperature; white noise follows the circuit's temperature by itself.

    Parameters
    ----------
    die : DieDraws
        At 25 °C.
    temperature_c : ndarray, shape (n_unit,)
        [°C]
    fet_input : bool
        Whether the bias current is a junction's leakage, which doubles every :data:`FET_BIAS_DOUBLES_K`; that of
        bipolar inputs is left as it is.

    Notes
    -----
    Left at their values of 25 °C: open-loop gain, offset, input capacitance, output resistance, second pole. Current
    noise follows the circuit's temperature as voltage noise does, also that of a FET, whose shot noise rises with its
    leakage. Gain-bandwidth of JFET inputs falls faster than this (from memory, no source).
    """
    rise = np.asarray(temperature_c) - REFERENCE_C
    speed = 1 + GBW_PER_KELVIN * rise
    leak = 2.0 ** (rise / FET_BIAS_DOUBLES_K) if fet_input else 1.0
    return replace(
        die,
        gbw=die.gbw * speed,
        slew=die.slew * speed,
        iq=die.iq * (1 + IQ_PER_KELVIN * rise),
        ib=die.ib * leak,
    )


def draw_temperature(span: tuple[float, float], seed: int, units) -> np.ndarray:
    """Temperature of each unit, uniform over a span; unit 0 has its middle. [°C]"""
    units = np.asarray(units)
    drawn = uniform(standard_draws(seed, units, "temperature"), *span)
    return np.where(units == 0, (span[0] + span[1]) / 2, drawn)
