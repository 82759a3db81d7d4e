"""Which parts cause the spread of a measure: shares of its variance.

The virtual units are already drawn and simulated, so a least-squares plane through them costs no further run. Part i
with coefficient b_i takes the share b_i cov(x_i, y)/var(y); the shares of all parts add up to R², and what the plane
does not explain is "(rest)". For independent parts a share is (b_i σ_i)²/σ_y², the textbook first-order share; sampling
makes small ones scatter about zero by about R/√n, to either side.

Values that always move together, as the parameters of one die do, cannot be told apart by any regression on drawn
units: they share what they cause among them equally per standard deviation (least norm), and only the sum over them
is to be taken at its word.

A match is regressed on deviations from the mean of the own build, parts as well as measure: what a build has in common
drops out of both.

Not covered: bends and interactions. Where "(rest)" is large, the ranking is only a first order.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from sim.columns import TABLES
from sim.summary.collect import Response
from sim.summary.matching import MATCHES, build_deviations

if TYPE_CHECKING:
    from pandas import DataFrame

REST = "(rest)"
TEMPERATURE = "temperature_c"
SPARE_UNITS = 10
"""Good units that a measure needs beyond the number of parts before shares are given."""

LEAST_SPREAD = 1e-9
"""Standard deviation, in the measure's unit and relative to its size, below which there is nothing to explain."""

ALIKE = 0.05
"""Combinations of standardised parts whose standard deviation is below this are left out: what moves together to this
degree is not told apart. Independent parts stay well above it with more units than parts; own choice. [1]"""

COLUMNS = TABLES["drivers.csv"]


def drivers_table(
    scenario: int,
    measures: Sequence[Response],
    parts: Mapping[str, np.ndarray],
    units: np.ndarray,
    build: int,
) -> DataFrame:
    """The rows of drivers.csv of one scenario.

    Parameters
    ----------
    scenario : int
        Its number.
    measures : sequence of Response
        What is to be explained, see :func:`sim.summary.collect.responses`; NaN where a unit failed.
    parts : mapping of name to ndarray, shape (n_unit,)
        Drawn values. [SI; °C for ``temperature_c``]
    units : int ndarray, shape (n_unit,)
        Unit numbers; 0, the nominal one, must be among them and gives the value that per cents refer to.
    build : int
        Units made together.

    Returns
    -------
    table : DataFrame
        Columns :data:`COLUMNS`; for each measure and band the parts in their own order, then "(rest)" = 1 − sum.
        ``slope_per_percent`` is the measure's change for 1 % more of the part; for ``temperature_c`` for 1 K more;
        for a part whose nominal value is 0, such as an offset, for one standard deviation more; NaN for "(rest)".
        No rows for a measure that does not vary or has fewer than parts + 10 good units; parts that do not vary have
        no rows.
    """
    import pandas as pd

    units = np.asarray(units)
    names, deviations = _varying(parts, units)
    found: dict[int, list[tuple]] = {}
    for of_match in (False, True):
        chosen = [i for i, response in enumerate(measures) if (response.measure in MATCHES) == of_match]
        for places, good in _together(measures, chosen, units):
            y = np.array([measures[i].values[good] for i in places]).T
            x = deviations[good]
            if of_match:
                # Failed units are out of the measure's mean over the build, so they are out of the parts' mean too.
                x, y = build_deviations(x, units[good], build), build_deviations(y, units[good], build)
            shares, slopes = _shares(x, y)
            for column, place in enumerate(places):
                found[place] = _rows(scenario, measures[place], names, shares[:, column], slopes[:, column])
    rows = [row for place in sorted(found) for row in found[place]]
    return pd.DataFrame(rows, columns=list(COLUMNS)).astype(
        {"scenario": int, "frequency_hz": float, "share": float, "slope_per_percent": float}
    )


def _varying(parts: Mapping[str, np.ndarray], units: np.ndarray) -> tuple[tuple[str, ...], np.ndarray]:
    """Names of the parts that vary, and deviations (n_unit, n_part) in per cent, kelvin or standard deviations."""
    zero = int(np.flatnonzero(units == 0)[0])
    names, columns = [], []
    for name, values in parts.items():
        values = np.asarray(values, dtype=float)
        spread = float(np.std(values[units > 0])) if np.any(units > 0) else 0.0
        if not spread > 1e-12 * np.max(np.abs(values)):
            continue
        deviation = values - values[zero]
        if name != TEMPERATURE:
            deviation = deviation / spread if values[zero] == 0 else 100 * deviation / values[zero]
        names.append(name)
        columns.append(deviation)
    return tuple(names), np.array(columns).T.reshape(len(units), len(names))


def _together(measures, chosen, units) -> list[tuple[list[int], np.ndarray]]:
    """Measures that vary, put together where the same units are good."""
    groups: dict[bytes, tuple[list[int], np.ndarray]] = {}
    for i in chosen:
        values = measures[i].values
        good = np.isfinite(values) & (units > 0)
        if good.any() and np.std(values[good]) > LEAST_SPREAD * max(1.0, float(np.max(np.abs(values[good])))):
            groups.setdefault(good.tobytes(), ([], good))[0].append(i)
    return list(groups.values())


def _shares(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shares and slopes (n_part, n_measure) of a plane through the units; none where units are too few."""
    n, parts = x.shape
    none = np.full((parts, y.shape[1]), math.nan)
    if parts == 0 or n < parts + SPARE_UNITS:
        return none, none
    x, y = x - x.mean(axis=0), y - y.mean(axis=0)
    x_sd, y_sd = x.std(axis=0), y.std(axis=0)
    # A part may be the same throughout a build: then it has no deviation within it.
    scale = np.where(x_sd > 1e-9, x_sd, np.inf)
    standard, target = x / scale, y / y_sd
    correlations = standard.T @ target / n
    # Least squares by the eigenvectors of the parts' correlations: the one way that leaves out by an absolute measure.
    variances, combinations = np.linalg.eigh(standard.T @ standard / n)
    kept = combinations[:, variances > ALIKE**2]
    coefficients = kept @ ((kept.T @ correlations) / variances[variances > ALIKE**2][:, None])
    return coefficients * correlations, coefficients * y_sd / scale[:, None]


def _rows(scenario: int, response: Response, names, shares, slopes) -> list[tuple]:
    if not names or np.isnan(shares).all():
        return []
    head = (scenario, response.measure, response.frequency_hz)
    rows = [(*head, name, float(s), float(b)) for name, s, b in zip(names, shares, slopes, strict=True)]
    return [*rows, (*head, REST, float(1 - np.sum(shares)), math.nan)]
