"""Chunks, as the simulate step writes them, of units whose measures follow known laws."""

import numpy as np

from sim.measures.panel import BANDED, CURVES, SINGLE
from sim.summary.collect import Gathered

BANDS = (1.83e6, 3.53e6, 7.05e6)
CURVE_HZ = np.geomspace(1e5, 3e7, 5)


def arrays(units, scenarios=(0, 1), failed=()):
    """Arrays of a chunk: every number tells its scenario, unit, measure and band.

    The gain is 10 + 0.01 times the unit's number; all others are the unit's number plus 1000 times the measure's.
    """
    units = np.asarray(units)
    shape = (len(scenarios), len(units))
    s = np.asarray(scenarios, dtype=float)[:, None, None, None] * 0.001
    u = units.astype(float)[None, :, None, None]
    banded = np.broadcast_to(
        s + u + 1000 * np.arange(len(BANDED))[:, None] + 0.1 * np.arange(3), (*shape, len(BANDED), 3)
    ).copy()
    banded[:, :, BANDED.index("gain_db")] = (10 + 0.01 * u + s)[..., 0, :]
    single = np.broadcast_to((s + u)[..., 0] + 1000 * np.arange(len(SINGLE)), (*shape, len(SINGLE))).copy()
    single[:, :, SINGLE.index("stable")] = 1
    curves = np.broadcast_to(s + u + np.arange(5.0), (*shape, len(CURVES), 5)).copy()
    misfit = np.full(shape, 1e-9)
    for scenario, unit in failed:
        where = (list(scenarios).index(scenario), units == unit)
        for array in (banded, single, curves, misfit):
            array[where] = np.nan
    nominal = 0 in units
    return {
        "scenarios": np.asarray(scenarios),
        "units": units,
        "banded": banded,
        "single": single,
        "curves": curves,
        "misfit": misfit,
        "seconds": np.array([1.0, 1.5]),
        "cautions": np.array([], dtype=str),
        "contributor_scenarios": np.array(list(scenarios) if nominal else [], dtype=int),
        "contributor_names": np.array(["Rf"] * len(scenarios) if nominal else [], dtype=str),
        "contributor_psd": np.ones((len(scenarios), 5)) if nominal else np.array([]),
    }


def gathered(units, banded=None, single=None, scenarios=(0,), failed=()) -> Gathered:
    """Units in memory; ``banded`` and ``single`` map a measure to values (n_unit,) that replace the invented ones."""
    made = arrays(units, scenarios, failed)
    for measure, values in (banded or {}).items():
        made["banded"][:, :, BANDED.index(measure)] = np.asarray(values, dtype=float)[None, :, None]
    for measure, values in (single or {}).items():
        made["single"][:, :, SINGLE.index(measure)] = np.asarray(values, dtype=float)[None, :]
    made["misfit"] = np.where(np.isnan(made["single"][:, :, 0]), np.nan, made["misfit"])
    kept = ("scenarios", "units", "banded", "single", "curves", "misfit")
    return Gathered(**{name: made[name] for name in kept}, contributors=(), seconds_inside=0.0, seconds_whole=0.0)
