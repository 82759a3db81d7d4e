"""Arrays put together from the units of a run, and what their errors do to the pattern.

Units that are made together make arrays: with N elements the first N units of a build are its first array, the next N
its second, and so on; what a build has in common, such as a lot of capacitors, so stays common to an array. Three kinds
of error come with them, and each can be looked at alone:

* amplifier and feedline: the unit's complex gain on the bench, and what its own feedline adds to that;
* antenna: a factor on the signal, uniform within the study's tolerance, as the current into a transimpedance stage
  follows the antenna's capacitance (an amplifier of high input resistance feels less of it);
* position: a step in phase that depends on where the wave comes from.

Draws depend on the seed, the array's number and the element alone, as those of units do. A gain that all elements share
does nothing. Not covered: errors of combiner and delay lines, and what moved elements do to the noise from the sky.
"""

from dataclasses import dataclass

import numpy as np

from sim.array.pattern import Elements, Look
from sim.sampling.draw import standard_draws

CAUSES = ("amplifier", "feedline", "antenna", "position")


@dataclass(frozen=True)
class Built:
    """Arrays made of units.

    Attributes
    ----------
    rows : int ndarray, shape (n_array, n_element)
        Place of each element's unit among the units of the run.
    whole : bool ndarray, shape (n_array,)
        All of its units simulated; arrays that are not whole count as bad ones.
    """

    rows: np.ndarray
    whole: np.ndarray


def built_arrays(units: np.ndarray, failed: np.ndarray, build: int, count: int) -> Built:
    """Arrays of `count` elements.

    Parameters
    ----------
    units : int ndarray, shape (n_unit,)
        Unit numbers, rising; 0 is in no array.
    failed : bool ndarray, shape (n_unit,)
    build : int
        Units made together.
    count : int
        Elements of an array.

    Notes
    -----
    What a build has left over when no further array can be made of it is not used.
    """
    units = np.asarray(units)
    place = (units - 1) % build
    per_build = build // count
    number = np.where((units > 0) & (place < per_build * count), (units - 1) // build * per_build + place // count, -1)
    found = [np.flatnonzero(number == one) for one in np.unique(number[number >= 0])]
    rows = np.array([rows for rows in found if len(rows) == count], dtype=int).reshape(-1, count)
    return Built(rows, ~np.any(np.asarray(failed)[rows], axis=1))


@dataclass(frozen=True)
class Errors:
    """Errors of the elements of many arrays at one frequency.

    Attributes
    ----------
    amplifier, feedline, antenna : complex ndarray, shape (n_array, n_element)
        Factors on the element's signal; their mean over an array means nothing.
    moved : ndarray, shape (n_array, n_element, 2)
        Steps east and north from the element's place. [m]
    """

    amplifier: np.ndarray
    feedline: np.ndarray
    antenna: np.ndarray
    moved: np.ndarray

    def only(self, *causes: str) -> "Errors":
        """The same arrays with none but these errors, of :data:`CAUSES`."""
        one = np.ones_like(self.amplifier)
        return Errors(
            self.amplifier if "amplifier" in causes else one,
            self.feedline if "feedline" in causes else one,
            self.antenna if "antenna" in causes else one,
            self.moved if "position" in causes else np.zeros_like(self.moved),
        )

    @property
    def factor(self) -> np.ndarray:
        """All but the positions together, shape (n_array, n_element)."""
        return self.amplifier * self.feedline * self.antenna


def element_errors(study, built: Built, bench: np.ndarray, system: np.ndarray) -> Errors:
    """Errors of every element at one frequency.

    Parameters
    ----------
    study : Study
        With ``array``.
    built : Built
    bench, system : complex ndarray, shape (n_unit,)
        Gain of each unit on the bench, and with antenna, feedline and receiver.
    """
    table, seed = study.array, study.run.seed
    n_array, count = built.rows.shape
    numbers = np.arange(1, n_array + 1)

    def drawn(name: str) -> np.ndarray:
        draws = [2 * standard_draws(seed, numbers, f"array.{name}.{element}") - 1 for element in range(count)]
        return np.array(draws).reshape(count, n_array).T

    moved = np.stack([drawn("east"), drawn("north")], axis=-1) * table.position_tolerance
    return Errors(
        amplifier=bench[built.rows],
        feedline=system[built.rows] / bench[built.rows],
        antenna=(1 + table.antenna_tolerance * drawn("antenna")).astype(complex),
        moved=moved,
    )


def responses(at: Elements, weights, errors: Errors, looks: list[Look]) -> np.ndarray:
    """Power response of many arrays with errors.

    Parameters
    ----------
    at : Elements
    weights : complex ndarray, shape (n_element,)
    errors : Errors
    looks : list of Look, length n_look

    Returns
    -------
    power : ndarray, shape (n_array, n_look)
        |F|².
    """
    built = weights * errors.factor
    found = np.empty((len(built), len(looks)))
    for place, look in enumerate(looks):
        v = at.phases(look.bearing, look.elevation)
        east, north = np.sin(look.bearing), np.cos(look.bearing)
        path = np.cos(look.elevation) * (errors.moved[..., 0] * east + errors.moved[..., 1] * north)
        g = at.ground.element(look.elevation, at.freq_hz)
        found[:, place] = np.abs(g * np.sum(built * v * np.exp(1j * at.wave_number * path), axis=1)) ** 2
    return found


def trimmed(errors: Errors, at_trim: Errors) -> Errors:
    """The errors that are left when the gain of every unit is set alike at one frequency by a trimmer.

    Parameters
    ----------
    errors : Errors
        At the frequency of interest.
    at_trim : Errors
        At the frequency where gains are set.
    """
    step = np.abs(at_trim.amplifier * at_trim.feedline)
    return Errors(errors.amplifier / step, errors.feedline, errors.antenna, errors.moved)


def rms_within(errors: Errors) -> tuple[float, float]:
    """Rms deviation of gain and phase from the array's own mean, antennas included, positions not.

    Returns
    -------
    gain_db, phase_deg : float
        NaN without arrays.
    """
    factor = errors.factor
    if not len(factor):
        return np.nan, np.nan
    middle = factor.mean(axis=1, keepdims=True)
    level, turn = 20 * np.log10(np.abs(factor / middle)), np.rad2deg(np.angle(factor / middle))
    # One mean an array is taken out, so N - 1 deviations are free.
    free = factor.shape[1] - 1
    deviations = [values - values.mean(axis=1, keepdims=True) for values in (level, turn)]
    return tuple(float(np.sqrt(np.sum(d**2) / (free * len(factor)))) for d in deviations)
