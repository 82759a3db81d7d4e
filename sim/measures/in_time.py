"""The estimate of products held against time: two tones into a unit's deck, by responses and by a transient."""

import math
from dataclasses import dataclass

import numpy as np

from sim.deck.build import chain_of, unit_table, unit_values
from sim.distortion.estimate import Carrier, estimate
from sim.distortion.load import OutputLoad
from sim.distortion.mixes import mixes
from sim.distortion.two_tone import difference, two_tone
from sim.engine.ngspice import Simulator
from sim.measures.strong import Near

LEAST_SHARE = 0.3
"""Weaker tones are raised until they take so much of the nearest limit: products of weak ones drown in a transient's
rounding, and an estimate's error is less there. [1]"""
MOST_CYCLES = 20
"""Of the higher tone in the period of both: a transient takes as many times longer."""


@dataclass(frozen=True)
class Trial:
    """What is to be tried.

    Attributes
    ----------
    scenario, unit : int
        Position of the scenario, the unit's number.
    tones : tuple of (float, float)
        Frequency [Hz] and peak emf [V] of each.
    """

    scenario: int
    unit: int
    tones: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Tried:
    """What came of it.

    Attributes
    ----------
    second_db, third_db : float
        Estimate less transient, of the product of that order where they differ most; NaN where nothing stands above
        the transient's floor. [dB]
    raised_db : float
        By how much both tones were raised. [dB]
    invalid : tuple of str
        Why the estimate does not hold for these tones; then nothing was run in time.
    """

    second_db: float
    third_db: float
    raised_db: float = 0.0
    invalid: tuple[str, ...] = ()


def trial_of(near: Near, scenario: int, unit: int) -> Trial:
    """The two strongest carriers, moved to frequencies of a common divisor, which a transient needs.

    Parameters
    ----------
    near : Near
        With at least two stations.
    scenario, unit : int
    """
    one, other = (near.stations[place] for place in near.pair)
    moved = grid_tones(one.freq_hz, other.freq_hz)
    volts = (np.sqrt(2) * one.emf, np.sqrt(2) * other.emf)
    return Trial(scenario, unit, tuple((float(hertz), float(emf)) for hertz, emf in zip(moved, volts, strict=True)))


def grid_tones(first_hz: float, second_hz: float) -> tuple[float, float]:
    """Two tones near the wanted ones, whole multiples of one divisor, of which no products fall on each other.

    Parameters
    ----------
    first_hz, second_hz : float
        [Hz]

    Returns
    -------
    tones : (float, float)
        The higher one as wanted to a part in :data:`MOST_CYCLES`, the ratio as near as such multiples come. [Hz]
    """
    low, high = sorted((first_hz, second_hz))
    pairs = ((n, m) for m in range(2, MOST_CYCLES + 1) for n in range(1, m) if _apart(n, m))
    n, m = min(pairs, key=lambda pair: (abs(pair[0] / pair[1] - low / high), pair[1]))
    divisor = max(round(high / m), 1)
    tones = float(n * divisor), float(m * divisor)
    return tones if first_hz <= second_hz else tones[::-1]


def _apart(n: int, m: int) -> bool:
    """Whether all products of two tones n and m, and the tones, are different multiples."""
    every = [n, m, *(round(mix.frequency_hz) for mix in mixes((n, m)))]
    return math.gcd(n, m) == 1 and len(set(every)) == len(every)


class TwoToneWorker:
    """Tries units one after another with one loaded simulator.

    Parameters
    ----------
    scenarios : sequence of Scenario
    """

    def __init__(self, scenarios):
        self._scenarios = scenarios
        self._simulator = Simulator()

    def __call__(self, trial: Trial) -> Tried:
        """Try one unit, into the line's resistance.

        Raises
        ------
        UnitFailed
        LibraryLost
        """
        study = self._scenarios[trial.scenario].study
        chain = chain_of(study)
        unit = unit_values(chain, unit_table(study, chain, np.array([trial.unit])), 0, trial.unit)
        ohm = chain.route.impedance
        tones = [Carrier(hertz, emf) for hertz, emf in trial.tones]
        estimated = estimate(self._simulator, chain, unit, tones, OutputLoad(ohm))
        if not estimated.valid:
            return Tried(np.nan, np.nan, invalid=estimated.invalid)
        raised = max(LEAST_SHARE / max(_share(limit) for limit in estimated.limits), 1.0)
        if raised > 1:
            tones = [Carrier(tone.frequency_hz, raised * tone.emf_v) for tone in tones]
            estimated = estimate(self._simulator, chain, unit, tones, OutputLoad(ohm))
        found = difference(estimated, two_tone(self._simulator, chain, unit, tones, ohm))
        return Tried(found.second_db, found.third_db, 20 * math.log10(raised))


def _share(limit) -> float:
    """How near the tones come to the nearest limit of an op-amp."""
    return max(limit.slew_share, limit.swing_share, limit.current_share, limit.input_share)
