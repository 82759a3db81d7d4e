"""How many units keep the limits, how sure that is, and how each measure is spread.

A unit that could not be simulated keeps no limit. Unit 0, the nominal one, is not drawn and counts nowhere but in the
column ``nominal``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from sim.columns import MEASURES, TABLES
from sim.errors import BandfloorError
from sim.measures.panel import BANDED, SINGLE
from sim.quantity import Limit
from sim.summary.collect import QUANTILES, Gathered, Response, extremes, more_names, nominal, quantiles, responses
from sim.summary.matching import MATCHES, Matches
from sim.summary.strong import HEADROOM

if TYPE_CHECKING:
    from pandas import DataFrame

ALL_LIMITS = "(all limits)"
"""Stands for a measure in the row that counts units within every limit at every band."""

NEEDED_YIELD = 0.9
"""Share of units within all limits from which a design passes: who builds nine then orders ten. Common practice, no
source; the yield itself always stands beside it. [1]"""

RESERVE = "supply_reserve_v"
RESERVES = (RESERVE, "input_reserve_v", "output_reserve_v")
"""Measures that no unit may have below zero, asked or not."""

COLUMNS = TABLES["summary.csv"]


def limits_kept(limits: Mapping[str, Limit], gathered: Gathered) -> dict[str, Limit]:
    """The study's limits, and that no unit may clip, lack supply or rest outside a range, where that is at stake.

    Parameters
    ----------
    limits : mapping of measure to Limit
        The study's own; those on :data:`RESERVES` and on the headroom stand as they are.
    gathered : Gathered
    """
    own = {
        name: Limit(0.0, math.inf)
        for name in RESERVES
        if name not in limits and np.any(gathered.single[:, :, SINGLE.index(name)] < 0)
    }
    strong = gathered.strong
    if strong is not None and HEADROOM in strong.names and HEADROOM not in limits:
        own[HEADROOM] = Limit(0.0, math.inf)
    return {**limits, **own}


def starved_told(gathered: Gathered, names: Mapping[int, str], needs: Mapping[int, str]) -> list[str]:
    """A sentence for each scenario in which units get less supply than they need.

    Parameters
    ----------
    gathered : Gathered
    names : mapping of scenario number to its name
    needs : mapping of scenario number to str
        What a unit needs there.
    """
    told = []
    for place, number in enumerate(gathered.scenarios):
        reserve = gathered.single[place, :, SINGLE.index(RESERVE)]
        short = reserve < 0
        if not short.any():
            continue
        where = f" with {names[number]}" if len(names) > 1 else ""
        count, drawn = int((short & (gathered.units > 0)).sum()), int((gathered.units > 0).sum())
        who = f"{count} of {drawn} units get" if count else "The nominal unit gets"
        told.append(
            f"{who} less supply than needed{where} and count{'' if count else 's'} as outside the limits; the worst"
            f" lacks {-np.nanmin(reserve):.2f} V. Needed: {needs[number]}."
        )
    return told


def clopper_pearson(passed: int, n: int, level: float = 0.95) -> tuple[float, float]:
    """Exact two-sided confidence interval of a share.

    Parameters
    ----------
    passed : int
        0 to n.
    n : int
        0 says nothing: the interval is 0 to 1.
    level : float
        Of confidence. [1]

    Returns
    -------
    low, high : float

    Raises
    ------
    ValueError
        ``passed`` is not between 0 and ``n``, or the level not between 0 and 1.

    Notes
    -----
    Clopper and Pearson, Biometrika 26 (1934) 404, by quantiles of the beta distribution. It covers at least as often
    as it says, for any true share; it says nothing about wrong inputs.
    """
    from scipy.special import betaincinv

    if not 0 <= passed <= n:
        raise ValueError(f"{passed} of {n} cannot have passed.")
    if not 0 < level < 1:
        raise ValueError(f"{level} is no level of confidence.")
    tail = (1 - level) / 2
    low = 0.0 if passed == 0 else float(betaincinv(passed, n - passed + 1, tail))
    high = 1.0 if passed == n else float(betaincinv(passed + 1, n - passed, 1 - tail))
    return low, high


def summary_table(
    gathered: Gathered, bands_hz, matches: Matches, limits: Mapping[str, Limit] | None = None
) -> DataFrame:
    """The rows of summary.csv: a row for each scenario, measure and band.

    Parameters
    ----------
    gathered : Gathered
    bands_hz : sequence of float, length n_band
        [Hz]
    matches : Matches
    limits : mapping of measure to Limit, optional
        A limit holds at every band.

    Returns
    -------
    table : DataFrame
        Columns :data:`COLUMNS`. Statistics are over the drawn units that did not fail, ``sd`` with n − 1; ``units``
        counts all drawn ones. Limit, passed and yield are NaN where nothing is asked. Where the study has limits each
        scenario ends with a row :data:`ALL_LIMITS`: the count of units that keep all of them, and as nominal 1 where
        the nominal unit does, else 0.

    Raises
    ------
    BandfloorError
        A limit on a measure that the units do not have.
    """
    import pandas as pd

    limits = dict(limits or {})
    unknown = set(limits) - {*BANDED, *MATCHES, *SINGLE, *more_names(gathered)}
    if unknown:  # passing over a limit would make the yield look better than it is
        raise BandfloorError(f"Nothing gives {', '.join(sorted(unknown))}, so its limit cannot be judged.")
    drawn = gathered.units > 0
    rows = []
    for index, scenario in enumerate(gathered.scenarios):
        whole = np.ones(len(gathered.units), dtype=bool)
        for response in responses(gathered, bands_hz, matches, index):
            limit = limits.get(response.measure)
            row = {"scenario": int(scenario), "measure": response.measure, **_spread(response, gathered.units)}
            row["unit_of_measure"] = MEASURES[response.measure].unit
            if limit is not None:
                kept = limit.holds(response.values)
                whole &= kept
                row |= {"limit_low": limit.low, "limit_high": limit.high, **_counted(kept[drawn])}
            rows.append(row | {"units": int(drawn.sum())})
        if limits:
            rows.append(
                {
                    "scenario": int(scenario),
                    "measure": ALL_LIMITS,
                    "unit_of_measure": "0/1",
                    "frequency_hz": math.nan,
                    "nominal": float(nominal(whole.astype(float), gathered.units, axis=0)),
                    "units": int(drawn.sum()),
                    **_counted(whole[drawn]),
                }
            )
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    # Counts stay whole numbers beside rows that have none.
    return table.astype({"passed": "Int64"})


def _spread(response: Response, units: np.ndarray) -> dict[str, float]:
    values = response.values[units > 0]
    good = values[~np.isnan(values)]
    low, middle, high = quantiles(good, QUANTILES, axis=0)
    least, most = extremes(good, axis=0) if good.size else (math.nan, math.nan)
    finite = bool(np.isfinite(good).all())
    return {
        "frequency_hz": response.frequency_hz,
        "nominal": float(nominal(response.values, units, axis=0)),
        "mean": _mean(good),
        "sd": float(np.std(good, ddof=1)) if finite and good.size > 1 else math.nan,
        "min": float(least),
        "p05": float(low),
        "p50": float(middle),
        "p95": float(high),
        "max": float(most),
    }


def _mean(good: np.ndarray) -> float:
    if good.size == 0 or np.isposinf(good).any() and np.isneginf(good).any():
        return math.nan
    return float(np.mean(good))


def _counted(kept: np.ndarray) -> dict[str, float]:
    passed, n = int(kept.sum()), len(kept)
    low, high = clopper_pearson(passed, n)
    return {"passed": passed, "yield": passed / n if n else math.nan, "yield_low": low, "yield_high": high}
