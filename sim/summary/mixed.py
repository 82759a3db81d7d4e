"""An array of one kind of amplifier with a single one of another kind: the step, what it costs, what a trim leaves.

A null is a sum of phasors that cancel. One element that is off by the factor 1 + d, d = 10^(g/20) e^(jp) − 1 for a gain
step g [dB] and a phase step p, leaves its own signal times d, whatever the others are: 20 log10|d| below one element's
signal if it weighs as much as the others and these are perfect (exact; for two elements the table of two nearly
cancelling phasors). Against the sum of N equal elements in phase it is 20 log10 N lower; a square of λ/8 side hears no
more in its forward direction than one element does within 0.5 dB, so there the number holds for the forward signal too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.constants import C0
from sim.quantity import Limit
from sim.summary.wording import limit_text

DEFAULT_GAIN_DB, DEFAULT_PHASE_DEG = 0.19, 1.2
"""What an array takes where the study says nothing: the rms error of every element with which a square of λ/8 side
(front less both sides and rear, nulls at the rear horizon, 20 degrees of elevation) stays 20 dB down at the back in
95 of 100 builds, half of the variance each: σ = 10^(−20/20)/√(K ln 20), K = Σ|w|²/|F|² = 3.63 (errors of all elements:
Ruze, Nuovo Cimento Suppl. 9 (1952) 364; exponential power at a null, by hand). It is the budget of the whole chain, so
a step that takes all of it leaves nothing for antennas and ground; our choice. [dB], [degree]"""

DB_PER_DEGREE = math.radians(1) * 20 / math.log(10)
"""Gain error that spoils a null as much as a phase error of one degree: 0.152 dB. [dB]"""

MOST_PARTNERS = 15
"""Units of its own build with which a unit is paired."""


SEEN = ("gain_db", "phase_deg", "system_gain_db", "system_phase_deg")
"""Measures in which a step is looked for: on the bench, then with antenna, feedline and receiver."""


@dataclass(frozen=True)
class Seen:
    """Gain and phase of units, each of shape (n_unit, n_band): on the bench, and with antenna, feedline and receiver.

    The second is what an array feels. It is not the first: the dummy is not the antenna, and how fast an op-amp is
    tells the more, the larger the capacitance at its input.
    """

    gain_db: np.ndarray
    phase_deg: np.ndarray
    system_gain_db: np.ndarray
    system_phase_deg: np.ndarray

    def of(self, rows: np.ndarray) -> Seen:
        """Those of some units only."""
        return Seen(*(getattr(self, name)[rows] for name in SEEN))

    @property
    def pairs(self) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
        """Gain and phase on the bench, gain and phase of the whole."""
        return (self.gain_db, self.phase_deg), (self.system_gain_db, self.system_phase_deg)


@dataclass(frozen=True)
class Allowed:
    """Steps in gain and phase that an array takes.

    Attributes
    ----------
    gain, phase : Limit
        [dB], [degree]
    own : bool
        Whether the study has set one of them.
    told : str
        Both, and where they are from.
    """

    gain: Limit
    phase: Limit
    own: bool
    told: str

    def holds(self, gain_db, phase_deg) -> np.ndarray:
        """Whether steps are within, element by element."""
        return self.gain.holds(gain_db) & self.phase.holds(phase_deg)


@dataclass(frozen=True)
class Takes:
    """What an array takes on the bench, and with antenna and feedline, which is what it feels.

    Attributes
    ----------
    bench, system : Allowed
        The second is the first where the study limits no match with feedline.
    """

    bench: Allowed
    system: Allowed

    @property
    def told(self) -> str:
        """Both, in words."""
        if self.bench == self.system:
            return self.bench.told
        return f"{self.bench.told} on the bench and {self.system.told} with feedline"


def takes_of(limits: Mapping[str, Limit]) -> Takes:
    """What an array takes: the study's match limits; where it has one of a pair, the other as harmful; else a default.

    Parameters
    ----------
    limits : mapping of measure to Limit
    """
    bench = _allowed(limits.get("match_gain_db"), limits.get("match_phase_deg"))
    system = _allowed(limits.get("match_system_gain_db"), limits.get("match_system_phase_deg"))
    if not bench.own and not system.own:
        return Takes(bench, bench)
    return Takes(bench if bench.own else system, system if system.own else bench)


def _allowed(gain: Limit | None, phase: Limit | None) -> Allowed:
    own = gain is not None or phase is not None
    origin = "the study's match limits"
    if not own:
        gain = Limit(-DEFAULT_GAIN_DB, DEFAULT_GAIN_DB)
        phase = Limit(-DEFAULT_PHASE_DEG, DEFAULT_PHASE_DEG)
        origin = "what a square of λ/8 side takes for 20 dB, as the study sets no match limit"
    elif gain is None:
        gain = Limit(phase.low * DB_PER_DEGREE, phase.high * DB_PER_DEGREE)
        origin = "the study's phase match, and the gain step that is as harmful"
    elif phase is None:
        phase = Limit(gain.low / DB_PER_DEGREE, gain.high / DB_PER_DEGREE)
        origin = "the study's gain match, and the phase step that is as harmful"
    return Allowed(gain, phase, own, f"{_text(gain, 'dB')} and {_text(phase, 'degree')} ({origin})")


def _text(limit: Limit, unit: str) -> str:
    low, high = (None if math.isinf(end) else round(end, 2) for end in (limit.low, limit.high))
    return "anything" if low is None and high is None else limit_text(low, high, unit).removeprefix("within ")


def wrapped(degrees, around=0.0):
    """Angles brought within half a turn of another. [degree]

    Parameters
    ----------
    degrees, around : array_like
        [degree]
    """
    return (np.asarray(degrees) - around + 180.0) % 360.0 - 180.0 + around


def null_db(gain_db, phase_deg) -> np.ndarray:
    """What one element that is off leaves in a perfect null, over the signal of one element. [dB]

    Parameters
    ----------
    gain_db, phase_deg : array_like
        The step. [dB], [degree]

    Notes
    -----
    20 log10|10^(g/20) e^(jp) − 1| = 20 log10 √(1 + r² − 2 r cos p), exact; −inf without a step.
    """
    off = 10 ** (np.asarray(gain_db) / 20) * np.exp(1j * np.deg2rad(phase_deg)) - 1
    with np.errstate(divide="ignore"):
        return 20 * np.log10(np.abs(off))


def step_of(old: np.ndarray, new: np.ndarray, units: np.ndarray, build: int, turns: bool = False):
    """Step from the old kind of unit to the new one: nominal, and the middle 95 % of drawn pairs.

    Parameters
    ----------
    old, new : ndarray, shape (n_unit, n_band)
        Bench gain [dB] or phase [degree] of the same units with either part; NaN where a unit failed.
    units : int ndarray, shape (n_unit,)
        Their numbers; 0, the nominal unit, among them.
    build : int
        Units made together. Pairs are of one build, as the new part is put on a board of the old lot.
    turns : bool
        Whether the values are angles.

    Returns
    -------
    nominal, low, high : ndarray, shape (n_band,)
        Low and high are NaN without pairs.
    """
    first = int(np.flatnonzero(units == 0)[0])
    nominal = wrapped(new[first] - old[first]) if turns else new[first] - old[first]
    found = []
    drawn = np.flatnonzero(units > 0)
    number = (units[drawn] - 1) // build
    for own in (drawn[number == one] for one in np.unique(number)):
        for shift in range(1, min(len(own), MOST_PARTNERS + 1)):
            found.append(new[own] - old[np.roll(own, shift)])
    if not found:
        nothing = np.full(nominal.shape, np.nan)
        return nominal, nothing, nothing
    steps = np.concatenate(found)
    steps = wrapped(steps, nominal) if turns else steps
    steps = steps[~np.isnan(steps).any(axis=1)]
    if not len(steps):
        nothing = np.full(nominal.shape, np.nan)
        return nominal, nothing, nothing
    low, high = np.quantile(steps, (0.025, 0.975), axis=0)
    return nominal, low, high


def alike_share(old, new, units: np.ndarray, build: int, allowed: Allowed) -> float:
    """Share of drawn units that keep the match when only they have the new part, all others of their build the old one.

    Parameters
    ----------
    old, new : tuple of two ndarray, shape (n_unit, n_band)
        Gain and phase of the same units with either part. [dB], [degree]
    units : int ndarray, shape (n_unit,)
    build : int
    allowed : Allowed
        Bounds on the deviation from the mean of the build, the new unit included, as a match is judged.

    Returns
    -------
    share : float
        NaN where no unit has others beside it.
    """
    first = int(np.flatnonzero(units == 0)[0])
    drawn = np.flatnonzero(units > 0)
    number = (units[drawn] - 1) // build
    kept = total = 0
    for own in (drawn[number == one] for one in np.unique(number)):
        off = []
        for values, others, turns in ((new[0], old[0], False), (new[1], old[1], True)):
            base, mine = others[own] - others[first], values[own] - others[first]
            base, mine = (wrapped(base), wrapped(mine)) if turns else (base, mine)
            there = ~np.isnan(base)
            count = there.sum(axis=0) - there
            rest = np.where(there, base, 0.0)
            with np.errstate(invalid="ignore", divide="ignore"):
                mean = (rest.sum(axis=0) - rest) / count
            off.append((mine - mean) * count / (count + 1))
        good = allowed.holds(*off).all(axis=1)
        if len(own) > 1:
            kept, total = kept + int(good.sum()), total + len(own)
    return kept / total if total else math.nan


@dataclass(frozen=True)
class Trim:
    """A common gain and delay that take out the step at one band, and what they leave.

    Attributes
    ----------
    band : int
        Place of that band.
    gain_db : float
        Gain to be added to the new unit. [dB]
    cable_m : float
        Cable to be added to its feedline; below zero to be cut off. [m]
    left_gain_db, left_phase_deg : ndarray, shape (n_band,)
        Steps that remain. [dB], [degree]
    """

    band: int
    gain_db: float
    cable_m: float
    left_gain_db: np.ndarray
    left_phase_deg: np.ndarray


def best_trim(bands_hz: Sequence[float], gain_db, phase_deg, velocity: float, allowed: Allowed) -> Trim:
    """The trim at the band that leaves least at the worst of all; of the cable alone where the array takes the rest.

    Parameters
    ----------
    bands_hz : sequence of float, length n_band
        [Hz]
    gain_db, phase_deg : ndarray, shape (n_band,)
        Steps of the new unit over the old ones. [dB], [degree]
    velocity : float
        Of a wave on the cable, over that of light. [1]
    allowed : Allowed
        What the array takes.

    Notes
    -----
    A delay t turns the phase by −360 f t; a cable of length L has t = L/(v c).
    """
    bands = np.asarray(bands_hz, dtype=float)
    found = []
    for place, band in enumerate(bands):
        left_phase = phase_deg - phase_deg[place] * bands / band
        length = float(phase_deg[place] / 360 * velocity * C0 / band)
        for trimmed in (0.0, float(gain_db[place])):
            found.append(Trim(place, -trimmed, length, gain_db - trimmed, left_phase))
    cable = min((trim for trim in found if trim.gain_db == 0), key=_left)
    enough = allowed.holds(cable.left_gain_db, cable.left_phase_deg).all()
    return cable if enough else min(found, key=_left)


def _left(trim: Trim) -> float:
    """What is left in a null at the worst band. [dB]"""
    return float(null_db(trim.left_gain_db, trim.left_phase_deg).max())
