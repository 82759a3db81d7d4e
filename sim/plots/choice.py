"""Which scenarios a picture shows and what it calls them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from sim.summary.names import scenario_names

MOST_SCENARIOS = 8
EVERY = "all scenarios"


@dataclass(frozen=True)
class Shown:
    """The scenarios of a picture: number and name, in order, and what to say if some are left out."""

    numbers: tuple[int, ...]
    names: tuple[str, ...]
    note: str = ""

    def items(self) -> tuple[tuple[int, str], ...]:
        """Pairs of number and name."""
        return tuple(zip(self.numbers, self.names, strict=True))


def worst_yield(summary: pd.DataFrame) -> pd.Series:
    """Lowest yield of any limited measure, by scenario; empty where nothing is limited. [1]"""
    limited = summary[limited_rows(summary)]
    return limited.groupby("scenario")["yield"].min()


def limited_rows(summary: pd.DataFrame) -> pd.Series:
    """True on the rows of summary.csv that carry a limit."""
    return np.isfinite(summary["limit_low"].astype(float)) | np.isfinite(summary["limit_high"].astype(float))


def best_of(answer: Mapping) -> tuple[int, ...]:
    """Scenarios that an answer names as the best of what was varied."""
    return tuple(dict.fromkeys(one["best"]["scenario"] for one in answer.get("optima", ()) if one["best"]))


def shown_scenarios(
    scenarios: pd.DataFrame, summary: pd.DataFrame, most: int = MOST_SCENARIOS, best: Sequence[int] = ()
) -> Shown:
    """All scenarios where they fit, else the first, the best and those with the lowest yields.

    Parameters
    ----------
    scenarios, summary : DataFrame
        scenarios.csv and summary.csv.
    most : int
        As many as a picture can carry.
    best : sequence of int
        Scenarios not to be left out, as far as half the room goes.
    """
    names = scenario_names(scenarios)
    numbers = sorted(names)
    if len(numbers) <= most:
        return Shown(tuple(numbers), tuple(names[n] for n in numbers))
    ranked = worst_yield(summary).reindex(numbers).fillna(1.0).sort_values(kind="stable").index
    first = list(dict.fromkeys([numbers[0], *(n for n in numbers if n in best)]))[: 1 + most // 2]
    kept = sorted([*first, *[int(n) for n in ranked if n not in first][: most - len(first)]])
    also = ", the best" if len(first) > 1 else ""
    rest = most - len(first)
    note = f"{most} of {len(numbers)} scenarios are drawn: the first{also} and the {rest} with the lowest yield."
    return Shown(tuple(kept), tuple(names[n] for n in kept), note)


def merged(curves: pd.DataFrame, curve_names: tuple[str, ...], shown: Shown) -> Shown:
    """Scenarios whose curves are the same, drawn once under a common name.

    Many choices leave a curve alone: the bench gain does not know how long the feedline is.

    Parameters
    ----------
    curves : DataFrame
        curves.parquet.
    curve_names : tuple of str
        All of these must agree, to 1e-6 of the curve's own unit.
    shown : Shown
    """
    kept: list[tuple[int, str, list]] = []
    columns = ["nominal", "p05", "p50", "p95", "min", "max"]
    for number, name in shown.items():
        own = [curve_rows(curves, number, c) for c in curve_names]
        for index, (first, names, theirs) in enumerate(kept):
            if all(
                len(a) == len(b) and np.allclose(a[columns], b[columns], rtol=0, atol=1e-6, equal_nan=True)
                for a, b in zip(own, theirs, strict=True)
            ):
                kept[index] = (first, f"{names} = {name}", theirs)
                break
        else:
            kept.append((number, name, own))
    if len(kept) == 1 and len(shown.numbers) > 1:
        return Shown((kept[0][0],), (EVERY,), shown.note)
    return Shown(tuple(k[0] for k in kept), tuple(k[1] for k in kept), shown.note)


def curve_rows(curves: pd.DataFrame, scenario: int, curve: str) -> pd.DataFrame:
    """One curve of one scenario in order of frequency; empty where it was not made."""
    rows = curves[(curves["scenario"] == scenario) & (curves["curve"] == curve)]
    return rows.sort_values("frequency_hz").reset_index(drop=True)


def bands_of(summary: pd.DataFrame) -> tuple[float, ...]:
    """The frequencies at which the study reads its measures. [Hz]"""
    return tuple(sorted(float(f) for f in summary["frequency_hz"].dropna().unique()))


def window(bands_hz: tuple[float, ...], freq_hz, beyond: float = 10.0) -> tuple[float, float]:
    """The stretch of spectrum a picture shows: some times beyond the bands, where there are values. [Hz]"""
    low, high = float(np.min(freq_hz)), float(np.max(freq_hz))
    if bands_hz:
        low, high = max(low, bands_hz[0] / beyond), min(high, bands_hz[-1] * beyond)
    return (low, high) if high > low else (low / 1.2, low * 1.2)
