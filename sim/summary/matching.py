"""How far each unit is from the others of its own build: what an array made of them feels.

Units are grouped in builds: unit u ≥ 1 belongs to build (u − 1) // build. What a build has in common, such as the lot
of its capacitors, moves all its units and hurts no match.
"""

from dataclasses import dataclass

import numpy as np

from sim.measures.panel import BANDED

MATCHES = ("match_gain_db", "match_phase_deg", "match_system_gain_db", "match_system_phase_deg")
"""Measures that compare a unit with its build: on the bench, then with antenna, feedline and receiver."""


@dataclass(frozen=True)
class Matches:
    """Deviations of every unit from the mean of its build, at each band.

    Attributes
    ----------
    gain_db, phase_deg, system_gain_db, system_phase_deg : ndarray, shape (n_scenario, n_unit, n_band)
        NaN where the unit failed; 0 in unit 0, which belongs to no build. [dB], [degree]
    """

    gain_db: np.ndarray
    phase_deg: np.ndarray
    system_gain_db: np.ndarray
    system_phase_deg: np.ndarray

    def of(self, measure: str) -> np.ndarray:
        """Values of one of :data:`MATCHES`."""
        return {
            "match_gain_db": self.gain_db,
            "match_phase_deg": self.phase_deg,
            "match_system_gain_db": self.system_gain_db,
            "match_system_phase_deg": self.system_phase_deg,
        }[measure]


def build_matches(gathered, build: int) -> Matches:
    """Match of gain and phase, on the bench and of the whole chain, within builds.

    Parameters
    ----------
    gathered : sim.summary.collect.Gathered
    build : int
        Units made together.

    Notes
    -----
    The mean is over the units of the build that did not fail. A unit alone in the last build deviates by 0.
    """

    def deviations(measure: str, how) -> np.ndarray:
        values = np.moveaxis(gathered.banded[:, :, BANDED.index(measure)], 1, 0)
        return np.moveaxis(how(values, gathered.units, build), 0, 1)

    return Matches(
        gain_db=deviations("gain_db", build_deviations),
        phase_deg=deviations("phase_deg", phase_deviations),
        system_gain_db=deviations("system_gain_db", build_deviations),
        system_phase_deg=deviations("system_phase_deg", phase_deviations),
    )


def build_deviations(values: np.ndarray, units: np.ndarray, build: int) -> np.ndarray:
    """Deviation of each unit from the mean of its build.

    Parameters
    ----------
    values : ndarray, shape (n_unit, ...)
        NaN marks what is not to count.
    units : int ndarray, shape (n_unit,)
        Unit numbers.
    build : int
        Units made together.

    Returns
    -------
    deviations : ndarray, same shape
        0 in unit 0 (NaN where it failed); NaN stays NaN.
    """
    values = np.asarray(values, dtype=float)
    return values - _own_means(values, units, build)


def phase_deviations(phase_deg: np.ndarray, units: np.ndarray, build: int) -> np.ndarray:
    """The same for angles: a turn more or less makes no difference.

    Parameters
    ----------
    phase_deg : ndarray, shape (n_unit, ...)
        [degree]
    units : int ndarray, shape (n_unit,)
    build : int

    Notes
    -----
    Angles are brought within half a turn of the direction of the build's mean phasor, then averaged.
    """
    phase_deg = np.asarray(phase_deg, dtype=float)
    turns = np.deg2rad(phase_deg)
    middle = np.rad2deg(
        np.arctan2(_own_means(np.sin(turns), units, build), _own_means(np.cos(turns), units, build))
    )
    near = (phase_deg - middle + 180) % 360 - 180
    return build_deviations(near, units, build)


def _own_means(values: np.ndarray, units: np.ndarray, build: int) -> np.ndarray:
    """Mean of each unit's build, in each unit's row; unit 0 is a build of its own."""
    units = np.asarray(units)
    _, group = np.unique(np.where(units > 0, (units - 1) // build, -1), return_inverse=True)
    good = ~np.isnan(values)
    total = np.zeros((group.max(initial=-1) + 1, *values.shape[1:]))
    count = np.zeros_like(total)
    np.add.at(total, group, np.where(good, values, 0.0))
    np.add.at(count, group, good)
    return (total / np.maximum(count, 1))[group]
