"""Products of strong carriers in the bands, over all units: the rows of products.csv."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from sim.columns import TABLES
from sim.measures.panel import BANDED
from sim.measures.stations import mix_words
from sim.measures.strong import Near
from sim.quantity import from_db
from sim.summary.collect import Gathered, nominal, quantiles
from sim.summary.strong import hears_bands, noise_dbm

if TYPE_CHECKING:
    from pandas import DataFrame

FALLS, FALLEN = "falls there", "had it fallen on the band"
MODELLED, OPTIMISTIC, NOT_MODELLED = "estimate", "estimate, optimistic below a few megahertz", "not modelled"
TOO_STRONG = "no number: clips or slews"
WORDS_OF_ORDER = {2: "second order", 3: "third order"}


def product_rows(gathered: Gathered, scenarios: Sequence[int]) -> DataFrame:
    """The rows of products.csv.

    Parameters
    ----------
    gathered : Gathered
        With strong carriers.
    scenarios : sequence of int
        Their numbers.

    Returns
    -------
    table : DataFrame
        For each scenario and band the products that fall there, then those of the two strongest carriers as if they
        fell on the band itself. Levels at the receiver of the nominal unit, that which one unit in twenty exceeds, and
        the largest with its unit; margins below the noise of each unit. NaN where there is no number: `model` says why.
        `units` counts those that have one.
    """
    import pandas as pd

    rows = []
    for index, number in enumerate(scenarios):
        near = gathered.strong.nears[index]
        if near is not None and near.stations:
            rows += [{"scenario": int(number), **row} for row in _rows(gathered, index, near)]
    table = pd.DataFrame(rows, columns=list(TABLES["products.csv"]))
    return table.astype({"order": "Int64", "unit": "Int64", "units": "Int64"})


def _rows(gathered: Gathered, index: int, near: Near):
    strong, banded = gathered.strong, gathered.banded[index]
    noise = noise_dbm(banded, near)
    of_what = "band" if hears_bands(banded) else "own"
    gain_db = banded[:, BANDED.index("system_gain_db")]
    places = {mix: place for place, mix in enumerate(near.mixes)}
    for band, hertz in enumerate(near.bands_hz):
        rest = (noise[:, band], gain_db[:, band], near)
        common = {"band_hz": float(hertz), "noise": of_what}
        for mix in near.products[band]:
            names = {"product": mix_words(mix, near.stations), "order": mix.order, "frequency_hz": mix.frequency_hz}
            values = strong.product_dbm[index, :, places[mix]]
            yield {**common, **names, "where": FALLS, **_levels(gathered, index, values, mix.order, *rest)}
        for place, order in enumerate((2, 3)):
            words = f"{WORDS_OF_ORDER[order]}, {_strongest(near)}"
            names = {"product": words, "order": order, "frequency_hz": float(hertz)}
            values = strong.fallen_dbm[index, :, place, band]
            yield {**common, **names, "where": FALLEN, **_levels(gathered, index, values, order, *rest)}


def _strongest(near: Near) -> str:
    """The two strongest carriers at the unit's output, "621 and 1215 kHz"."""
    return " and ".join(f"{near.stations[place].freq_hz / 1e3:.7g}" for place in near.pair) + " kHz"


def _levels(gathered: Gathered, index: int, level: np.ndarray, order: int, noise, gain_db, near: Near) -> dict:
    """Levels and margins of one product over the units."""
    drawn = gathered.units > 0
    counted = level[drawn] if drawn.any() else level
    units = gathered.units[drawn] if drawn.any() else gathered.units
    margin = noise - level
    own = margin[drawn] if drawn.any() else margin
    some = bool(np.isfinite(counted).any())
    worst = int(np.nanargmin(own)) if some else -1
    [high], [low] = quantiles(counted, (0.95,), axis=0), quantiles(own, (0.05,), axis=0)
    emf = float(from_db(nominal(level - gain_db, gathered.units, axis=0))) * np.sqrt(1e-3 * near.receiver)
    return {
        "model": _model(gathered, index, near, order, level),
        "level_nominal_dbm": float(nominal(level, gathered.units, axis=0)),
        "level_p95_dbm": float(high),
        "level_max_dbm": float(np.nanmax(counted)) if some else np.nan,
        "unit": int(units[worst]) if some else -1,
        "emf_nominal_uv": emf * 1e6,
        "noise_nominal_dbm": float(nominal(noise, gathered.units, axis=0)),
        "margin_nominal_db": float(nominal(margin, gathered.units, axis=0)),
        "margin_p05_db": float(low),
        "margin_min_db": float(own[worst]) if some else np.nan,
        "units": int(np.isfinite(counted).sum()),
    }


def _model(gathered: Gathered, index: int, near: Near, order: int, level: np.ndarray) -> str:
    if order == 2 and not near.second_order or np.isnan(gathered.strong.reserve_db[index]).all():
        return NOT_MODELLED
    if not np.isfinite(level[~gathered.failed[index]]).any():
        return TOO_STRONG
    return OPTIMISTIC if order == 3 and not near.third_order else MODELLED
