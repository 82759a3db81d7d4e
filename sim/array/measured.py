"""All measures of a study's array: one scenario, every band and direction."""

from dataclasses import dataclass

import numpy as np

from sim.antenna.earth_line import Soil
from sim.array.built import CAUSES, Built, Errors, built_arrays, element_errors, responses, rms_within, trimmed
from sim.array.pattern import (
    HEMISPHERE_DB,
    Elements,
    Ground,
    Look,
    best_weights,
    directivity,
    elements,
    error_sensitivity,
    noise_penalty,
    response,
)
from sim.array.tolerance import allowed_rms

REAR_AZIMUTHS = np.deg2rad(np.arange(-90, 91, 10))
REAR_ELEVATIONS = np.deg2rad(np.arange(5, 61, 5))
"""The rear sector: half of the horizon behind the array, 5 to 60 degrees above it; own choice. [rad]"""
PATTERN_AZIMUTHS = np.arange(-180, 181, 5)
"""Away from the bearing, where the pattern is drawn. [degree]"""
DEEPEST_DB = 100.0
"""Below this a response is no more than rounding. [dB]"""


@dataclass(frozen=True)
class UnitGains:
    """What an array needs to know of the units of a scenario.

    Attributes
    ----------
    units : int ndarray, shape (n_unit,)
    bench, system : complex ndarray, shape (n_unit, n_band)
        Gain; NaN where the unit failed.
    noise_margin : ndarray, shape (n_unit, n_band)
        Band noise over the unit's own, as a ratio of powers; NaN where there is none.
    """

    units: np.ndarray
    bench: np.ndarray
    system: np.ndarray
    noise_margin: np.ndarray


@dataclass(frozen=True)
class Pattern:
    """Response over the horizon at the study's elevation, below the wanted direction of the same array.

    Attributes
    ----------
    nominal_db : ndarray, shape (n_azimuth,)
    spread_db : ndarray, shape (3, n_azimuth)
        That 5, 50 and 95 % of arrays lie below; NaN without arrays. [dB]
    """

    nominal_db: np.ndarray
    spread_db: np.ndarray


@dataclass(frozen=True)
class Found:
    """One direction at one band.

    Attributes
    ----------
    frequency_hz, bearing_deg : float
    values : dict of str to float
        By names of :data:`sim.columns.ARRAY_MEASURES`; what does not exist is left out.
    pattern : Pattern
    keeps : bool ndarray, shape (n_array,)
        Arrays whose front to back is as the study asks.
    """

    frequency_hz: float
    bearing_deg: float
    values: dict[str, float]
    pattern: Pattern
    keeps: np.ndarray


def array_found(study, gains: UnitGains) -> list[Found]:
    """Everything that is said of the array of a study.

    Parameters
    ----------
    study : Study
        With ``array``.
    gains : UnitGains

    Returns
    -------
    found : list of Found
        By band, then direction.
    """
    table = study.array
    built = built_arrays(gains.units, np.isnan(gains.bench).any(axis=1), study.run.build, len(table.positions))
    good = Built(built.rows[built.whole], built.whole[built.whole])
    bands = study.bands.frequencies
    errors = [element_errors(study, good, gains.bench[:, b], gains.system[:, b]) for b in range(len(bands))]
    found = []
    for b, freq_hz in enumerate(bands):
        at = elements(table.positions, freq_hz, ground_of(table))
        for direction in table.direction:
            weights = weights_at(direction, freq_hz)
            look = Look(np.deg2rad(direction.bearing), np.deg2rad(table.elevation))
            values = _nominal(at, weights, look, table.front_to_back)
            values |= _noise(at, weights, gains.units, gains.noise_margin[:, b], good)
            more, pattern, keeps = _spread(at, weights, look, errors[b], errors[len(bands) // 2], table.front_to_back)
            kept = np.zeros(len(built.whole), dtype=bool)
            kept[built.whole] = keeps
            values |= more | {"arrays": float(len(kept))}
            if len(kept):
                values["front_to_back_yield"] = float(kept.mean())
            found.append(Found(freq_hz, direction.bearing, values, pattern, kept))
    return found


def ground_of(table) -> Ground:
    """What a study's array stands on."""
    soil = None if table.conductivity is None else Soil("given", table.permittivity, table.conductivity, "", "")
    return Ground(soil)


def weights_at(direction, freq_hz: float) -> np.ndarray:
    """Complex weights of a direction of a study, shape (n_element,): a delay turns them back in phase."""
    delays = np.zeros(len(direction.weights)) if direction.delays is None else np.asarray(direction.delays)
    return np.asarray(direction.weights) * np.exp(-2j * np.pi * freq_hz * delays)


def _db(power) -> np.ndarray:
    return 10 * np.log10(np.maximum(power, 10 ** (-DEEPEST_DB / 10)))


def _rear(look: Look) -> tuple[list[Look], np.ndarray]:
    """Directions of the rear sector, and the solid angle of each as a share of it."""
    looks = [Look(look.behind.bearing + azimuth, e) for e in REAR_ELEVATIONS for azimuth in REAR_AZIMUTHS]
    share = np.array([np.cos(one.elevation) for one in looks])
    return looks, share / share.sum()


def _nominal(at: Elements, weights: np.ndarray, look: Look, wanted_db: float) -> dict[str, float]:
    looks, share = _rear(look)
    forward = np.abs(response(at, weights, look.bearing, look.elevation)) ** 2
    bearings, elevations = (np.array([getattr(one, key) for one in looks]) for key in ("bearing", "elevation"))
    rear = np.abs(response(at, weights, bearings, elevations)) ** 2 / forward
    back = np.abs(response(at, weights, look.behind.bearing, look.elevation)) ** 2 / forward
    sensitivity = error_sensitivity(at, weights, look)
    whole = float(_db(directivity(at, weights, look)))
    gain_db, phase_deg = allowed_rms(sensitivity, wanted_db)
    return {
        "directivity_db": whole,
        "hemisphere_directivity_db": whole - HEMISPHERE_DB,
        "best_directivity_db": float(_db(directivity(at, best_weights(at, look, sensitivity), look))),
        "front_to_back_db": float(-_db(back)),
        "rear_sector_db": float(-_db(rear.max())),
        "rear_average_db": float(-_db(rear @ share)),
        "noise_penalty_db": float(_db(noise_penalty(at, weights))),
        "error_sensitivity_db": float(_db(sensitivity)),
        "allowed_gain_db": float(gain_db),
        "allowed_phase_deg": float(phase_deg),
    }


def _noise(at: Elements, weights, units, margin: np.ndarray, good: Built) -> dict[str, float]:
    """Band noise over the elements' own at the summing point: own noise adds by |w|², that of the sky by wᴴC w."""
    penalty = float(noise_penalty(at, weights))
    found = {}
    nominal = margin[units == 0]
    if nominal.size and np.isfinite(nominal[0]):
        found["array_noise_margin_db"] = float(_db(nominal[0] / penalty))
    own = 1 / margin[good.rows]
    if own.size and np.all(np.isfinite(own)):
        share = np.abs(weights) ** 2 / np.sum(np.abs(weights) ** 2)
        found["array_noise_margin_p05_db"] = float(np.quantile(_db(1 / (own @ share) / penalty), 0.05))
    return found


def _spread(at: Elements, weights, look: Look, errors: Errors, middle: Errors, wanted_db: float):
    """Measures over the arrays, the pattern with its spread, and which arrays keep what is wanted."""
    azimuths = look.bearing + np.deg2rad(PATTERN_AZIMUTHS)
    around = [Look(azimuth, look.elevation) for azimuth in azimuths]
    forward = np.abs(response(at, weights, look.bearing, look.elevation)) ** 2
    nominal = np.abs(response(at, weights, azimuths, np.full(azimuths.shape, look.elevation))) ** 2
    nominal_db = _db(nominal / forward)
    if not len(errors.amplifier):
        return {}, Pattern(nominal_db, np.full((3, len(azimuths)), np.nan)), np.zeros(0, dtype=bool)

    def front_to_back(some: Errors) -> np.ndarray:
        front, back = responses(at, weights, some, [look, look.behind]).T
        return -_db(back / front)

    looks, _ = _rear(look)
    front = responses(at, weights, errors, [look])
    sector = responses(at, weights, errors, looks) / front
    drawn = responses(at, weights, errors, around) / front
    whole = _db(directivity(at, weights * errors.factor, look))
    depth, rear = front_to_back(errors), -_db(sector.max(axis=1))
    gain_db, phase_deg = rms_within(errors)
    values = {
        "spread_gain_db": gain_db,
        "spread_phase_deg": phase_deg,
        "front_to_back_p50_db": float(np.quantile(depth, 0.5)),
        "front_to_back_p05_db": float(np.quantile(depth, 0.05)),
        "rear_sector_p50_db": float(np.quantile(rear, 0.5)),
        "rear_sector_p05_db": float(np.quantile(rear, 0.05)),
        "directivity_p50_db": float(np.quantile(whole, 0.5)),
        "directivity_p05_db": float(np.quantile(whole, 0.05)),
        "front_to_back_p05_trimmed_db": float(np.quantile(front_to_back(trimmed(errors, middle)), 0.05)),
    }
    for cause in CAUSES:
        values[f"front_to_back_p05_{cause}_db"] = float(np.quantile(front_to_back(errors.only(cause)), 0.05))
    spread = np.quantile(_db(drawn), (0.05, 0.5, 0.95), axis=0)
    return values, Pattern(nominal_db, spread), depth >= wanted_db
