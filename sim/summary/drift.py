"""What temperature does to a build: drift that all its boxes share, drift apart, and one box in the sun.

Theory of operation
-------------------
A study that varies ``run.temperature`` over single values computes every unit with the same draws at each of them, so
the difference of one unit between two temperatures is its own drift and no luck of the draw. Of these drifts the mean
is what all boxes do together: an array made of them does not feel it. What is left of a unit's drift beside the mean of
its own build is how boxes at one temperature grow apart: that is the spread of coefficients within a lot, and from part
to part. A box in the sun is warmer than its sisters: it moves by its whole drift over that difference, common part
included, while they stay.

The coefficients themselves are those of :mod:`sim.sampling.draw`: limits of data sheets and common practice, no data of
a part. Feedlines and antenna keep their temperature here; only the line's copper in the supply follows.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sim.columns import MEASURES, TABLES
from sim.quantity import Limit
from sim.summary.collect import Gathered, Response, nominal, quantiles
from sim.summary.matching import build_deviations, phase_deviations

if TYPE_CHECKING:
    from pandas import DataFrame

KEY = "run.temperature"
"""What a sweep varies."""
REFERENCE_C = 25.0
"""Changes are told from the temperature of the sweep that comes nearest to this. [°C]"""
DRIFTING = (
    "gain_db",
    "phase_deg",
    "system_gain_db",
    "system_phase_deg",
    "output_noise_nv",
    "noise_margin_db",
    "stability_margin",
    "line_margin",
    "current_ma",
    "supply_v",
)
"""Measures that are followed over temperature."""
PHASES = ("phase_deg", "system_phase_deg")
_MATCH = {
    "gain_db": "match_gain_db",
    "phase_deg": "match_phase_deg",
    "system_gain_db": "match_system_gain_db",
    "system_phase_deg": "match_system_phase_deg",
}


@dataclass(frozen=True)
class Sweep:
    """Scenarios that differ in temperature alone, coldest first.

    Attributes
    ----------
    scenario : int
        Number of the coldest; it stands for the sweep in tables.
    places : tuple of int
        Positions of its scenarios in the list of all.
    celsius : ndarray, shape (n_temperature,)
        Rising. [°C]
    """

    scenario: int
    places: tuple[int, ...]
    celsius: np.ndarray


def sweeps_of(every) -> tuple[Sweep, ...]:
    """The temperature sweeps of a study; none where temperature is not varied over two single values or more.

    Parameters
    ----------
    every : sequence of Scenario
    """
    groups: dict[tuple, list[tuple[float, int]]] = {}
    for place, scenario in enumerate(every):
        low, high = scenario.study.run.temperature
        varied = dict(scenario.values)
        if KEY not in varied or low != high:
            continue
        others = tuple((key, value) for key, value in scenario.values if key != KEY)
        groups.setdefault(others, []).append((low, place))
    found = []
    for pairs in groups.values():
        pairs.sort()
        celsius = np.array([temperature for temperature, _ in pairs])
        # One temperature may be written in two ways; it is no sweep then, and its drift would be a division by zero.
        if len(pairs) > 1 and np.all(np.diff(celsius) > 0):
            places = tuple(place for _, place in pairs)
            found.append(Sweep(every[places[0]].number, places, celsius))
    return tuple(found)


def followed(sweep: Sweep, responses: Sequence[Sequence[Response]]) -> list[tuple[Response, np.ndarray]]:
    """Measures of a sweep as arrays over temperature and unit, in the order of :data:`DRIFTING`.

    Parameters
    ----------
    sweep : Sweep
    responses : sequence of sequence of Response
        Of all scenarios, see :func:`sim.summary.collect.responses`.

    Returns
    -------
    found : list of (Response, ndarray of shape (n_temperature, n_unit))
        The coldest scenario's response, and the values; phases run on over temperature without turns.
    """
    found = []
    for k, first in enumerate(responses[sweep.places[0]]):
        if first.measure not in DRIFTING:
            continue
        values = np.array([responses[place][k].values for place in sweep.places])
        if not np.isfinite(values).any():
            continue
        if first.measure in PHASES:
            values = _unwrapped(values)
        found.append((first, values))
    found.sort(key=lambda pair: DRIFTING.index(pair[0].measure))
    return found


def _unwrapped(phase_deg: np.ndarray) -> np.ndarray:
    """Phases without jumps of a turn along temperature; NaN breaks nothing but its own unit."""
    steps = np.diff(phase_deg, axis=0)
    steps = (steps + 180) % 360 - 180
    return np.concatenate([phase_deg[:1], phase_deg[:1] + np.cumsum(steps, axis=0)])


# ---------------------------------------------------------------------- tables


def temperature_table(sweeps: Sequence[Sweep], every, gathered: Gathered, responses) -> DataFrame:
    """The rows of temperature.csv: a row for each scenario of a sweep, measure and band.

    Parameters
    ----------
    sweeps : sequence of Sweep
    every : sequence of Scenario
    gathered : Gathered
    responses : sequence of sequence of Response
        Of all scenarios.

    Returns
    -------
    table : DataFrame
        Value of the nominal unit and quantiles of the units; `change` is the mean over the units of each one's own
        change from the temperature of the sweep nearest to 25 °C, with quantiles beside it.
    """
    import pandas as pd

    rows, drawn = [], gathered.units > 0
    for sweep in sweeps:
        base = int(np.abs(sweep.celsius - REFERENCE_C).argmin())
        for response, values in followed(sweep, responses):
            change = (values - values[base])[:, drawn]
            spread = quantiles(values[:, drawn], (0.05, 0.5, 0.95), axis=1)
            own = quantiles(change, (0.05, 0.95), axis=1)
            for k, place in enumerate(sweep.places):
                rows.append(
                    {
                        "scenario": every[place].number,
                        "sweep": sweep.scenario,
                        "temperature_c": sweep.celsius[k],
                        "reference_c": sweep.celsius[base],
                        **_head(response),
                        "nominal": float(nominal(values[k], gathered.units, axis=0)),
                        "p05": spread[0, k],
                        "p50": spread[1, k],
                        "p95": spread[2, k],
                        "change": _mean(change[k]),
                        "change_p05": own[0, k],
                        "change_p95": own[1, k],
                    }
                )
    return pd.DataFrame(rows, columns=list(TABLES["temperature.csv"]))


def drift_table(
    sweeps: Sequence[Sweep], gathered: Gathered, responses, build: int, sun_k: float, limits: Mapping[str, Limit]
) -> DataFrame:
    """The rows of drift.csv: a row for each sweep, measure and band.

    Parameters
    ----------
    sweeps : sequence of Sweep
    gathered : Gathered
    responses : sequence of sequence of Response
        Of all scenarios.
    build : int
        Units made together.
    sun_k : float
        How much warmer the sun makes one box than its sisters. [K]
    limits : mapping of measure to Limit
        The study's; those on a match are held against the step of a box in the sun.

    Returns
    -------
    table : DataFrame
        See :func:`drift_row`.
    """
    import pandas as pd

    rows = []
    for sweep in sweeps:
        for response, values in followed(sweep, responses):
            match = _MATCH.get(response.measure)
            limit = limits.get(match) if match else None
            row = drift_row(sweep.celsius, values, gathered.units, build, sun_k, limit, response.measure in PHASES)
            rows.append({"scenario": sweep.scenario, **_head(response), **row, "match": match if limit else ""})
    table = pd.DataFrame(rows, columns=list(TABLES["drift.csv"]))
    return table.astype({"passed": "Int64", "units": "Int64", "sun_interpolated": "Int64"})


def drift_row(
    celsius: np.ndarray,
    values: np.ndarray,
    units: np.ndarray,
    build: int,
    sun_k: float,
    limit: Limit | None = None,
    angle: bool = False,
) -> dict:
    """What temperature does to one measure.

    Parameters
    ----------
    celsius : ndarray, shape (n_temperature,)
        Rising. [°C]
    values : ndarray, shape (n_temperature, n_unit)
        Same draws at every temperature; NaN where a unit failed.
    units : int ndarray, shape (n_unit,)
    build : int
        Units made together.
    sun_k : float
        [K]
    limit : Limit, optional
        On the match of a unit with its build.
    angle : bool
        Whether the values are angles. [degree]

    Returns
    -------
    row : dict
        low_c, high_c; common_range: largest less smallest mean over the units that failed nowhere; common_per_kelvin:
        least-squares slope of that mean; differential_sd_per_kelvin: standard deviation of the units' own slopes about
        the means of their builds (n less the number of builds); builds_sd_per_kelvin: that of the builds' means.
        sun_step with sun_p025 and sun_p975: mean and quantiles of what `sun_k` more do to a unit that stands at
        sun_from_c, the temperature of the sweep at which that is most; sun_interpolated is 1 where the warmer
        temperature lies between two of the sweep. passed: units that keep the limit as the one box in the sun.
    """
    drawn = units > 0
    whole = drawn & np.isfinite(values).all(axis=0)
    row = {"low_c": celsius[0], "high_c": celsius[-1], "sun_k": sun_k, "units": int(drawn.sum())}
    if not whole.any():
        return row
    own, numbers = values[:, whole], units[whole]
    means = own.mean(axis=1)
    lean = (celsius - celsius.mean()) / np.sum((celsius - celsius.mean()) ** 2)
    slopes = lean @ own
    builds = (numbers - 1) // build
    apart, count = build_deviations(slopes, numbers, build), len(np.unique(builds))
    of_builds = np.array([slopes[builds == one].mean() for one in np.unique(builds)])
    row |= {
        "common_range": float(np.ptp(means)),
        "common_per_kelvin": float(lean @ means),
        "differential_sd_per_kelvin": _root(np.sum(apart**2), len(slopes) - count),
        "builds_sd_per_kelvin": float(np.std(of_builds, ddof=1)) if count > 1 else math.nan,
    }
    return row | _in_the_sun(celsius, own, numbers, build, sun_k, limit, angle)


def _in_the_sun(celsius, own, numbers, build: int, sun_k: float, limit: Limit | None, angle: bool) -> dict:
    """The part of :func:`drift_row` about one box that is warmer than its sisters."""
    steps = [
        (_between(celsius, own, temperature + sun_k) - own[k], k)
        for k, temperature in enumerate(celsius)
        if sun_k > 0 and temperature + sun_k <= celsius[-1] + 1e-9
    ]
    if not steps:
        return {}
    step, k = max(steps, key=lambda pair: float(np.abs(pair[0]).mean()))
    low, high = quantiles(step, (0.025, 0.975), axis=0)
    row = {
        "sun_from_c": celsius[k],
        "sun_interpolated": int(not np.isclose(celsius, celsius[k] + sun_k, rtol=0, atol=1e-9).any()),
        "sun_step": float(step.mean()),
        "sun_p025": float(low),
        "sun_p975": float(high),
    }
    if limit is None:
        return row
    # The box itself is one of those whose mean it is held against.
    share = 1 / _own_count(numbers, build)
    deviations = (phase_deviations if angle else build_deviations)(own[k], numbers, build) + step * (1 - share)
    kept = limit.holds(deviations)
    return row | {"limit_low": limit.low, "limit_high": limit.high, "passed": int(kept.sum())}


def _between(celsius: np.ndarray, values: np.ndarray, temperature: float) -> np.ndarray:
    """Values at a temperature, straight between the two of the sweep beside it."""
    temperature = min(temperature, celsius[-1])
    above = min(int(np.searchsorted(celsius, temperature)), len(celsius) - 1)
    below = max(above - 1, 0)
    gap = celsius[above] - celsius[below]
    part = 1.0 if gap == 0 else (temperature - celsius[below]) / gap
    return values[below] + part * (values[above] - values[below])


def _own_count(numbers: np.ndarray, build: int) -> np.ndarray:
    """How many units of its build a unit has, itself among them."""
    _, place, count = np.unique((numbers - 1) // build, return_inverse=True, return_counts=True)
    return count[place]


def _root(square: float, freedom: int) -> float:
    return math.sqrt(square / freedom) if freedom > 0 else math.nan


def _mean(values: np.ndarray) -> float:
    good = values[np.isfinite(values)]
    return float(good.mean()) if good.size else math.nan


def _head(response: Response) -> dict:
    return {
        "measure": response.measure,
        "unit_of_measure": MEASURES[response.measure].unit,
        "frequency_hz": response.frequency_hz,
    }
